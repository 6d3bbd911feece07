from typing import Any

import numpy as np
import pytest
from scipy.stats import norm

from rig.errors import BadInput
from rig.surface.gaussian_process import GaussianProcess
from rig.surface.high_point import find_extremes
from rig.surface.next_shots import suggest_shots

STEP = 180.0
CELLS = tuple(
    a.ravel() for a in np.meshgrid(np.arange(90.0, 3600, STEP), np.arange(90.0, 4500, STEP))
)


def crowned(noise_mm: float = 0.3, seed: int = 0, **fixed: Any) -> GaussianProcess:
    x, y = (a.ravel() for a in np.meshgrid(np.linspace(150, 3450, 5), np.linspace(150, 4350, 6)))
    rng = np.random.default_rng(seed)
    z = -1e-6 * (x - 1200) ** 2 - 1e-6 * (y - 3000) ** 2 + noise_mm * rng.standard_normal(len(x))
    return GaussianProcess(**fixed).fit(x, y, z, noise_mm)


def test_the_crown_is_found_and_the_bound_lies_over_it() -> None:
    high = find_extremes(crowned(), CELLS[0], CELLS[1], STEP**2, np.random.default_rng(1)).high
    assert np.hypot(high.x_mm - 1200, high.y_mm - 3000) < 500
    assert -1.0 < high.z_mm < 1.0
    assert high.lower_mm < high.upper_mm
    assert 0.0 < high.upper_mm < 4.0


def test_the_same_draws_tell_another_confidence_as_if_drawn_anew() -> None:
    model = crowned()
    first, anew = (
        find_extremes(model, CELLS[0], CELLS[1], STEP**2, np.random.default_rng(1), share)
        for share in (0.95, 0.8)
    )
    again = first.at(0.8)
    assert (again.high, again.low, again.even_mm) == (anew.high, anew.low, anew.even_mm)
    assert first.high.upper_mm > again.high.upper_mm


def test_a_floor_turned_upside_down_swaps_high_and_low() -> None:
    x, y, z = (np.random.default_rng(s).uniform(0, 3600, 30) for s in (1, 2, 3))
    z = z / 400
    fixed: dict[str, Any] = {"variance_mm2": 9.0, "length_mm": 1500.0, "nugget_mm2": 0.1}
    up = GaussianProcess(**fixed).fit(x, y, z, 0.3)
    down = GaussianProcess(**fixed).fit(x, y, -z, 0.3)
    above = find_extremes(up, CELLS[0], CELLS[1], STEP**2, np.random.default_rng(1), draws=4000)
    below = find_extremes(down, CELLS[0], CELLS[1], STEP**2, np.random.default_rng(2), draws=4000)
    assert (above.high.x_mm, above.high.y_mm) == (below.low.x_mm, below.low.y_mm)
    assert above.high.z_mm == pytest.approx(-below.low.z_mm)
    assert above.high.upper_mm == pytest.approx(-below.low.lower_mm, abs=0.25)
    assert above.range_mm == pytest.approx(below.range_mm)


def test_roughness_alone_has_the_extreme_value_distribution_of_its_spots() -> None:
    """P(max of k normals < t) = Φ(t)^k: on a flat floor known exactly, whatever the raster."""
    flat = GaussianProcess(1.5, "plane", 1e-12, 1500.0, 0.25)
    x, y = (a.ravel() for a in np.meshgrid(np.linspace(0, 3600, 30), np.linspace(0, 4500, 30)))
    flat.fit(x, y, np.zeros(len(x)), 1e-3)
    spots = 3600 * 4500 / 50**2
    expected = 0.5 * norm.ppf(0.95 ** (1 / spots))
    for step in (180.0, 450.0):
        at = np.meshgrid(np.arange(step / 2, 3600, step), np.arange(step / 2, 4500, step))
        high = find_extremes(
            flat, at[0].ravel(), at[1].ravel(), step**2, np.random.default_rng(4), draws=4000
        ).high
        assert high.upper_mm == pytest.approx(expected, abs=0.08)


