"""Need and yield from fronts: against the normal equations, and on simulated pours."""

import math
import random

import numpy as np
import pytest

from rig.pour.estimate import YIELD_DOUBT, Front, Prior, estimate
from tests.kinds import Floats


def test_without_a_front_the_need_is_the_plan() -> None:
    need = estimate(Prior(240.0, 5.0, 12.0), [])
    assert need.bags == pytest.approx(20.0)
    assert need.yield_l == pytest.approx(12.0)
    assert need.sd_bags == pytest.approx(20.0 * math.hypot(YIELD_DOUBT, 5.0 / 240.0))


def test_the_posterior_is_that_of_the_normal_equations() -> None:
    """numpy on the joint normal of need, bridge and placing (GLS), term by term."""
    prior = Prior(240.0, 12.0, 12.0)
    fronts = [Front(4.0, 0.18, 0.05), Front(9.0, 0.41, 0.05), Front(13.0, 0.63, 0.04)]
    r0, rel = 20.0, math.hypot(YIELD_DOUBT, 0.05)
    s = np.array([f.share for f in fronts])
    bridge = np.minimum.outer(s, s) - np.outer(s, s)
    placing = np.diag([(r0 * f.half_share) ** 2 / 3.0 + 1e-9 * r0**2 for f in fronts])
    cov = (r0 * 0.05) ** 2 * bridge + placing + (rel * r0) ** 2 * np.outer(s, s)
    gain = (rel * r0) ** 2 * s @ np.linalg.inv(cov)
    mean = r0 + gain @ (np.array([f.bags for f in fronts]) - r0 * s)
    var = (rel * r0) ** 2 * (1.0 - gain @ s)
    need = estimate(prior, fronts)
    assert need.bags == pytest.approx(mean)
    assert need.sd_bags == pytest.approx(math.sqrt(var))


def test_a_yield_that_is_off_shows_as_yield_and_a_doubtful_volume_as_volume() -> None:
    fronts = [Front(10.0, 0.45, 0.01)]
    sure_floor = estimate(Prior(240.0, 1.0, 12.0), fronts)
    assert sure_floor.yield_l == pytest.approx(12.0 * 20.0 / (10.0 / 0.45), rel=0.02)
    assert sure_floor.volume_l == pytest.approx(240.0, rel=0.01)
    sure_yield = estimate(Prior(240.0, 30.0, 12.0, yield_doubt=0.01), fronts)
    assert sure_yield.yield_l == pytest.approx(12.0, rel=0.01)
    assert sure_yield.volume_l > 245.0


def test_more_fronts_leave_less_doubt_and_chances_add_up() -> None:
    prior = Prior(240.0, 5.0, 12.0)
    fronts = [Front(2.0 * k, 0.1 * k, 0.05) for k in range(1, 9)]
    doubts = [estimate(prior, fronts[:k]).sd_bags for k in range(9)]
    assert doubts == sorted(doubts, reverse=True)
    need = estimate(prior, fronts)
    assert need.chance_enough(need.bags) == pytest.approx(0.5)
    assert need.chance_enough(need.p95) == pytest.approx(0.95)


def pours(
    count: int,
    off: float,
    batches: int = 40,
    strips: int = 40,
    volume_doubt: float = 0.01,
    tells: float = 1.0,
    seed: int = 1,
) -> Floats:
    """Simulated pours: how far the need predicted after ten batches is from the final one.

    Each strip's true volume errs by itself, as places far apart on a surface do. After a batch the
    last row covered is told, by someone who looks up only now and then; the front stands anywhere
    between that row and the next, which is the half strip either way of placing it.
    """
    rng = random.Random(seed)
    wrong = []
    for _ in range(count):
        each = [1.0 / strips + rng.gauss(0.0, volume_doubt / math.sqrt(strips))
                for _ in range(strips)]  # fmt: skip
        ends = np.cumsum(each)
        final = batches * float(ends[-1]) / (1.0 + off)
        prior = Prior(float(batches), volume_doubt * batches, 1.0)
        fronts, told = [], 0
        for n in range(1, 11):
            row = int(np.searchsorted(ends, n * (1.0 + off) / batches))
            if row > told and (rng.random() < tells or n == 10):
                told = row
                past = min(0.5 / strips, 0.5 / batches)
                fronts.append(Front(float(n), row / strips + past, 0.5 / strips))
        wrong.append(estimate(prior, fronts).bags / final - 1.0)
    return np.abs(wrong)


@pytest.mark.parametrize("off", [-0.10, 0.10])
@pytest.mark.parametrize(("tells", "strips"), [(1.0, 40), (1.0, 20), (0.6, 40)])
def test_after_ten_batches_the_need_is_known_to_five_per_cent(
    off: float, tells: float, strips: int
) -> None:
    """In 19 of 20 pours of 40 batches, the surface known to 1 % of the volume.

    Who looks up only after six batches of ten gets a little less.
    """
    wrong = pours(600, off, strips=strips, tells=tells)
    assert np.mean(wrong <= 0.05) >= (0.93 if tells == 1.0 else 0.88)
