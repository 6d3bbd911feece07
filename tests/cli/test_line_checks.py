"""The line checked on the way, through the command line: what stands in the job afterwards."""

import re
import sqlite3
from pathlib import Path
from typing import Any

import pytest

from rig.job.store import Job
from tests.cli.conftest import Outcome, Run, Table
from tests.kinds import there

HEIGHT = {"A1": 1200.0, "A2": 1203.0, "B1": 1199.0, "B2": 1205.0}
JOLT = 4.0


def shots(path: str = "job.sqlite") -> list[tuple[str, float, bool]]:
    with sqlite3.connect(path) as database:
        query = "SELECT point, reading_mm, superseded_by IS NULL FROM shot ORDER BY id"
        return [(point, value, bool(now)) for point, value, now in database.execute(query)]


class Room:
    """A command line over a job, and the order of its walk."""

    def __init__(self, run: Run, order: list[str]) -> None:
        self._run, self.order = run, order

    def __call__(self, *words: object, typed: str | None = None) -> Outcome:
        return self._run(*words, typed=typed)


@pytest.fixture
def room(run: Run) -> Room:
    """A room of four points, typed in mm, its benchmark shot."""
    run("new", "--room", "2m,2m", "--units", "mm", "--min-cover", "6mm")
    points = run("grid", "--spacing", "1.8m", "--json").json["points"]
    run("survey", "--typed", "--kind", "benchmark", "--label", "BM1", typed="1000\n")
    return Room(run, [point["label"] for point in points])


def typed(order: list[str], by: float = 0.0) -> str:
    return "".join(f"{HEIGHT[label] + by:.1f}\n" for label in order)


def test_a_line_that_stands_is_said_to(room: Room) -> None:
    told = room("survey", "--typed", "--json", typed=typed(room.order) + "1000.5\n")
    assert told.code == 0
    checked = [event for event in told.events if event["event"] == "checked"]
    assert [event["ok"] for event in checked] == [True]
    assert told.events[-1]["event"] == "done"
    assert [now for *_, now in shots()] == [True] * 5


def test_stdin_may_end_before_the_check(room: Room) -> None:
    told = room("survey", "--typed", "--json", typed=typed(room.order))
    assert told.code == 0
    assert told.events[-1] == {"event": "done", "shots": 4, "skipped": []}


def test_skip_check_asks_for_nothing(room: Room) -> None:
    told = room("survey", "--typed", "--skip-check", "--json", typed=typed(room.order))
    assert not [event for event in told.events if event["event"] == "check"]
    assert told.code == 0


def kicked(room: Room) -> Outcome:
    """The tripod is kicked after two shots; the benchmark shows it, all four are shot again."""
    first = typed(room.order[:2]) + typed(room.order[2:], JOLT)
    back = f"{1000 + JOLT}\n"
    return room(
        "survey", "--typed", "--json", typed=first + back * 2 + typed(room.order, JOLT) + back
    )


def test_a_kick_sets_shots_aside_and_the_line_is_tied_anew(room: Room) -> None:
    told = kicked(room)
    assert told.code == 0, told.err
    (jolt,) = (event for event in told.events if event["event"] == "jolt")
    assert jolt["labels"] == room.order
    assert jolt["change_mm"] == pytest.approx(JOLT)
    kept = shots()
    assert len(kept) == 9  # nothing is deleted
    assert [now for *_, now in kept] == [True] + [False] * 4 + [True] * 4
    for point, value, now in kept[1:]:
        if now:
            assert value == pytest.approx(HEIGHT[point])  # as the first line would have read it
    assert told.events[-1]["shots"] == 4


def states(run: Run) -> list[tuple[str, str]]:
    """What the report's tables of shots say became of each, by point."""
    assert run("report").code == 0
    told = []
    for table in re.findall(r"<table.*?</table>", Path("report.html").read_text(), re.S):
        head = re.findall(r"<th[^>]*>(.*?)</th>", table, re.S)
        if "Reads" in head:
            cells = re.findall(r"<tr><td[^>]*>(.*?)</td>.*?<td[^>]*>([^<]*)</td></tr>", table, re.S)
            told += [(label, last if head[-1] == "" else "") for label, last in cells]
    return told


