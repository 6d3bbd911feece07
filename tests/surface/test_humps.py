import numpy as np
import pytest

from rig.surface.covariance import NO_LINES
from rig.surface.gaussian_process import GaussianProcess
from rig.surface.humps import NARROWEST_MM, PER_M2, SIZE_SHARE, uneven_mm, unseen_humps
from tests.kinds import Floats

STEP = 150.0
X, Y = (a.ravel() for a in np.meshgrid(np.arange(75.0, 6000, STEP), np.arange(75.0, 6000, STEP)))
AREA = np.full(len(X), STEP**2)


def even(x: Floats, y: Floats, lines_mm2: tuple[float, ...] = NO_LINES) -> GaussianProcess:
    model = GaussianProcess(2.5, "plane", 1.0, 1500.0, 0.16, lines_mm2=lines_mm2)
    return model.fit(x, y, np.zeros(len(x)), 0.3)


def test_far_from_shots_humps_are_as_many_and_as_high_as_stated() -> None:
    corner = even(np.array([0.0, 1, 0, 1]), np.array([0.0, 0, 1, 1]), (0.09, 0.11, 1.0, 2.0))
    draw, cell, height = unseen_humps(corner, X, Y, AREA, 2000, np.random.default_rng(1))
    assert len(draw) / 2000 == pytest.approx(36 * PER_M2, rel=0.03)
    assert uneven_mm(corner) == pytest.approx(0.6)
    assert height.mean() == pytest.approx(SIZE_SHARE * 0.6, rel=0.03)
    assert 0 <= draw.min() <= draw.max() < 2000
    assert np.bincount(cell, minlength=len(X)).max() < 30  # all over the floor


def test_what_a_shot_would_have_shown_is_hardly_drawn() -> None:
    x, y = (a.ravel() for a in np.meshgrid(np.arange(75.0, 6000, 600), np.arange(75.0, 6000, 600)))
    model = even(x, y)
    _, cell, height = unseen_humps(model, X, Y, AREA, 4000, np.random.default_rng(2))
    away = np.hypot(np.subtract.outer(X[cell], x), np.subtract.outer(Y[cell], y)).min(axis=1)
    doubt = np.sqrt(model.shot_variance_mm2[0])
    near = away < 0.5 * NARROWEST_MM
    assert near.sum() > 50
    # A bell of the least radius still has half its height half a radius off.
    assert np.quantile(height[near], 0.99) < 5 * doubt
    assert np.quantile(height[~near], 0.99) > np.quantile(height[near], 0.99)
