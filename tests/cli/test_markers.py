"""Markers moved, added and taken away, and told as the prompts tell their places."""

import re
import sqlite3
from typing import Any

import pytest

from tests.cli.conftest import Run


@pytest.fixture
def marked(surveyed: Run) -> Run:
    """The room of 3 m by 4 m, with a plan and its markers."""
    assert surveyed("plan").code == 0
    assert surveyed("markers").code == 0
    return surveyed


def layout(run: Run, *words: str) -> dict[str, Any]:
    told = run("markers", "--json", *words)
    assert told.code == 0, told.err
    return {marker["label"]: marker for marker in told.json["markers"]}


def warnings(run: Run, *words: str) -> str:
    return "\n".join(run("markers", "--json", *words).json["warnings"])


def set_all(run: Run, markers: dict[str, Any]) -> None:
    typed = "".join(
        f"{m['target_reading_mm'] + off:.3f}\n" for m in markers.values() for off in (5.0, 0.0)
    )
    done = run("set", "--typed", "--skip-check", typed=typed)
    assert "All markers set." in done.out


def test_a_marker_is_moved_another_added_and_a_third_dropped(marked: Run) -> None:
    before = layout(marked)
    last = f"M{len(before)}"
    after = layout(marked, "--move", "m1=1.1m,1.3m", "--add", "2m,2.4m", "--drop", last)
    new = f"M{len(before) + 1}"
    assert {*after} == {*before} - {last} | {new}
    assert (after["M1"]["x_mm"], after["M1"]["y_mm"]) == (1100.0, 1300.0)
    assert (after[new]["x_mm"], after[new]["y_mm"]) == (2000.0, 2400.0)
    # Readings of the table: 1200 + 3i - 2j + (ij mod 3) at x = 200 + 650i, y = 200 + 720j.
    for label in ("M1", new):
        i, j = (after[label]["x_mm"] - 200) / 650, (after[label]["y_mm"] - 200) / 720
        floor = 1200 + 3 * i - 2 * j
        out = after[label]["stick_out_mm"]
        assert floor - 0.5 < out + after[label]["target_reading_mm"] < floor + 2.5
    for label in {*before} & {*after} - {"M1"}:
        assert after[label] == before[label]
    assert layout(marked) == after  # kept, and found again by the next command
    with sqlite3.connect("job.sqlite") as database:
        rows = database.execute("SELECT data FROM event WHERE kind = 'markers' ORDER BY id")
        assert any('"move"' in data and '"M1"' in data for (data,) in rows)


def test_a_label_that_was_dropped_is_not_given_again(marked: Run) -> None:
    last = f"M{len(layout(marked))}"
    layout(marked, "--drop", last)
    assert last not in layout(marked, "--add", "2m,2.4m")


def test_a_marker_that_was_set_and_is_moved_is_set_no_more(marked: Run) -> None:
    markers = layout(marked)
    set_all(marked, markers)
    moved = marked("markers", "--move", "M2=1.1m,1.3m")
    assert "M2 was set and has been moved: set it again." in moved.out
    again = marked("set", "--typed", "--skip-check", typed="q\n")
    assert "1 marker left: M2." in again.out


def test_a_new_plan_keeps_places_and_changes_heights(marked: Run) -> None:
    before = layout(marked, "--move", "M1=1.1m,1.3m")
    assert marked("edit", "--min-cover", "10mm").code == 0
    assert marked("plan").code == 0
    after = layout(marked)
    for label, old in before.items():
        assert (after[label]["x_mm"], after[label]["y_mm"]) == (old["x_mm"], old["y_mm"])
        assert after[label]["stick_out_mm"] == pytest.approx(old["stick_out_mm"] + 4.0, abs=0.2)
    anew = layout(marked, "--reach", "1.2m")
    assert (anew["M1"]["x_mm"], anew["M1"]["y_mm"]) != (1100.0, 1300.0)
    assert warnings(marked) == ""


def test_less_than_a_hand_from_the_wall_is_warned_of(marked: Run) -> None:
    assert warnings(marked) == ""
    told = warnings(marked, "--move", "M1=60mm,1.3m")
    assert "M1 stands 0.06 m from a wall or an opening" in told
    assert "M1 stands" not in warnings(marked, "--move", "M1=100mm,1.3m")


