import numpy as np
import pytest
from scipy.stats import norm

from rig.errors import BadInput
from rig.quantities.volume import CENTRAL_95, ONE_SIDED_95, volume_under
from rig.surface.gaussian_process import GaussianProcess
from rig.surface.triangulation import Triangulation, grid_volume
from rig.target.level import Plane

X, Y = (a.ravel() for a in np.meshgrid(np.linspace(0, 3600, 5), np.linspace(0, 4500, 6)))
STEP = 150.0
CELL_X, CELL_Y = (
    a.ravel() for a in np.meshgrid(np.arange(75.0, 3600, STEP), np.arange(75.0, 4500, STEP))
)
AREA = np.full(len(CELL_X), STEP**2)


def test_quantiles_are_the_normal_ones() -> None:
    assert pytest.approx(norm.ppf(0.95)) == ONE_SIDED_95
    assert pytest.approx(norm.ppf(0.975)) == CENTRAL_95


def test_wedge_of_known_volume() -> None:
    """Floor falls 18 mm over 3.6 m under a plane 10 mm above its high edge: 16.2 m² × 19 mm."""
    surface = GaussianProcess().fit(X, Y, -0.005 * X, 0.2)
    flat = Triangulation().fit(X, Y, -0.005 * X)
    volume = volume_under(Plane(10.0), surface, CELL_X, CELL_Y, AREA, flat)
    assert volume.area_m2 == pytest.approx(16.2)
    assert volume.mean_l == pytest.approx(16.2 * 19)
    assert volume.triangulated_l == pytest.approx(16.2 * 19)


def test_border_cells_count_by_their_covered_part() -> None:
    surface = GaussianProcess().fit(X, Y, np.zeros(len(X)), 0.2)
    half = AREA.copy()
    half[CELL_X < STEP] *= 0.5
    volume = volume_under(Plane(10.0), surface, CELL_X, CELL_Y, half)
    assert volume.mean_l == pytest.approx((3.6 - 0.075) * 4.5 * 10)
    assert volume.triangulated_l is None


def test_triangulated_volume_agrees_with_the_grid_method_on_a_bumpy_floor() -> None:
    """V = A/4 (Σh1 + 2Σh2 + 3Σh3 + 4Σh4); diagonals of the squares make the small difference."""
    z = 4 * np.sin(X / 900) * np.cos(Y / 1100)
    surface = GaussianProcess().fit(X, Y, z, 0.05)
    volume = volume_under(Plane(12.0), surface, CELL_X, CELL_Y, AREA, Triangulation().fit(X, Y, z))
    by_grid = grid_volume(12 - z.reshape(6, 5), 900.0 * 900.0) * 1e-6
    assert volume.triangulated_l == pytest.approx(by_grid, rel=0.02)
    assert volume.mean_l == pytest.approx(by_grid, rel=0.03)


def test_doubt_is_that_of_joint_draws_not_of_independent_cells() -> None:
    rng = np.random.default_rng(0)
    surface = GaussianProcess(1.5, "plane", 9.0, 1500.0, 0.04)
    surface.fit(X, Y, rng.standard_normal(len(X)), 0.8)
    volume = volume_under(Plane(20.0), surface, CELL_X, CELL_Y, AREA)
    sums = 20 * AREA.sum() - surface.sample(CELL_X, CELL_Y, 4000, rng) @ AREA
    assert volume.mean_l == pytest.approx(sums.mean() * 1e-6, abs=5 * volume.sd_l / 63)
    assert volume.sd_l == pytest.approx(sums.std() * 1e-6, rel=0.06)
    each = np.sqrt(np.sum((AREA * surface.predict(CELL_X, CELL_Y, nugget=True)[1]) ** 2)) * 1e-6
    assert volume.sd_l > 3 * each
    assert volume.p95_l == pytest.approx(np.quantile(sums, 0.95) * 1e-6, abs=0.15 * volume.sd_l)
    assert volume.high_l - volume.mean_l == pytest.approx(1.96 * volume.sd_l, rel=1e-4)


def test_sloped_plane_is_integrated() -> None:
    surface = GaussianProcess().fit(X, Y, -0.005 * X, 0.2)
    volume = volume_under(Plane(10.0, -0.005, 0.0), surface, CELL_X, CELL_Y, AREA)
    assert volume.mean_l == pytest.approx(162.0)


def test_a_floor_above_the_plane_is_refused() -> None:
    surface = GaussianProcess().fit(X, Y, -0.005 * X, 0.2)
    with pytest.raises(BadInput, match="raise the plane"):
        volume_under(Plane(-5.0), surface, CELL_X, CELL_Y, AREA)
