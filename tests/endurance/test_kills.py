import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[2] / "tools" / "endurance"))
from kills import torment


@pytest.mark.timeout(200)
def test_no_told_shot_is_missing_after_kills(tmp_path):
    tally = torment(6, seed=3, folder=tmp_path)
    assert tally.kills == 6
    assert tally.told > 0
    assert (tally.lost, tally.damaged, tally.wrong_next) == (0, 0, 0)
