"""Every mistake gets a sentence that says what, where and what to do, and the right code."""

import os
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from rig.job import Job
from tests.cli.conftest import Run, Table

HEAD = "label,x,y,reading\n"
GOOD = "P1,200,200,1200\nP2,2800,200,1203\nP3,2800,3800,1207\nP4,200,3800,1202\nP5,1500,2000,1204\n"


@pytest.fixture
def job(run: Run) -> Callable[..., Any]:
    assert run("new", "--room", "3m,4m", "--units", "mm", "--min-cover", "6mm").code == 0
    return run


@pytest.mark.parametrize(
    ("words", "say"),
    [
        (["--room", "12,15"], "unit"),
        (["--room", "12ft,1,5m"], "parts"),
        (["--room", "nanft,15ft"], "57mm"),
        (["--room", "0ft,15ft"], "more than"),
        (["--room", "-3m,4m"], "more than"),
        (["--walls", "12ft right 5ft left 3ft right 8ft"], "miss"),
        (["--room", "3m,4m", "--opening", "5m,5m,1m,1m"], "outside"),
        (["--room", "3m,4m", "--door", "1m,2m,80cm"], "wall"),
        (["--room", "3m,4m", "--door", "1m,0m,80cm", "--door", "1.5m,0m,80cm"], "overlaps door 1"),
        (["--room", "3m,4m", "--min-cover", "30mm", "--max-cover", "20mm"], "maximum"),
        (["--room", "3m,4m", "--bag-yield", "12"], "unit"),
        (["--room", "3m,4m", "--bag-yield", "127l", "--bag-mass", "22kg"], "sheet again"),
        (["--room", "3mm,4mm"], "unit right"),
        (["--room", "3000m,4000m"], "unit right"),
        (["--room", "12ft,15ft", "--door", "10ft,0ft,3ft"], "give --door 84in,0in,36in"),
        (["--room", "12ft,15ft", "--door", "1ft,15ft,3ft"], "past the end of wall 3: from (1 ft"),
        (["--room", "3m,4m", "--door", "2.5m,0m,90cm", "--units", "mm"], "--door 1600mm,0mm,900mm"),
        (["--room", "3m,4m", "--waste", "5"], "%"),
        (["--outline", "nowhere.wkt", "--unit", "m"], "nowhere.wkt"),
        (["--room", "3m,4m", "--walls", "3m right 3m right 3m right 3m"], "once"),
        ([], "--room"),
    ],
)
def test_new_refuses_what_it_cannot_build(run: Run, words: list[str], say: str) -> None:
    refused = run("new", *words)
    assert refused.code == 2
    assert say in refused.err
    assert not os.path.exists("job.sqlite")


@pytest.mark.parametrize(
    ("words", "say"),
    [
        (["--room", "1ft,3ft"], "3 ft² of floor, and few are so small"),
        (["--room", "144ft,432ft"], "62208 ft² of floor, and few are so large"),
    ],
)
def test_a_room_that_is_hardly_meant_is_doubted(run: Run, words: list[str], say: str) -> None:
    told = run("new", *words, "--json").json
    assert len(told["warnings"]) == 1
    assert say in told["warnings"][0]
    assert say in run("edit", *words).out


def test_a_room_as_most_are_is_not_doubted(run: Run) -> None:
    words = ["--room", "12ft,15ft", "--door", "9ft,0ft,3ft"]
    assert run("new", *words, "--json").json["warnings"] == []
    assert "!" not in run("edit", *words).out


def test_new_refuses_a_job_that_is_there(job: Callable[..., Any]) -> None:
    before = open("job.sqlite", "rb").read()
    refused = job("new", "--room", "2m,2m")
    assert refused.code == 2
    assert "job.sqlite" in refused.err
    assert open("job.sqlite", "rb").read() == before


