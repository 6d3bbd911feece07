import numpy as np
import pytest
from scipy.interpolate import LinearNDInterpolator

from rig.errors import BadInput, CannotAnswer
from rig.surface.triangulation import Triangulation, grid_volume
from tests.kinds import Floats


def shots(n: int = 40, seed: int = 0) -> tuple[Floats, Floats, Floats]:
    rng = np.random.default_rng(seed)
    return rng.uniform(0, 3600, n), rng.uniform(0, 4500, n), rng.uniform(-10, 10, n)


def test_inside_it_equals_scipy_linear_interpolation() -> None:
    x, y, z = shots()
    theirs = LinearNDInterpolator(np.column_stack([x, y]), z)
    at = np.random.default_rng(1).uniform(0, 4500, (2000, 2))
    expected = theirs(at)
    inside = np.isfinite(expected)
    assert inside.sum() > 1000
    ours = Triangulation().fit(x, y, z).predict(at[:, 0], at[:, 1])
    np.testing.assert_allclose(ours[inside], expected[inside], atol=1e-9)
    assert np.all(np.isfinite(ours))


def test_it_meets_every_shot_and_carries_a_plane_beyond_them() -> None:
    x, y, z = shots()
    np.testing.assert_allclose(Triangulation().fit(x, y, z).predict(x, y), z, atol=1e-9)
    plane = -900 + 0.002 * x - 0.004 * y
    beyond = Triangulation().fit(x, y, plane).predict([-500.0, 4000.0], [-500.0, 5000.0])
    np.testing.assert_allclose(beyond, [-900 - 1 + 2, -900 + 8 - 20], atol=1e-9)


def test_it_is_continuous_across_the_outermost_shots() -> None:
    x, y = (a.ravel() for a in np.meshgrid(np.arange(5) * 900.0, np.arange(6) * 900.0))
    ours = Triangulation().fit(x, y, np.random.default_rng(4).uniform(-10, 10, len(x)))
    along = np.linspace(1.0, 3599.0, 50)
    for edge in (0.0, 4500.0):
        inner = ours.predict(along, np.full(50, abs(edge - 1e-6)))
        outer = ours.predict(along, np.full(50, edge + (1e-6 if edge else -1e-6)))
        np.testing.assert_allclose(inner, outer, atol=1e-6)


def test_a_sliver_at_the_wall_does_not_throw_the_floor_beyond_it() -> None:
    x = np.array([0.0, 1000, 2000, 3000, 0, 1500, 3000])
    y = np.array([0.0, -1.0, -1.0, 0, 2000, 2500, 2000])
    z = np.array([0.0, 2.0, -2.0, 0, 0, 0, 0])
    at = Triangulation().fit(x, y, z).predict([500.0, 1500.0, 2500.0], [-150.0] * 3)
    assert np.all(np.abs(at) < 10)


def test_several_shots_at_one_place_count_as_their_mean() -> None:
    x, y, z = shots()
    twice = Triangulation().fit(np.append(x, x[3]), np.append(y, y[3]), np.append(z, z[3] + 2.0))
    assert twice.predict(x[3:4], y[3:4])[0] == pytest.approx(z[3] + 1.0)


def test_published_grid_example() -> None:
    """Square of 2 000 ft², corners 75.4, 77.5, 74.6, 80.5 ft raised to 83 ft: 12 000 ft³.

    A published exercise of the grid method: mean depth 6 ft. The triangles need the height of
    the middle of the square (the mean of its corners) to be the same surface's volume.
    """
    corners = np.array([75.4, 77.5, 80.5, 74.6])
    assert grid_volume(83 - corners.reshape(2, 2), 2000.0) == pytest.approx(12_000)
    side = np.sqrt(2000.0)
    x, y = side * np.array([0, 1, 0, 1, 0.5]), side * np.array([0, 0, 1, 1, 0.5])
    ours = Triangulation().fit(x, y, np.append(corners, corners.mean()))
    assert ours.prism_volume(83 - ours.z_mm) == pytest.approx(12_000)
    assert grid_volume(83 - corners.reshape(2, 2), 2000.0) / 27 == pytest.approx(444.4, abs=0.05)


def test_grid_method_weighs_corners_by_the_squares_they_touch() -> None:
    """V = A/4 (Σh1 + 2Σh2 + 3Σh3 + 4Σh4), surveying handbooks, on an L of five squares."""
    h = np.random.default_rng(2).uniform(1, 5, (3, 4))
    stepped = h.copy()
    stepped[2, 3] = np.nan
    one = h[0, 0] + h[0, 3] + h[2, 0] + h[1, 3] + h[2, 2]
    two = h[0, 1] + h[0, 2] + h[1, 0] + h[2, 1]
    assert grid_volume(stepped, 9.0) == pytest.approx(
        9 / 4 * (one + 2 * two + 3 * h[1, 2] + 4 * h[1, 1])
    )
    with pytest.raises(BadInput, match="two rows"):
        grid_volume(h[:1], 9.0)


def test_prism_volume_is_the_integral_of_the_surface() -> None:
    x, y = (a.ravel() for a in np.meshgrid(np.arange(5) * 900.0, np.arange(6) * 900.0))
    z = np.random.default_rng(3).uniform(-10, 0, len(x))
    ours = Triangulation().fit(x, y, z)
    at_x, at_y = (
        a.ravel() for a in np.meshgrid(np.arange(5, 3600, 10.0), np.arange(5, 4500, 10.0))
    )
    summed = 100.0 * np.sum(20 - ours.predict(at_x, at_y))
    assert ours.prism_volume(20 - ours.z_mm) == pytest.approx(summed, rel=1e-6)


def test_poor_layouts_are_refused() -> None:
    with pytest.raises(CannotAnswer, match="too few"):
        Triangulation().fit([0, 1, 0], [0, 0, 1], [0, 0, 0])
    with pytest.raises(CannotAnswer, match="one line"):
        Triangulation().fit([0, 1, 2, 3], [0, 1, 2, 3], [0, 0, 0, 0])
    with pytest.raises(BadInput, match="height at place 2"):
        Triangulation().fit([0, 1, 0, 1], [0, 0, 1, 1], [0, np.nan, 0, 0])
