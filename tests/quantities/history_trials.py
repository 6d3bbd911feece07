"""How well a crew's next jobs are foretold: pooling in part, not at all, and fully.

Errors are those of what the crew's jobs take on average; how one job differs from the crew's others
nobody foretells. What 95 % must hold is the next job itself.

`python -m tests.quantities.history_trials 1800` foretells so many jobs of 30 crews of 3, and of 12
crews of 2 (a minute).
"""

import math
import sys
from dataclasses import dataclass

import numpy as np

from rig.quantities.history import History, Past, cells_of, sums_of

CREW_SD, JOB_SD = 0.10, 0.10


@dataclass(frozen=True)
class Told:
    """Root mean square errors of the log, and the share of jobs that the 95 % held."""

    error: float
    alone: float
    as_one: float
    held: float


def trial(crews: int, jobs: int, next_jobs: int, seed: int) -> Told:
    rng = np.random.default_rng(seed)
    errors: list[list[float]] = []
    held: list[bool] = []
    while len(errors) < next_jobs:
        effects = rng.normal(0.0, CREW_SD, crews)
        past = 0.03 + effects[:, None] + rng.normal(0.0, JOB_SD, (crews, jobs))
        pasts = [Past(f"{n}", "mix", None, float(y)) for n in range(crews) for y in past[n]]
        history = History(sums_of(*cells_of(pasts)))
        for n in range(crews):
            level = 0.03 + effects[n]
            true = level + rng.normal(0.0, JOB_SD)
            factor = history.expect(f"{n}", "mix").factor
            errors.append(
                [math.log(factor.p50) - level, past[n].mean() - level, past.mean() - level]
            )
            held.append(factor.low <= math.exp(true) <= factor.high)
    error, alone, as_one = np.sqrt(np.mean(np.square(errors), axis=0))
    return Told(float(error), float(alone), float(as_one), float(np.mean(held)))


if __name__ == "__main__":
    for crews, jobs in ((30, 3), (12, 2)):
        told = trial(crews, jobs, int(sys.argv[1]), 7)
        print(
            f"{crews} crews of {jobs}: error {told.error:.4f}, {told.error / told.alone:.3f} of no "
            f"pooling, {told.error / told.as_one:.3f} of full; 95 % held {told.held:.1%}"
        )