@pytest.mark.parametrize(
    ("text", "say"),
    [
        (HEAD + GOOD + "P6,1500,nan,1204\n", "line 7"),
        (HEAD + GOOD + "P6,1500,inf,1204\n", "line 7"),
        (HEAD + GOOD + "P6,1500,1000\n", "line 7"),
        (HEAD + GOOD + "P6\n", "line 7: 1 cell, but the heading names 4"),
        (HEAD + GOOD + "P1,1500,1000,1204\n", "line 2"),
        (HEAD + GOOD + "P6,9000,1000,1204\n", "outside"),
        (HEAD + GOOD + "P6,1500,1000,twelve\n", "line 7"),
        (HEAD + GOOD + "P6,1500,1000,-12\n", "line 7: P6 reads less than 0"),
        ("label,x,y\nP1,1,1\n", "reading"),
        ("label,x,x,y,reading\n", "twice"),
        ("label,x,y,reading,depth\n", "depth"),
        ("label;x;y;reading\nP1;200;200;1200\n", "parted by commas"),
        (HEAD, "no rows"),
        ("", "empty"),
        (HEAD.strip() + ",kind\nP1,200,200,1200,roof\n", "roof"),
    ],
)
def test_a_table_is_taken_whole_or_not_at_all(
    job: Callable[..., Any], table: Table, text: str, say: str
) -> None:
    refused = job("import", table(text), "--unit", "mm")
    assert refused.code == 2
    assert say in refused.err
    assert job("floor").code == 1  # nothing was taken


def test_a_grid_label_at_another_place_refuses_the_table(
    job: Callable[..., Any], table: Table
) -> None:
    first = job("grid", "--json").json["points"][0]
    row = f"{first['label']},{first['x_mm'] + 300},{first['y_mm']},1200\n"
    refused = job("import", table(HEAD + row), "--unit", "mm")
    assert refused.code == 2
    assert first["label"] in refused.err


def test_a_table_without_unit_is_refused(job: Callable[..., Any], table: Table) -> None:
    refused = job("import", table(HEAD + GOOD))
    assert refused.code == 2
    assert "--unit" in refused.err


def in_unit(size_mm: float) -> str:
    """A table of the room's corners and middle, written in a unit of so many millimetres."""
    rows = [(200, 200, 1200), (2800, 200, 1203), (2800, 3800, 1207), (1500, 2000, 1204)]
    rows.append((200, 3800, 1202))
    return HEAD + "".join(
        f"P{n}," + ",".join(f"{value / size_mm:.3f}" for value in row) + "\n"
        for n, row in enumerate(rows, 1)
    )


@pytest.mark.parametrize(
    ("size_mm", "unit", "likelier"),
    [(25.4, "mm", "in"), (304.8, "in", "ft"), (1000.0, "mm", "m"), (1000.0, "cm", "m")],
)
def test_a_table_in_a_larger_unit_than_said_is_refused_with_the_unit_that_fits(
    job: Callable[..., Any], table: Table, size_mm: float, unit: str, likelier: str
) -> None:
    refused = job("import", table(in_unit(size_mm)), "--unit", unit)
    assert refused.code == 2
    assert f"--unit {likelier}." in refused.err
    assert "Nothing was taken" in refused.err
    assert job("floor").code == 1
    assert job("import", table(in_unit(size_mm)), "--unit", likelier).code == 0


@pytest.mark.parametrize("unit", ["in", "ft", "m"])
def test_a_table_in_a_smaller_unit_than_said_is_refused_with_the_question(
    job: Callable[..., Any], table: Table, unit: str
) -> None:
    refused = job("import", table(in_unit(1.0)), "--unit", unit)
    assert refused.code == 2
    assert f"--unit {unit} right?" in refused.err


def test_a_few_shots_close_together_are_taken(job: Callable[..., Any], table: Table) -> None:
    """Four shots about a high point are no sign of another unit."""
    rows = "".join(f"H{n},{250 + 100 * (n % 2)},{250 + 100 * (n // 2)},1200\n" for n in range(4))
    taken = job("import", table(HEAD + rows), "--unit", "mm", "--json")
    assert taken.code == 0
    assert taken.json["warnings"] == []


