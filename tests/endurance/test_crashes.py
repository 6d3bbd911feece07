"""What was told is there and the next shot is the right one, whatever befell program and disk."""

from pathlib import Path
from typing import Any

import pytest

from tools.endurance import copies, kills, mishaps, power, served


@pytest.mark.timeout(200)
def test_no_told_shot_is_missing_after_kills(tmp_path: Path) -> None:
    tally = kills.torment(4, seed=3, folder=tmp_path)
    assert tally.kills == 4
    assert tally.told > 0
    assert tally.sound, tally


def test_no_act_that_the_pages_answered_is_missing_after_kills(tmp_path: Path) -> None:
    tally = served.torment(2, seed=3, folder=tmp_path)
    assert tally.kills == 2
    assert tally.forms.total() > 0
    assert tally.sound, tally


def test_no_told_shot_is_missing_in_a_copy_of_the_file_alone(tmp_path: Path) -> None:
    tally = copies.torment(20, seed=3, folder=tmp_path)
    assert tally.copies == 20
    assert tally.held > 20
    assert tally.sound, tally


def test_no_told_shot_is_missing_after_power_cuts(tmp_path: Path) -> None:
    tally = power.torment(600, seed=4, folder=tmp_path)
    assert tally.cuts == 600
    assert tally.told > 5000
    assert tally.sound, tally


def test_power_cuts_would_show_a_job_that_does_not_wait_for_the_disk(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    usual = power._Connection.execute

    def careless(self: Any, sql: Any, values: tuple[Any, ...] = ()) -> Any:
        return usual(self, sql.replace("synchronous = FULL", "synchronous = OFF"), values)

    monkeypatch.setattr(power._Connection, "execute", careless)
    assert power.torment(100, seed=4, folder=tmp_path).lost > 10


def test_no_told_shot_is_missing_after_a_write_failed(tmp_path: Path) -> None:
    tally = power.break_disk(seed=5, folder=tmp_path, most=40)
    assert tally.failures == 40
    assert tally.sound, tally


@pytest.mark.timeout(200)
def test_mishaps_are_told_and_nothing_is_lost(tmp_path: Path) -> None:
    for outcome in mishaps.torment(tmp_path):
        assert outcome.faults == [], outcome
