"""The demo of several rods: their zeros are found again by the benchmark that all shoot."""

from pathlib import Path

import pytest

from rig.demo import rods


def test_the_demo_of_two_rods_finds_their_zeros(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(rods, "ROOM", ("--room", "2m,2m", "--units", "mm"))
    told = rods.show_rods(tmp_path, 2, 3, True)
    assert told.points == sum(one.shots for one in told.rods) == 9
    assert [one.zero_mm for one in told.rods] == [0.0, rods.ZERO_MM]
    assert all(one.apart_mm < 0.2 for one in told.rods)
    assert "found" in rods.rods_text(told)