def test_a_floor_that_climbs_to_a_wall_is_highest_at_the_wall_on_any_raster() -> None:
    x, y = (a.ravel() for a in np.meshgrid(np.linspace(150, 3450, 5), np.linspace(150, 4350, 6)))
    model = GaussianProcess(1.5, "plane", 1e-8, 1500.0, 1e-8).fit(x, y, 0.01 * x, 0.01)
    for step in (180.0, 450.0):
        at = np.meshgrid(np.arange(step / 2, 3600, step), np.arange(step / 2, 4500, step))
        found = find_extremes(
            model, at[0].ravel(), at[1].ravel(), step**2, np.random.default_rng(0), draws=500
        )
        assert found.high.upper_mm == pytest.approx(36.0, abs=0.05)
        assert found.low.lower_mm == pytest.approx(0.0, abs=0.05)


def test_the_chance_map_is_a_distribution_around_the_crown() -> None:
    found = find_extremes(crowned(), CELLS[0], CELLS[1], STEP**2, np.random.default_rng(1))
    assert found.chance_high.sum() == pytest.approx(1.0)
    near = np.hypot(CELLS[0] - 1200, CELLS[1] - 3000) < 900
    assert found.chance_high[near].sum() > 0.8


def test_the_same_generator_gives_the_same_answer() -> None:
    one, two = (
        find_extremes(crowned(), CELLS[0], CELLS[1], STEP**2, np.random.default_rng(9), draws=200)
        for _ in range(2)
    )
    assert one.high == two.high
    np.testing.assert_array_equal(one.highest_mm, two.highest_mm)
    np.testing.assert_array_equal(one.lowest_mm, two.lowest_mm)


def test_suggested_shots_lower_the_doubt_as_promised() -> None:
    """The promise is checked by really taking the shot: the posterior does not depend on z."""
    fixed: dict[str, Any] = {"variance_mm2": 9.0, "length_mm": 1200.0, "nugget_mm2": 0.09}
    model = crowned(**fixed)
    found = find_extremes(model, CELLS[0], CELLS[1], STEP**2, np.random.default_rng(1))
    taken = suggest_shots(model, found, 3, stderr_mm=0.3)
    assert 1 <= len(taken) <= 3
    assert np.all(np.diff([shot.left_mm for shot in taken]) < 0)
    x = np.append(model._x, [shot.x_mm for shot in taken])
    y = np.append(model._y, [shot.y_mm for shot in taken])
    after = GaussianProcess(**fixed).fit(x, y, np.zeros(len(x)), 0.3)
    sd = after.predict(*CELLS)[1]
    assert taken[-1].left_mm == pytest.approx(np.sqrt(found.chance_high @ sd**2), rel=1e-6)
    sd = model.predict(*CELLS)[1]
    assert taken[0].doubt_mm == pytest.approx(np.sqrt(found.chance_high @ sd**2), rel=1e-6)


def test_a_place_just_shot_is_not_named_again() -> None:
    fixed: dict[str, Any] = {"variance_mm2": 9.0, "length_mm": 1200.0, "nugget_mm2": 1e-4}
    model = crowned(0.02, **fixed)
    found = find_extremes(model, CELLS[0], CELLS[1], STEP**2, np.random.default_rng(1))
    for shot in suggest_shots(model, found, 3, stderr_mm=0.02):
        assert np.min(np.hypot(model._x - shot.x_mm, model._y - shot.y_mm)) > STEP


def test_nothing_is_suggested_where_only_roughness_is_left() -> None:
    x, y = (a.ravel() for a in np.meshgrid(np.linspace(0, 3600, 20), np.linspace(0, 4500, 20)))
    model = GaussianProcess(1.5, "plane", 0.01, 5000.0, 1.0).fit(x, y, np.zeros(len(x)), 0.1)
    found = find_extremes(model, CELLS[0], CELLS[1], STEP**2, np.random.default_rng(1), draws=300)
    assert suggest_shots(model, found, 3, stderr_mm=0.1) == []


def test_bad_rasters_and_confidences_are_refused() -> None:
    model = crowned()
    rng = np.random.default_rng(0)
    with pytest.raises(BadInput, match="cell"):
        find_extremes(model, [], [], [], rng)
    with pytest.raises(BadInput, match="area"):
        find_extremes(model, CELLS[0], CELLS[1], 0.0, rng)
    with pytest.raises(BadInput, match="Confidence"):
        find_extremes(model, CELLS[0], CELLS[1], STEP**2, rng, confidence=1.0)