@pytest.mark.parametrize(
    ("row", "say"),
    [
        ("P6,1000,1000,47.4\n", "1 reading is some 25.4 times off the others: P6"),
        ("P6,1000,1000,5600\n", "1 reading is outside what a tape reads under a line (1 mm to"),
        ("P6,1000,1000,1610\n", "range over 410 mm, from 1200 mm at P1 to 1610 mm at P6"),
    ],
)
def test_readings_that_no_floor_gives_are_told_with_the_unit(
    job: Callable[..., Any], table: Table, row: str, say: str
) -> None:
    taken = job("import", table(HEAD + GOOD + row), "--unit", "mm")
    assert taken.code == 0
    (line,) = [line for line in taken.out.splitlines() if line.startswith("! ")]
    assert say in line
    assert "s --unit mm right?" in line


def test_readings_are_held_against_those_before_under_the_same_line(
    job: Callable[..., Any], table: Table
) -> None:
    assert job("import", table(HEAD + GOOD), "--unit", "mm").code == 0
    inches = "".join(f"Q{n},{500 * n},1000,47.4\n" for n in range(1, 5))
    mixed = job("import", table(HEAD + inches), "--unit", "mm", "--json")
    assert "4 readings are some 25.4 times off" in mixed.json["warnings"][0]
    new_line = "".join(f"R{n},{500 * n},1500,47.4,2\n" for n in range(1, 5))
    other = job("import", table(f"{HEAD.strip()},setup\n{new_line}"), "--unit", "mm", "--json")
    assert other.json["warnings"] == []


def test_a_table_that_is_taken_again_says_how_many_shots_it_replaced(
    job: Callable[..., Any], table: Table
) -> None:
    first = job("import", table(HEAD + GOOD), "--unit", "mm")
    assert "took the place" not in first.out
    again = job("import", table(HEAD + GOOD), "--unit", "mm")
    assert "5 of them took the place of earlier shots of the same label." in again.out
    rows = "P5,1500,2000,1205\nP6,1000,1000,1203\n"
    one = job("import", table(HEAD + rows), "--unit", "mm")
    assert "1 of them took the place of an earlier shot" in one.out
    assert job("import", table(HEAD + rows), "--unit", "mm", "--json").json["replaced"] == 2


@pytest.mark.parametrize("spacing", ["0m", "-1m", "3"])
def test_a_grid_needs_a_spacing_that_is_one(job: Callable[..., Any], spacing: str) -> None:
    refused = job("grid", "--spacing", spacing)
    assert refused.code == 2
    assert "spacing" in refused.err


def test_too_few_and_collinear_shots_cannot_answer(job: Callable[..., Any], table: Table) -> None:
    assert job("floor").code == 1
    job("import", table(HEAD + "P1,200,200,1200\nP2,900,200,1203\n"), "--unit", "mm")
    few = job("floor")
    assert few.code == 1
    assert "four" in few.err
    line = "".join(f"Q{n},{300 + 200 * n},1000,1200\n" for n in range(8))
    assert job("new", "--room", "3m,4m", "--job", "line.sqlite").code == 0
    job("import", "--job", "line.sqlite", table(HEAD + line), "--unit", "mm")
    flat = job("plan", "--job", "line.sqlite")
    assert flat.code == 1
    assert "line" in flat.err


def test_markers_and_set_need_a_plan_that_still_stands(
    job: Callable[..., Any], table: Table
) -> None:
    assert job("markers").code == 1
    assert job("set", "--typed").code == 1
    job("import", table(HEAD + GOOD), "--unit", "mm")
    assert job("plan").code == 0
    assert job("markers").code == 0
    job("import", table(HEAD + "P5,1500,2000,1199\n", "more.csv"), "--unit", "mm")
    for words in (["markers"], ["set", "--typed"]):
        stale = job(*words)
        assert stale.code == 1
        assert "P5" in stale.err


def test_a_wrong_profile_is_refused_before_a_port_is_opened(
    job: Callable[..., Any], tmp_path: Path
) -> None:
    bad = {
        "pattern": 'framing = "line"\nunit = "mm"\n[line]\npattern = "(?P<value>"\n',
        "unit": 'framing = "line"\nunit = "cubit"\n[line]\npattern = "(?P<value>.*)"\n',
        "value": 'framing = "line"\nunit = "mm"\n[line]\npattern = ".*"\n',
    }
    job("grid")
    for key, text in bad.items():
        path = tmp_path / "bad.toml"
        path.write_text('text = "x"\n' + text)
        refused = job("survey", "--serial", "/dev/nowhere", "--profile", path)
        assert refused.code == 2, refused.err
        assert key in refused.err


