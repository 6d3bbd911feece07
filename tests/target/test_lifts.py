"""Lifts against brute force on small floors.

`python -m tests.target.test_lifts 300` tries that many.
"""

import itertools
import sys

import numpy as np
import pytest
from numpy.typing import NDArray

from rig.errors import BadInput
from rig.target.level import Plane
from rig.target.lifts import choose_lifts, shared_bags, tops_below

LEAST_MM = 3.0
Floats = NDArray[np.float64]


def brute(deep: Floats, area: Floats, most: float) -> tuple[int, float]:
    """Fewest lifts and the least area poured before the last, over tops at every whole mm."""
    for count in range(1, 5):
        areas = []
        for tops in itertools.combinations(range(1, int(deep.max())), count - 1):
            below = [*sorted(tops, reverse=True), 0]
            before = [np.inf, *below[:-1]]
            thick = [
                np.clip(np.minimum(deep, above) - under, 0, None)
                for under, above in zip(below, before, strict=True)
            ]
            allowed = all(one.max() <= most + 1e-9 for one in thick)
            if allowed and thick[0].max() >= min(LEAST_MM, most / 2) - 1e-9:
                areas.append(sum(float(area[one > 0].sum()) for one in thick[:-1]))
        if areas:
            return count, min(areas)
    raise AssertionError("no lifts do")


def trial(seed: int) -> None:
    rng = np.random.default_rng(seed)
    most = float(rng.integers(8, 15))
    deep = rng.integers(4, 30, 25).astype(float)
    area = rng.uniform(1.0, 2.0, 25)
    slope = Plane(7.0, 0.01, -0.02)
    x, y = rng.uniform(0, 3000, (2, 25))
    floor = slope.at(x, y) - deep
    lifts = choose_lifts(slope, x, y, floor, area, most, LEAST_MM)
    count, least_area = brute(deep, area, most)
    assert len(lifts) == count
    assert sum(one.area_mm2 for one in lifts[:-1]) == pytest.approx(least_area)
    assert sum(one.volume_mm3 for one in lifts) == pytest.approx(float(area @ deep))
    assert max(one.max_mm for one in lifts) <= most + 1e-9
    assert lifts[-1].top == slope


@pytest.mark.parametrize("seed", range(12))
def test_fewest_lifts_on_the_least_area(seed: int) -> None:
    trial(seed)


def test_a_first_lift_is_no_film() -> None:
    """26 mm where 25 mm go at once: a first lift of 1 mm is made 3 mm at the cost of the next."""
    assert tops_below(26.0, 25.0, LEAST_MM) == [23.0, 0.0]
    assert tops_below(38.1, 25.4, LEAST_MM) == [25.4, 0.0]
    assert tops_below(20.0, 25.0, LEAST_MM) == [0.0]
    assert tops_below(200.0, None, LEAST_MM) == [0.0]
    with pytest.raises(BadInput, match="lifts"):
        tops_below(200.0, 2.0, LEAST_MM)


def test_bags_of_lifts_are_whole_and_all() -> None:
    assert shared_bags(10, [1.0, 9.0]) == [1, 9]
    assert shared_bags(10, [0.3, 9.7]) == [1, 9]
    assert sum(shared_bags(17, [3.3, 4.1, 9.9])) == 17


if __name__ == "__main__":
    for seed in range(int(sys.argv[1]) if len(sys.argv) > 1 else 300):
        trial(seed)
    print("all as brute force has them")
