"""Do the intervals of F-numbers hold the truth as often as they say? Simulated floors, measured.

`python -m tests.flatness.f_number_trials 150 100` prints the shares for that many floors measured
without a shared error, and with a laser's slope in all lines (half a minute). The tests run fewer
of the same.
"""

import sys

import numpy as np

from rig.flatness.f_numbers import FF_FOOT_MM, FL_MM, f_numbers
from rig.flatness.field import Floats
from rig.flatness.level_lines import LevelLine


def walked(seed: int, n: int, count: int, step: float = 304.8) -> list[LevelLine]:
    """Lines over a floor that wanders, readings with noise."""
    rng = np.random.default_rng(seed)
    return [
        LevelLine(str(k), np.cumsum(rng.normal(0, 0.8, n)) + rng.normal(0, 0.3, n), step)
        for k in range(count)
    ]


def coverage(count: int, seed: int, n: int = 31, lines: int = 8) -> tuple[Floats, Floats]:
    """Share of 90 % intervals that lie above the truth, and of those that miss it: FF and FL.

    The truth is the number over 1 500 more lines as long, combined as the standard does.
    """
    sizes = []
    for row in walked(seed + 10_000, n, 1500):
        q, z = np.diff(row.z_mm, 2), row.z_mm[10:] - row.z_mm[:-10]
        sizes.append([3 * np.std(v, ddof=1) + abs(v.mean()) for v in (q, z)])
    true_ff, true_fl = np.array([FF_FOOT_MM, FL_MM]) / np.sqrt(np.mean(np.square(sizes), axis=0))
    over = np.zeros(2)
    missed = np.zeros(2)
    for k in range(count):
        found = f_numbers(walked(seed + k, n, lines))
        ends = (found.ff_ci90, true_ff), (found.fl_ci90, true_fl)
        over += [truth < ci[0] for ci, truth in ends]
        missed += [not ci[0] <= truth <= ci[1] for ci, truth in ends]
    return over / count, missed / count


def held_behind_a_tilt(
    count: int, u: float = 0.3, slope: float = 0.4, ripple: float = 0.8
) -> tuple[float, float]:
    """Share of FL intervals that hold the truth, with the laser's slope in them and without.

    A floor of known slope, measured with lines of slopes that nobody knows but how large.
    """
    held = {True: 0, False: 0}
    for seed in range(count):
        rng = np.random.default_rng(seed)
        x_m, tilt = 0.3048 * np.arange(31.0), rng.normal(0.0, u)
        floors = [slope * x_m + rng.normal(0.0, ripple, 31) for _ in range(40)]
        true = f_numbers([LevelLine("A", h, 304.8) for h in floors]).fl
        for known in held:
            told = f_numbers(
                [
                    LevelLine("A", h + tilt * x_m, 304.8, 0.0, u * x_m[:, None] if known else None)
                    for h in floors
                ]
            )
            held[known] += told.fl_ci90[0] <= true <= told.fl_ci90[1]
    return held[True] / count, held[False] / count


def run(floors: int = 150, tilted: int = 100) -> None:
    over, missed = coverage(floors, 100)
    for name, above, wrong in zip(("FF", "FL"), over, missed, strict=True):
        print(f"{name}: {above:.3f} of {floors} intervals above the truth, {wrong:.3f} miss it")
    known, unknown = held_behind_a_tilt(tilted)
    print(f"FL behind a tilted line, {tilted} floors: held {known:.2f}, not knowing {unknown:.2f}")


if __name__ == "__main__":
    run(*(int(word) for word in sys.argv[1:3]))