def test_a_port_that_is_not_there_is_code_3(job: Callable[..., Any]) -> None:
    job("grid")
    refused = job("survey", "--serial", "/dev/nowhere")
    assert refused.code == 3
    assert "/dev/nowhere" in refused.err


def test_sources_are_named_once(job: Callable[..., Any]) -> None:
    job("grid")
    assert "--typed" in job("survey").err
    assert job("survey", "--typed", "--serial", "x").code == 2


def test_job_files_that_are_none(run: Run, tmp_path: Path) -> None:
    assert run("floor").code == 2  # no such file
    (tmp_path / "job.sqlite").write_bytes(b"not a database at all " * 100)
    damaged = run("floor")
    assert damaged.code == 4
    assert "job.sqlite" in damaged.err


def test_a_newer_job_is_refused(job: Callable[..., Any]) -> None:
    with sqlite3.connect("job.sqlite") as database:
        version = database.execute("PRAGMA user_version").fetchone()[0]
        database.execute(f"PRAGMA user_version = {version + 1}")
    newer = job("floor")
    assert newer.code == 4
    assert "newer" in newer.err


def test_unknown_words_are_told(run: Run) -> None:
    refused = run("levelize")
    assert refused.code == 2
    assert "survey" in refused.err


@pytest.mark.parametrize("command", ["survey", "set"])
def test_a_rod_that_is_not_there_leaves_no_trace_in_the_job(surveyed: Run, command: str) -> None:
    for words in (["grid", "--spacing", "2m"], ["plan"], ["markers"]):
        assert surveyed(*words).code == 0
    with Job.open("job.sqlite") as job:
        setups = job.setups()
    done = surveyed(command, "--serial", "/dev/ttyNONE", "--setup", "elsewhere", "--json")
    assert (done.code, done.out) == (3, "")
    with Job.open("job.sqlite") as job:
        assert (job.sessions(), job.setups()) == ([], setups)


def test_a_room_made_smaller_is_surveyed_on(run: Run) -> None:
    assert run("new", "--room", "4m,6m", "--door", "1m,0m,0.9m", "--units", "mm").code == 0
    run("grid")
    run("survey", "--kind", "benchmark", "--label", "BM1", "--typed", typed="1500\n")
    run("survey", "--typed", typed="1200\n1200\n1200\n")
    assert run("edit", "--room", "2.5m,3m", "--door", "1m,0m,0.9m").code == 0
    assert run("grid").code == 0
    again = run("survey", "--typed", "--json", typed="1500\n1201\nq\n")
    assert again.code == 0, again.err
    assert [event["label"] for event in again.events if event["event"] == "shot"]


def test_what_no_tape_reads_under_a_line_is_doubted_each_time(job: Callable[..., Any]) -> None:
    job("grid")
    told = job("survey", "--typed", "--json", typed="0\n1200\n30480\nq\n").events
    doubts = [event["text"] for event in told if event.get("reason") == "length"]
    assert [text.split(" is outside")[0] for text in doubts] == [
        "a reading of 0 mm",
        "a reading of 30480 mm",
    ]


def test_a_plane_that_nobody_pours_is_refused(job: Callable[..., Any], table: Table) -> None:
    job("import", table(HEAD + GOOD), "--unit", "mm")
    refused = job("plan", "--hold", "1m,1m,1200mm")
    assert refused.code == 1
    assert "sign and unit of a held height" in refused.err
    assert job("plan").code == 0


def test_a_laser_far_from_the_room_is_asked_about(job: Callable[..., Any], table: Table) -> None:
    job("import", table(HEAD + GOOD), "--unit", "mm")
    assert "is that its place" in job("plan", "--laser", "180m,2m").out
    assert "is that its place" in job("plan").out  # it is kept, and so is the question
    assert "is that its place" not in job("plan", "--laser", "2m,2m").out


def test_the_unit_of_a_file_is_not_that_of_the_job(run: Run) -> None:
    refused = run("new", "--room", "3m,4m", "--unit", "mm")
    assert refused.code == 2
    assert "--units" in refused.err
