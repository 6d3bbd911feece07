import numpy as np
import pytest
from scipy.optimize import minimize

from rig.errors import BadInput
from rig.target.grind import cheapest_plane
from rig.target.level import Plane
from rig.target.programme import Hold

X, Y = (a.ravel() for a in np.meshgrid(np.arange(25.0, 3600, 50.8), np.arange(25.0, 4500, 50.8)))
AREA = np.full(len(X), 50.8**2)
HUMP = 12 * np.exp(-((X - 1000) ** 2 + (Y - 3000) ** 2) / 2 / 300**2)
FLOOR = 2 * np.sin(X / 900) * np.cos(Y / 800) + HUMP
BOUND = FLOOR + 1.0


def cost(plane: Plane, grind: float, fill: float) -> float:
    height = plane.at(X, Y)
    return float(
        np.mean(fill * (height - FLOOR) + (fill + grind) * np.maximum(BOUND + 6.0 - height, 0.0))
    )


@pytest.mark.parametrize(("grind", "fill"), [(1.0, 1.0), (20.0, 2.0), (300.0, 2.0)])
def test_a_level_plane_grinds_the_share_that_the_prices_say(grind: float, fill: float) -> None:
    """At the optimum the ground share is fill / (fill + grind): the cost's slope is 0 there."""
    found = cheapest_plane(X, Y, AREA, FLOOR, BOUND, 6.0, grind, fill)
    assert np.mean(found.depth_mm > 0) == pytest.approx(fill / (fill + grind), abs=0.003)
    assert found.volume_l == pytest.approx(float(AREA @ found.depth_mm) * 1e-6)


def test_a_sloping_plane_costs_no_more_than_scipys_minimum() -> None:
    from rig.target.level import Plane

    found = cheapest_plane(X, Y, AREA, FLOOR, BOUND, 6.0, 20.0, 2.0, max_slope=0.5)
    other = minimize(
        lambda p: cost(Plane(p[0], p[1] / 1000, p[2] / 1000), 20.0, 2.0),
        [10.0, 0.0, 0.0],
        method="Nelder-Mead",
        options={"xatol": 1e-6, "fatol": 1e-9, "maxiter": 4000},
    )
    assert cost(found.plane, 20.0, 2.0) <= other.fun + 1e-4


def test_the_hump_is_one_spot_where_it_stands() -> None:
    found = cheapest_plane(X, Y, AREA, FLOOR, BOUND, 6.0, 30.0, 2.0)
    spot = found.spots[0]
    assert np.hypot(spot.x_mm - 1000, spot.y_mm - 3000) < 150
    assert spot.depth_mm == pytest.approx(found.depth_mm.max())
    assert sum(one.volume_l for one in found.spots) == pytest.approx(found.volume_l)
    assert sum(one.area_m2 for one in found.spots) == pytest.approx(
        np.sum(AREA[found.depth_mm > 0]) / 1e6
    )


def test_dear_grinding_grinds_nothing() -> None:
    found = cheapest_plane(X, Y, AREA, FLOOR, BOUND, 6.0, 1e5, 1.0)
    assert found.spots == ()
    assert np.min(found.plane.at(X, Y) - BOUND) >= 6.0 - 1e-6


def test_a_held_height_is_kept_and_what_stands_over_it_is_ground() -> None:
    found = cheapest_plane(X, Y, AREA, FLOOR, BOUND, 6.0, 30.0, 2.0, 0.0, [Hold(0, 0, 12.0, "T")])
    assert found.plane.a == pytest.approx(12.0)
    np.testing.assert_allclose(found.depth_mm, np.maximum(BOUND + 6.0 - 12.0, 0.0), atol=1e-6)


def test_prices_must_be_prices() -> None:
    with pytest.raises(BadInput, match="grinding"):
        cheapest_plane(X, Y, AREA, FLOOR, BOUND, 6.0, 0.0, 2.0)
