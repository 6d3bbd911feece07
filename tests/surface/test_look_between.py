import numpy as np
import pytest

from rig.surface.gaussian_process import GaussianProcess
from rig.surface.high_point import find_extremes
from rig.surface.look_between import hides_mm, suggest_looks
from rig.surface.looked import HUMP_RADIUS_MM

STEP = 150.0
X, Y = (a.ravel() for a in np.meshgrid(np.arange(75.0, 3600, STEP), np.arange(75.0, 4500, STEP)))
AREA = np.full(len(X), STEP**2)


def surveyed(spacing_mm: float) -> GaussianProcess:
    across, along = (np.arange(150.0, span, spacing_mm) for span in (3600, 4500))
    x, y = (a.ravel() for a in np.meshgrid(across, along))
    model = GaussianProcess(2.5, "plane", 1.0, 1500.0, 0.16)
    return model.fit(x, y, 0.001 * x, 0.3)


def test_a_hump_hides_midway_between_shots_and_not_at_one() -> None:
    model = surveyed(900.0)
    between, at = hides_mm(model, 600.0, 600.0), hides_mm(model, 1050.0, 1050.0)
    # Three feet of hump between shots three feet apart: none stands on it.
    assert between == pytest.approx(12.7)
    # A shot wrong by 0.5 mm, roughness and all, passes 2.45 times that once in twenty.
    assert at == pytest.approx(np.sqrt(2 * np.log(20)) * 0.5, rel=0.01)
    assert hides_mm(surveyed(450.0), 375.0, 375.0) < 3.0


def test_looks_are_named_where_the_floor_is_high_and_no_shot_stands() -> None:
    model = surveyed(900.0)
    extremes = find_extremes(model, X, Y, AREA, np.random.default_rng(1), draws=400)
    looks = suggest_looks(model, extremes, AREA, 24)
    assert looks
    costs = [look.plane_mm for look in looks]
    assert costs == sorted(costs, reverse=True)
    assert 0 < sum(costs) <= extremes.high.upper_mm - extremes.even_mm + 1e-9
    away = [np.hypot(model.x_mm - look.x_mm, model.y_mm - look.y_mm).min() for look in looks]
    assert min(away) > 150.0
    assert np.mean([look.x_mm for look in looks]) > 1800.0  # the floor rises with x
    for n, look in enumerate(looks):
        for other in looks[:n]:
            assert np.hypot(look.x_mm - other.x_mm, look.y_mm - other.y_mm) > 0.5 * HUMP_RADIUS_MM
