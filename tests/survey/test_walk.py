import itertools
import math

import numpy as np
import pytest

from rig.room import from_rings, room, with_door, with_opening
from rig.survey.grid import lay_out
from rig.survey.walk import walk_order

SQUARE = with_door(room(5000.0, 5000.0), 2000.0, 0.0, 900.0)


def length(xy: list[tuple[float, float]], order: list[int] | tuple[int, ...]) -> float:
    return sum(math.dist(xy[a], xy[b]) for a, b in itertools.pairwise(order))


def shortest(xy: list[tuple[float, float]], end: int) -> float:
    rest = [i for i in range(len(xy)) if i != end]
    return min(length(xy, (*order, end)) for order in itertools.permutations(rest))


@pytest.mark.parametrize("seed", range(12))
def test_within_five_per_cent_of_the_shortest_path(seed: int) -> None:
    xy = [tuple(p) for p in np.random.default_rng(seed).uniform(200.0, 4800.0, (8, 2))]
    order = walk_order(xy, SQUARE)
    assert sorted(order) == list(range(8))
    end = min(range(8), key=lambda i: math.dist(xy[i], SQUARE.doors[0].middle))
    assert order[-1] == end
    assert length(xy, order) <= 1.05 * shortest(xy, end)


def test_a_free_end_without_a_door() -> None:
    xy = [(500.0 * n, 500.0) for n in (3, 1, 5, 2, 4)]
    assert length(xy, walk_order(xy, room(5000.0, 5000.0))) == pytest.approx(2000.0)


def test_a_rectangle_is_walked_without_detours() -> None:
    points = lay_out(with_door(room(6000.0, 8000.0), 2500.0, 0.0, 900.0), 900.0, 150.0)
    steps = [math.dist((a.x_mm, a.y_mm), (b.x_mm, b.y_mm)) for a, b in itertools.pairwise(points)]
    assert max(steps) < 1300.0
    assert sum(steps) < 1.05 * 900.0 * len(steps)


def test_the_path_goes_round_a_wall() -> None:
    # A wall from below reaches up between two columns of points: crossing it once, at the top.
    u_shape = from_rings(
        [
            (0, 0),
            (1900, 0),
            (1900, 4000),
            (2100, 4000),
            (2100, 0),
            (4000, 0),
            (4000, 5000),
            (0, 5000),
        ]
    )
    xy = [(x, y) for x in (1700.0, 2300.0) for y in np.arange(500.0, 5000.0, 500.0)]
    order = walk_order([(float(x), float(y)) for x, y in xy], u_shape)
    crossings = [
        min(xy[a][1], xy[b][1])
        for a, b in itertools.pairwise(order)
        if (xy[a][0] < 2000.0) != (xy[b][0] < 2000.0)
    ]
    assert len(crossings) == 1
    assert crossings[0] > 4000.0


def test_an_opening_is_walked_round() -> None:
    pit = with_opening(SQUARE, 1000.0, 1000.0, 3000.0, 3000.0)
    points = lay_out(pit, 900.0, 150.0)
    for a, b in itertools.pairwise(points):
        middle = ((a.x_mm + b.x_mm) / 2, (a.y_mm + b.y_mm) / 2)
        assert not (1000.0 < middle[0] < 4000.0 and 1000.0 < middle[1] < 4000.0)


def test_the_order_of_four_hundred_points_is_short_and_repeats() -> None:
    hall = with_door(room(20000.0, 20000.0), 1000.0, 0.0, 900.0)
    xy = [tuple(p) for p in np.random.default_rng(1).uniform(100.0, 19900.0, (400, 2))]
    order = walk_order(xy, hall)
    assert order == walk_order(xy, hall)
    # A random tour's shortest length tends to 0.7124 √(n·area) (Beardwood-Halton-Hammersley).
    assert length(xy, order) < 1.15 * 0.7124 * math.sqrt(400 * 20000.0**2)


def test_very_many_points_are_still_ordered() -> None:
    points = lay_out(with_door(room(40000.0, 30000.0), 1000.0, 0.0, 900.0), 600.0, 150.0)
    assert len(points) > 3000
    steps = [math.dist((a.x_mm, a.y_mm), (b.x_mm, b.y_mm)) for a, b in itertools.pairwise(points)]
    assert sum(steps) < 1.1 * 600.0 * len(steps)


@pytest.mark.parametrize("n", [0, 1, 2])
def test_hardly_any_points(n: int) -> None:
    assert sorted(walk_order([(100.0 * k + 50.0, 50.0) for k in range(n)], SQUARE)) == list(
        range(n)
    )