def test_floor_that_no_marker_reaches_any_more_is_named(marked: Run) -> None:
    before = layout(marked)
    told = warnings(marked, *(word for label in [*before][1:] for word in ("--drop", label)))
    assert "The nearest marker to the floor" in told
    assert "more than 1.2 m" in told


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (["--move", "M99=1m,1m"], "no marker 'M99'"),
        (["--drop", "M99"], "no marker 'M99'"),
        (["--move", "M1=5m,1m"], "outside the walls"),
        (["--add", "-1m,1m"], "outside the walls"),
        (["--move", "M1"], "names no marker"),
        (["--move", "M1=1m"], "takes 2"),
        (["--move", "M1=1m,1m", "--drop", "M1"], "named twice"),
        (["--move", "M1=1m,1m", "--move", "m1=2m,1m"], "twice"),
        (["--drop", "M1", "--drop", "M1"], "named twice"),
        (["--add", "1m,1m", "--add", "1.05m,1m"], "apart"),
        (["--reach", "1m", "--drop", "M1"], "leave out --reach"),
    ],
)
def test_what_a_layout_does_not_allow_is_refused(marked: Run, words: list[str], why: str) -> None:
    before = layout(marked)
    refused = marked("markers", *words)
    assert refused.code == 2
    assert why in refused.err
    assert layout(marked) == before


def test_the_last_marker_stays(marked: Run) -> None:
    words = [word for label in layout(marked) for word in ("--drop", label)]
    assert marked("markers", *words).code == 1


def test_before_there_is_a_layout_there_is_nothing_to_move(surveyed: Run) -> None:
    assert surveyed("plan").code == 0
    refused = surveyed("markers", "--drop", "M1")
    assert refused.code == 1
    assert "Lay them out first" in refused.err


def test_all_set_names_how_to_look_at_one_again(marked: Run) -> None:
    markers = layout(marked)
    typed = "".join(
        f"{m['target_reading_mm'] + off:.3f}\n" for m in markers.values() for off in (5.0, 0.0)
    )
    done = marked("set", "--typed", "--skip-check", typed=typed)
    named = re.search(r"rig (set --marker (M\d+))$", done.out, re.M)
    assert named
    kicked = markers[named[2]]["target_reading_mm"] - 4.0
    again = marked(*named[1].split(), "--typed", "--skip-check", "--json", typed=f"{kicked}\n")
    prompt = next(e for e in again.events if e["event"] == "prompt")
    assert (prompt["marker"], prompt["move"]) == (named[2], "lower")
    assert prompt["by_mm"] == pytest.approx(4.0)


def test_places_are_told_as_the_prompts_tell_them(run: Run) -> None:
    assert run("new", "--room", "12ft,15ft", "--door", "4ft,0ft,3ft").code == 0
    told = run("grid")
    points = run("grid", "--json").json["points"]
    # By hand: looking in from the door in the wall y = 0, x = 0 is on the left, so A1, half a foot
    # from both, has the door wall before it and the left wall beside it.
    assert re.search(r"\bA1 +6 in from the door wall, 6 in from the left wall$", told.out, re.M)
    lines = [line for line in told.out.splitlines() if " from the " in line]
    assert len(lines) == len(points)
    assert not re.search(r"\bx \d", told.out)
    survey = run("survey", "--typed", "--json", typed="q\n")
    asked = next(e for e in survey.events if e["event"] == "next")
    label, _, where = asked["text"].partition(": ")
    assert any(line.split(None, 1)[1].split(None, 1) == [label, where] for line in lines)
    typed = "".join("48 3/16\n" for _ in points)
    run("survey", "--typed", typed=typed)
    assert run("plan").code in (0, 2)
    laid = run("markers").out
    setting = run("set", "--typed", "--skip-check", "--json", typed="q\n")
    where = next(e for e in setting.events if e["event"] == "next")["text"]
    assert " from the " in where
    assert f"{where}: rod reads" in laid
