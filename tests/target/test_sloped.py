import numpy as np
import pytest
from scipy.optimize import linprog
from scipy.spatial import ConvexHull

from rig.errors import BadInput
from rig.target.level import level_plane
from rig.target.lowest import Wishes, lowest_plane
from rig.target.programme import Hold
from rig.target.sloped import choose_plane
from rig.units import Units
from tests.kinds import Floats, there


def floor(n: int = 40, seed: int = 0) -> tuple[Floats, Floats, Floats]:
    rng = np.random.default_rng(seed)
    x, y = (a.ravel() for a in np.meshgrid(np.linspace(0, 6000, n), np.linspace(0, 4500, n)))
    z = 3e-3 * x - 2e-3 * y + 3 * np.sin(x / 900) * np.cos(y / 800)
    return x, y, z + 0.3 * rng.standard_normal(len(x))


def say(x: float, y: float) -> str:
    return f"at {x:.0f}, {y:.0f}"


def wishes(max_slope: float, *holds: Hold, seed: int = 0) -> Wishes:
    x, y, z = floor(seed=seed)
    rng = np.random.default_rng(seed + 1)
    draws = z + 0.3 * rng.standard_normal((400, 1)) + 0.2 * rng.standard_normal((400, len(z)))
    area = np.ones(len(x))
    return Wishes(x, y, area, z, draws.astype(np.float32), 6.0, max_slope, holds)


@pytest.mark.parametrize("seed", range(4))
def test_the_lowest_plane_is_a_facet_of_the_upper_hull(seed: int) -> None:
    """Linear-programming duality: against scipy's ConvexHull, an implementation of another kind."""
    x, y, z = floor(seed=seed)
    hull = ConvexHull(np.column_stack([x / 1000, y / 1000, z]))
    normal, offset = hull.equations[:, :3], hull.equations[:, 3]
    up = normal[:, 2] > 1e-9
    at = np.array([x.mean(), y.mean()]) / 1000
    heights = -(normal[up, :2] @ at + offset[up]) / normal[up, 2]
    plane = lowest_plane(x, y, z, 1.0, 1.0)
    assert float(there(plane).at(x.mean(), y.mean())) == pytest.approx(heights.min(), abs=1e-6)
    assert (there(plane).at(x, y) - z).min() == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize("max_slope", [0.0, 0.001, 0.002])
def test_it_equals_the_programme_over_all_cells_and_keeps_the_slope(max_slope: float) -> None:
    x, y, z = floor()
    turn = 2 * np.pi * (np.arange(32) + 0.5) / 32
    right, up = (x - x.mean()) / 1000, (y - y.mean()) / 1000
    rows = np.vstack(
        [
            -np.column_stack([np.ones(len(x)), right, up]),
            np.column_stack([np.zeros(32), np.cos(turn), np.sin(turn)]),
        ]
    )
    limits = np.concatenate([-z, np.full(32, max_slope * 1000 * np.cos(np.pi / 32))])
    whole = linprog([1, 0, 0], rows, limits, bounds=[(None, None)] * 3, method="highs")
    plane = lowest_plane(x, y, z, 1.0, max_slope)
    assert float(there(plane).at(x.mean(), y.mean())) == pytest.approx(whole.fun, abs=1e-6)
    slope = np.hypot(there(plane).b, there(plane).c)
    assert slope <= max_slope * (1 + 1e-9)
    assert slope >= max_slope * 0.995 - 1e-12  # the polygon takes at most 0.5 %


def test_a_slope_limit_of_nothing_is_the_level_plane() -> None:
    asked = wishes(0.0)
    level = level_plane(asked.draws_mm, 6.0, 0.95)
    chosen = choose_plane(asked, 0.95, say, Units("mm"))
    assert chosen.plane.a == pytest.approx(level.a, abs=1e-4)
    assert chosen.chance >= 0.95


