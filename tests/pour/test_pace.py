"""What a crew's pours teach of its pace, where hands rule and where timed mixing does."""

import numpy as np
import pytest

from rig.pour.crew import Roles, Steps
from rig.pour.pace import UNKNOWN, Past, interval_s, learn
from rig.pour.simulation import draw
from tests.pour.pace_trials import GEAR, trial


@pytest.mark.parametrize("gear", GEAR)
def test_three_pours_teach_the_pace_within_five_per_cent_and_keep_the_stated_odds(
    gear: str,
) -> None:
    """Many crews of each kind: `python -m tests.pour.pace_trials`."""
    got = trial(gear, "slow hands", 2, 3)
    assert got.before < -0.08
    assert got.off < 0.05
    assert got.died < 0.15


def test_a_pause_is_no_gap_and_batches_that_come_in_pairs_are_counted_as_they_come() -> None:
    steady = np.arange(12.0)[:, None] * 40.0
    assert interval_s(steady)[0] == 40.0
    steady[7:] += 900.0
    assert interval_s(steady)[0] == pytest.approx(40.0)
    pairs = np.cumsum([5.0, 75.0] * 6)[:, None]
    assert interval_s(pairs)[0] == pytest.approx(475.0 / 11)


def test_an_interval_that_no_pace_explains_teaches_little() -> None:
    work = Steps(*([20.0] * 12 for _ in Steps._fields))
    drawn = draw(work, 50, np.random.default_rng(1), 0.3, 0.1)
    told = learn([Past(drawn, Roles(1, 1, 1), 2, 0.01)])
    assert 0.5 < told.hands < 1.1
    assert learn([]) == UNKNOWN