def test_the_report_says_what_became_of_each_shot(room: Room) -> None:
    kicked(room)
    order = room.order
    assert states(room) == [
        ("BM1", ""), *((label, "set aside") for label in order), *((label, "") for label in order)
    ]  # fmt: skip
    words = ["--label", order[0], "--label", order[1], "--skip-check"]
    room("survey", "--typed", *words, typed="1201\nu\n1202\n1199\n")
    told = states(room)
    assert told[5:7] == [(order[0], "replaced"), (order[1], "replaced")]
    assert told[-3:] == [(order[0], "undone"), (order[0], ""), (order[1], "")]


def test_the_report_tells_corrected_shots_from_undone_ones(room: Room) -> None:
    room("survey", "--typed", typed=typed(room.order))
    with Job.open("job.sqlite", write=True) as job:
        first, *_ = job.shots(kinds=["floor"])
        keys = ("point", "x_mm", "y_mm", "stderr_mm", "n", "kind", "time_s", "utc_s")
        row = {key: getattr(first, key) for key in keys}
        job.correct_shots(there(first.session_id), [row | {"reading_mm": first.reading_mm - 0.4}])
    told = states(room)
    assert told[1] == (first.point, "corrected")
    assert told[-1] == (first.point, "")
    assert {word for _, word in told[2:]} == {""}


def test_the_kicked_survey_replays_to_the_same_shots(room: Room) -> None:
    kicked(room)
    room("new", "--job", "again.sqlite", "--room", "2m,2m", "--units", "mm")
    room("grid", "--job", "again.sqlite", "--spacing", "1.8m")
    assert room("survey", "--job", "again.sqlite", "--replay", "job.sqlite").code == 0
    assert shots("again.sqlite") == shots()


def test_marker_setting_goes_by_the_line_as_it_is_now(room: Room, table: Table) -> None:
    kicked(room)
    more = "label,x,y,reading\n" + "".join(f"N{n},{500 + 400 * n},{900},1202\n" for n in range(3))
    assert room("import", table(more), "--unit", "mm").code == 0
    assert room("plan").code == 0
    target = room("markers", "--json").json["markers"][0]["target_reading_mm"]
    setting = room("set", "--typed", "--json", typed=f"{1000 + JOLT}\n{target + JOLT}\n")
    checked = next(event for event in setting.events if event["event"] == "checked")
    assert checked["ok"]
    prompt = next(event for event in setting.events if event["event"] == "prompt")
    assert prompt["target_reading_mm"] == pytest.approx(target + JOLT)
    assert prompt["move"] == "hold"


def of(told: Outcome, *names: str) -> list[dict[str, Any]]:
    return [event for event in told.events if event["event"] in names]


INCHES = 50.8
"""What the line is off by once the laser stands on its tripod again."""


def test_a_survey_that_is_left_asks_for_a_closing_sight(room: Room) -> None:
    told = room("survey", "--typed", "--json", typed=typed(room.order[:2]) + "q\n1000.4\n")
    asked, checked, done = of(told, "check", "checked", "done")
    assert (asked["label"], asked["expected_mm"], asked["closing"]) == ("BM1", 1000.0, True)
    assert checked["difference_mm"] == pytest.approx(0.4)
    assert done["shots"] == 2
    skipped = room("survey", "--typed", "--json", typed="1000\n1199\nq\ns\n")
    assert [event["label"] for event in of(skipped, "skipped")] == ["BM1"]
    assert skipped.events[-1]["event"] == "done"


def test_a_laser_set_up_again_is_a_set_up_of_its_own_and_no_shot_is_lost(room: Room) -> None:
    room("survey", "--typed", typed=typed(room.order[:2]) + "q\n1000\n")
    lines = f"{1000 + INCHES}\n" + typed(room.order[2:], INCHES)
    told = room("survey", "--typed", "--json", typed=lines + f"q\n{1000 + INCHES}\n")
    first, second, *_ = told.events
    assert (first["event"], first["label"], first["expected_mm"]) == ("check", "BM1", 1000.0)
    assert second["event"] == "reading"
    checked, setup = of(told, "checked", "setup")[:2]
    assert checked["difference_mm"] == pytest.approx(INCHES)
    assert (setup["name"], setup["line_mm"]) == ("2", pytest.approx(INCHES))
    assert of(told, "jolt", "drift", "set_aside") == []
    assert [now for *_, now in shots()] == [True] * 6
    heights = {one["setup"]: one["line_mm"] for one in room("floor", "--json").json["setups"]}
    assert heights == {"1": 0.0, "2": pytest.approx(INCHES)}
    assert room("floor", "--json").json["range_mm"] == pytest.approx(6.0, abs=1.5)