@pytest.mark.parametrize("max_slope", [0.001, 0.005])
def test_the_cover_is_kept_jointly_and_the_more_slope_the_less_volume(max_slope: float) -> None:
    asked = wishes(max_slope)
    chosen = choose_plane(asked, 0.9, say, Units("mm"))
    least = np.min(chosen.plane.at(asked.x_mm, asked.y_mm) - asked.draws_mm, axis=1)
    assert np.mean(least >= 6.0 - 1e-3) == pytest.approx(0.9, abs=0.005)
    level = choose_plane(wishes(0.0), 0.9, say, Units("mm")).plane
    at = asked.x_mm.mean(), asked.y_mm.mean()
    assert float(chosen.plane.at(*at)) < float(level.at(*at)) - 1.0


def test_a_plane_passes_through_what_is_held() -> None:
    holds = (Hold(0, 0, 14.0, "T1"), Hold(6000, 0, 32.0, "T2"))
    chosen = choose_plane(wishes(0.005, *holds), 0.95, say, Units("mm"))
    for hold in holds:
        assert float(chosen.plane.at(hold.x_mm, hold.y_mm)) == pytest.approx(hold.height_mm)
    assert chosen.chance >= 0.95


def test_a_hold_that_leaves_little_room_gets_the_surest_plane_and_says_its_chance() -> None:
    x, y, z = floor()
    plane = lowest_plane(x, y, z + 6.0, 1.0, 0.0)
    tight = Hold(0, 0, there(plane).a + 0.1, "T1")
    chosen = choose_plane(wishes(0.0, tight), 0.95, say, Units("mm"))
    assert chosen.plane.a == pytest.approx(tight.height_mm)
    assert chosen.chance < 0.95


@pytest.mark.parametrize(
    ("max_slope", "holds", "told"),
    [
        (
            0.005,
            [Hold(0, 0, 14, "threshold T1"), Hold(1000, 0, 24, "threshold T2")],
            "T1 and threshold T2 fight: .* 10 mm/m. A slope of at most 5 mm/m is asked for. "
            "Lower threshold T2 by 5 mm, raise threshold T1 by 5 mm or allow a slope of 10",
        ),
        (
            0.0,
            [Hold(0, 0, 14, "T1"), Hold(900, 0, 20, "T2")],
            "level floor is asked for. Lower T2 by 6 mm",
        ),
        (0.0, [Hold(0, 0, 14, "T1"), Hold(0, 0, 20, "T2")], "one place with two heights, 6 mm"),
        (0.005, [Hold(0, 0, -24, "T1")], "T1 and the minimum cover fight.*at .*Raise T1 by"),
        (
            0.005,
            [Hold(0, 0, 10, "T1"), Hold(3000, 0, 10, "T2"), Hold(6000, 0, 20, "T3")],
            "T1, T2 and T3 cannot all lie on one plane.* Raise T2 by 5 mm",
        ),
    ],
)
def test_wishes_that_fight_are_named_with_the_least_change(
    max_slope: float, holds: list[Hold], told: str
) -> None:
    with pytest.raises(BadInput, match=told):
        choose_plane(wishes(max_slope, *holds), 0.95, say, Units("mm"))


def test_the_change_that_is_named_is_enough_and_no_less_is() -> None:
    """What is said to reconcile does, and 0.2 mm less does not (it is rounded up to 0.1 mm)."""
    hold = Hold(0, 0, -24, "T1")
    with pytest.raises(BadInput) as refused:
        choose_plane(wishes(0.005, hold), 0.95, say, Units("mm"))
    raise_by = float(str(refused.value).split("Raise T1 by ")[1].split(" mm")[0])
    enough = choose_plane(wishes(0.005, Hold(0, 0, -24 + raise_by, "T1")), 0.95, say, Units("mm"))
    assert enough.chance < 0.95
    with pytest.raises(BadInput):
        choose_plane(wishes(0.005, Hold(0, 0, -24 + raise_by - 0.2, "T1")), 0.95, say, Units("mm"))
