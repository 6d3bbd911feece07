"""What a company's pours took goes back into the plan of the next pour, through the office."""

import contextlib
import json
import shutil
import sqlite3
from pathlib import Path

import pytest

from rig.job import Job
from rig.office import books
from rig.office.extract import COLUMNS
from rig.office.place import Place
from tests.cli.conftest import Run
from tests.report.jobs import make

POUR = ("--mixers", "1", "--crew", "2", "--mix-time", "1min", "--working-time", "30min",
        "--runs", "100")  # fmt: skip
SLOW, MORE_BAGS = 1.4, 1.1


def test_pace_and_yield_of_the_crews_pours_go_into_the_next_plan(run: Run) -> None:
    make(run, "planned")
    assert run("edit", "--crew", "Ann", "--waste", "5%").code == 0
    assert run("plan").code == 0
    before = run("pour", "plan", *POUR, "--json").json
    Path("office").mkdir()
    for nth in range(3):
        path = f"past-{nth}.sqlite"
        shutil.copy("job.sqlite", path)
        with Job.open(path, write=True) as job:
            volume_l = sum(one["volume_l"] for one in before["batches"])
            ended = {"batches": len(before["batches"]), "share": 1.0, "unticked": [],
                     "bags_used": MORE_BAGS * volume_l * 1.05 / 12.0, "yield_l": 11.0,
                     "interval_s": SLOW * before["interval_s"],
                     "planned_interval_s": before["interval_s"]}  # fmt: skip
            job.log_event(None, None, 1.8e9 + nth, "pour_done", ended)
        with contextlib.closing(sqlite3.connect(path)) as plain:
            plain.execute("UPDATE job SET uid = ?", (f"{nth:032x}",))  # a job of its own
            plain.commit()
        assert run("hand-in", path, "--to", "office").code == 0
    assert run("office", "take", "--office", "office", "--json").json["taken"] == 3
    ask = ("office", "expect", "--office", "office", "--crew", "Ann", "--out", "past.json")
    told = run(*ask, "--json").json
    assert told["pace"]["pours"] == 3
    assert 1.0 < told["pace"]["low"] < SLOW < told["pace"]["high"]
    assert told["factor"]["p50"] == pytest.approx(MORE_BAGS, rel=1e-3)
    run("plan", "--history", "past.json")
    after = run("pour", "plan", *POUR, "--json").json
    assert after["pace"]["hands"] == pytest.approx(told["pace"]["p50"])
    assert after["pace"]["hands_doubt"] < before["pace"]["hands_doubt"]
    assert after["interval_s"] == pytest.approx(SLOW * before["interval_s"], rel=0.08)
    assert after["yield_l"] == pytest.approx(before["yield_l"] / MORE_BAGS, rel=1e-3)
    assert after["yield_doubt"] < before["yield_doubt"]
    assert len([one for one in after["assumptions"] if "By the past" in one]) == 2
    timed = [f"--{one}-time=20s" for one in ("water", "powder", "pour", "spread", "deair")]
    own = run("pour", "plan", *POUR, *timed, "--json").json
    assert own["pace"]["hands"] == 1.0  # the crew's own times rule


def test_books_of_an_older_version_are_made_anew(
    run: Run, office: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    place = Place(str(office))
    with books.opened(place) as connection:
        found = connection.execute("SELECT * EXCLUDE (filename, file_row_number) FROM version")
        names = [column[0] for column in found.description or ()]
        rows = [dict(zip(names, row, strict=True)) for row in found.fetchall()]
    for row in rows:
        row["pours"] = [{"utc_s": 1.0, "batches": 9}]
    shutil.rmtree(office / "books")
    older = {**COLUMNS, "pours": "STRUCT(utc_s DOUBLE, batches INTEGER)[]"}
    books.append(place, rows, columns=older)
    told = run("office", "ask", "pace", "--office", office)
    assert (told.code, "rig office take" in told.err) == (1, True)
    taken = run("office", "take", "--office", office, "--json").json
    assert (taken["taken"], taken["there_already"]) == (24, 0)
    assert run("office", "ask", "pace", "--office", office, "--json").json["jobs"] == 24


def test_a_history_of_an_older_version_still_goes_into_a_plan(run: Run) -> None:
    make(run, "planned")
    spread = {"crew": 0.05, "product": 0.03, "job": 0.06}
    old = {"factor": {"p50": 1.1, "low": 0.95, "high": 1.25}, "jobs": {"crew": 3, "product": 5},
           "sd": spread, "doubt": spread, "crew": "Ann", "product": None, "temperature_c": None,
           "as_of": None, "format": "floor-rig history 1"}  # fmt: skip
    Path("past.json").write_text(json.dumps(old))
    run("plan", "--history", "past.json")
    made = run("pour", "plan", *POUR, "--json").json
    assert made["pace"]["hands"] == 1.0
    assert made["yield_l"] == pytest.approx(12.0 / 1.05 / 1.1)