def test_without_a_closing_sight_an_earlier_point_vouches_and_the_answer_is_kept(
    room: Room,
) -> None:
    first, last = room.order[0], room.order[1]
    room("survey", "--typed", typed=typed(room.order[:2]) + "q\ns\n")
    told = room("survey", "--typed", "--json", typed=f"{1000 + INCHES}\nq\n")  # no time to look
    assert [event["label"] for event in of(told, "check")] == ["BM1", last]
    again = room(
        "survey", "--typed", "--json", typed=f"{1000 + INCHES}\n{HEIGHT[last] + INCHES}\nq\n"
    )
    assert [event["label"] for event in of(again, "check")] == ["BM1", last]
    assert [event["ok"] for event in of(again, "checked")] == [True, True]
    assert of(again, "set_aside", "setup") == []
    more = room("survey", "--typed", "--json", typed="q\n")
    assert of(more, "check") == []
    assert {p for p, _, now in shots() if now} == {"BM1", first, last}


def test_a_line_that_moved_before_the_break_costs_only_what_nothing_vouches_for(
    room: Room,
) -> None:
    """Kicked after the first shot, set up anew the next day; neither was looked at."""
    order = room.order
    wrong = typed(order[:1]) + typed(order[1:3], JOLT)
    room("survey", "--typed", typed=wrong + "q\ns\n")
    lines = [1000, *(HEIGHT[order[n]] for n in (2, 1, 3, 0))]
    told = room(
        "survey", "--typed", "--json", typed="".join(f"{mm + INCHES}\n" for mm in lines) + "q\ns\n"
    )
    assert [event["label"] for event in of(told, "check")][:3] == ["BM1", order[2], order[1]]
    assert [event["label"] for event in of(told, "shot")] == [order[n] for n in (2, 1, 3, 0)]
    (aside,) = of(told, "set_aside")
    assert aside["labels"] == [order[0]]
    assert {p: v for p, v, now in shots() if now and p != "BM1"} == pytest.approx(
        {label: height + INCHES for label, height in HEIGHT.items()}
    )


def test_a_benchmark_that_is_read_again_shows_a_laser_set_up_again(room: Room) -> None:
    room("survey", "--typed", typed=typed(room.order[:2]) + "q\n1000\n")
    words = ["survey", "--typed", "--kind", "benchmark", "--label", "BM1", "--json"]
    told = room(*words, typed=f"{1000 + INCHES}\n")
    assert [event["name"] for event in of(told, "setup")] == ["2"]
    assert of(told, "shot")[0]["reading_mm"] == pytest.approx(1000 + INCHES)
    assert Job.open("job.sqlite").last_setup() == "2"


def test_a_set_up_without_a_benchmark_begins_at_its_last_shot_after_a_break(run: Run) -> None:
    run("new", "--room", "2m,2m", "--units", "mm")
    order = [p["label"] for p in run("grid", "--spacing", "1.8m", "--json").json["points"]]
    run("survey", "--typed", typed=typed(order[:3]) + "q\n")
    with sqlite3.connect("job.sqlite") as database:
        database.execute("UPDATE shot SET utc_s = utc_s - 40000")
    lines = [HEIGHT[order[2]], HEIGHT[order[0]], HEIGHT[order[3]]]
    told = run("survey", "--typed", "--json", typed="".join(f"{mm + INCHES}\n" for mm in lines))
    assert [event["label"] for event in of(told, "check")] == [order[2], order[0]]
    assert of(told, "setup")[0]["line_mm"] == pytest.approx(INCHES)
    assert of(told, "set_aside") == []
    assert run("floor", "--json").json["range_mm"] == pytest.approx(6.0, abs=1.5)


def test_people_read_what_happened(room: Room) -> None:
    first = typed(room.order[:2]) + typed(room.order[2:], JOLT)
    out = room("survey", "--typed", typed=first + f"{1000 + JOLT}\ny\nq\n").out
    assert "back to BM1" in out
    assert "is the tape on BM1?" in out
    assert "! jolt: the line went 4 mm up" in out
    assert "4 points left" in out
