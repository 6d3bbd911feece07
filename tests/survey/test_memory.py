"""The noise's memory against the normal equations, and on noise whose memory is known."""

import math
import random

import numpy as np
import pytest

from rig.survey.memory import COUNTS_AS, LEAST_MM, NoiseMemory


def test_each_belief_is_that_of_the_normal_equations() -> None:
    """numpy on the full covariance (generalised least squares), two rests, one scale."""
    rng = random.Random(4)
    memory = NoiseMemory(0.0)
    rests = []
    for height, n in ((1000.0, 12), (993.0, 9)):
        times = np.cumsum([rng.uniform(0.05, 0.3) for _ in range(n)])
        values = [height + rng.gauss(0.0, 0.2) for _ in range(n)]
        rests.append((times, np.array(values)))
        for time_s, value in zip(times, values, strict=True):
            memory.see(float(time_s), value)
        if height == 1000.0:
            memory.keep_rest()
    beliefs = memory.beliefs()
    pairs = [(one.share, one.tau_s) for one in memory._filters]
    assert len(beliefs) == len(pairs)
    for belief, (share, tau_s) in zip(beliefs, pairs, strict=True):
        squares = COUNTS_AS * LEAST_MM**2
        for times, seen in rests:
            cov = share * np.exp(-np.abs(np.subtract.outer(times, times)) / tau_s)
            weights = np.linalg.inv(cov + (1.0 - share) * np.eye(len(times)))
            mean = float(np.sum(weights @ seen) / weights.sum())
            squares += float((seen - mean) @ weights @ (seen - mean))
        scale = squares / (COUNTS_AS + 11 + 8)
        assert belief.mean_mm == pytest.approx(mean)
        assert belief.stderr_mm == pytest.approx(math.sqrt(scale / weights.sum()))
    assert math.fsum(one.odds for one in beliefs) == pytest.approx(1.0)


@pytest.mark.parametrize(("memory_s", "low", "high"), [(0.0, 0.03, 0.1), (1.3, 0.15, 0.45)])
def test_a_few_rests_tell_slow_noise_from_quick(memory_s: float, low: float, high: float) -> None:
    """Ten readings a second of 0.3 mm: the error of two seconds' mean is 0.067, or 0.23 mm."""
    rng, memory = random.Random(3), NoiseMemory(0.1)
    kept = math.exp(-0.1 / memory_s) if memory_s else 0.0
    at = rng.gauss(0.0, 0.3)
    for _ in range(6):
        for n in range(20):
            at = kept * at + math.sqrt(1.0 - kept**2) * rng.gauss(0.0, 0.3)
            memory.see(0.1 * n, 1000.0 + at)
        error2 = math.fsum(one.odds * one.stderr_mm**2 for one in memory.beliefs())
        memory.keep_rest()
    assert low < math.sqrt(error2) < high
