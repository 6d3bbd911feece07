"""A sheet is taken as it stands: nothing guessed, nothing silently left out."""

from pathlib import Path
from typing import Any

import pytest

from rig.errors import BadInput
from rig.pour.sheet import Sheet, ask_for, parse_sheet, read_sheet
from rig.units import Units, parse_temperature
from tests.kinds import there

MM, IN = Units("mm"), Units("in")

FULL = """
text = "invented compound, sheet of 2024"
water_per_bag = "5qt"
mixing_time = "2min"
slake_time = "0s"
working_time = "20min"
pot_life = "30min"
min_temperature = "50F"
max_temperature = "30C"
max_cover = "1 1/2in"
walk_on = "4h"
cover_after = "24h"
[[working_time_at]]
temperature = "30C"
working_time = "12min"
[[working_time_at]]
temperature = "20C"
working_time = "20min"
"""


def test_a_full_sheet_is_read(tmp_path: Path) -> None:
    path = tmp_path / "sheet.toml"
    path.write_text(FULL)
    sheet = read_sheet(path)
    assert sheet.mixing_time_s == 120.0
    assert sheet.slake_time_s == 0.0
    assert sheet.min_temperature_c == pytest.approx(10.0)
    assert sheet.max_cover_mm == pytest.approx(38.1)
    assert sheet.water_per_bag_l == pytest.approx(5 * 0.946352946)
    assert sheet.working_time_at == ((20.0, 1200.0), (30.0, 720.0))


def test_temperature_acts_only_as_the_sheet_states() -> None:
    sheet = Sheet(working_time_s=1200.0, working_time_at=((20.0, 1200.0), (30.0, 720.0)))
    assert sheet.working_time(20.0, MM) == (1200.0, None)
    assert sheet.working_time(25.0, MM) == (
        720.0,
        None,
    )  # the shorter, no interpolation
    with pytest.raises(BadInput, match="states no working time at 35"):
        sheet.working_time(35.0, MM)
    plain = Sheet(working_time_s=1200.0)
    time_s, note = plain.working_time(28.0, MM)
    assert time_s == 1200.0
    assert "28 °C" in there(note)
    only_rows = Sheet(working_time_at=((20.0, 1200.0), (30.0, 720.0)))
    assert only_rows.working_time(None, MM)[0] == 720.0
    assert Sheet().working_time(None, MM) == (None, None)


def test_cold_and_warm_floors_are_warned_of() -> None:
    sheet = Sheet(min_temperature_c=10.0, max_temperature_c=30.0)
    assert "colder" in sheet.warnings(5.0, MM)[0]
    assert "hotter" in sheet.warnings(31.0, MM)[0]
    assert sheet.warnings(20.0, MM) == []
    assert "allows 10 °C to 30 °C: measure" in sheet.warnings(None, MM)[0]
    assert [sheet.allows(t) for t in (9.9, 10.0, 30.0, 30.1, None)] == [
        False, True, True, False, True
    ]  # fmt: skip
    assert "not checked" in Sheet().warnings(20.0, MM)[0]


def test_temperatures_are_told_in_whole_degrees_of_the_jobs_units() -> None:
    sheet = Sheet(min_temperature_c=parse_temperature("50F"), max_temperature_c=29.6)
    assert "at 41 °F, colder than the sheet allows (50 °F at least)" in sheet.warnings(5.0, IN)[0]
    assert "at 31 °C, hotter than the sheet allows (30 °C at most)" in sheet.warnings(31.2, MM)[0]
    # Rounded alike the two would contradict each other.
    assert "just colder than the sheet allows (10 °C at least)" in sheet.warnings(9.8, MM)[0]
    rows = Sheet(working_time_at=((20.0, 1200.0), (30.0, 720.0)))
    with pytest.raises(BadInput, match="at 95 °F, only from 68 °F to 86 °F"):
        rows.working_time(parse_temperature("95F"), IN)
    _, note = Sheet(working_time_s=1200.0).working_time(parse_temperature("71F"), IN)
    assert "71 °F" in there(note)


@pytest.mark.parametrize(
    ("told", "say"),
    [
        ({"working_time": 20}, "unit"),
        ({"working_time": "20"}, "unit"),
        ({"working_time": "0min"}, "more than 0"),
        ({"mixing_time": "-2min"}, "more than 0"),
        ({"worktime": "20min"}, "worktime"),
        ({"min_temperature": "20"}, "70F"),
        ({"min_temperature": "30C", "max_temperature": "20C"}, "above"),
        ({"working_time_at": [{"temperature": "20C"}]}, "working_time"),
        ({"working_time_at": [{"temperature": "20C", "working_time": "9min"}] * 2}, "twice"),
        ({"text": 3}, "text"),
    ],
)
def test_wrong_keys_are_refused_by_name(told: dict[str, Any], say: str) -> None:
    with pytest.raises(BadInput, match=say):
        parse_sheet(told, "sheet.toml")


def test_files_that_are_no_sheet_are_refused(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="no file"):
        read_sheet(tmp_path / "nowhere.toml")
    (tmp_path / "bad.toml").write_text("working_time = ")
    with pytest.raises(BadInput, match="not valid TOML"):
        read_sheet(tmp_path / "bad.toml")


def test_fahrenheit_is_turned_into_celsius() -> None:
    assert parse_temperature("70F") == pytest.approx(21.111, abs=1e-3)
    assert parse_temperature("21 °C") == 21.0
    assert parse_temperature("48.2F") == 9.0
    with pytest.raises(BadInput, match="no temperature"):
        parse_temperature("500C")


def test_what_is_missing_is_asked_for() -> None:
    assert "working time" in str(ask_for("working_time"))
    assert "--mix-time" in str(ask_for("mixing_time"))
