"""What the books keep of a job that the commands made."""

import json
import sqlite3
from typing import Any

import pytest

from rig.job.snapshot import opened
from rig.job.store import Job
from rig.office.extract import COLUMNS, row_of
from tests.cli.conftest import Run
from tests.report.jobs import make


def row(path: str) -> Any:
    with Job.open(path) as job:
        data = job.snapshot()
    with opened(data, path) as connection:
        return row_of(connection, "0")


def test_verdicts_before_and_after_are_kept_once_and_told(run: Run) -> None:
    make(run, "finished")
    told = run("flatness", "--rule", "click-lock", "--json").json
    assert run("flatness", "--rule", "click-lock").code in (0, 1)
    found = row("job.sqlite")
    before, after = found["proofs"]
    assert [one["kind"] for one in (before, after)] == ["floor", "finished"]
    assert before["verdict"] == told["before"]["verdict"]
    assert (after["verdict"], after["gap_mm"]) == (told["verdict"], told["worst"]["gap_mm"])
    assert set(found) == set(COLUMNS)


def test_a_plan_is_told_as_the_job_keeps_it(run: Run) -> None:
    make(run, "pour planned")
    with sqlite3.connect("job.sqlite") as plain:
        plan = json.loads(plain.execute("SELECT result FROM plan").fetchone()[0])
    found = row("job.sqlite")
    need = plan["volume_l"]["mean"] * 1.05 / 12.0
    assert found["stated_bags"] == pytest.approx(need)
    assert found["upper_bags"] == pytest.approx(need + plan["safety"]["stock_l"] / 12.0)
    assert found["buy_bags"] == plan["bags"]["buy"]
    assert found["used_bags"] is None
    assert found["area_m2"] == pytest.approx(12.0 - 0.06)
    (check,) = found["checks"]
    assert (check["kind"], check["verdict"], check["limit_mm_per_m"]) == ("two-peg", "out", 0.4)
    labels = {one["label"] for one in found["shots"]}
    assert {"A1", "B2"} <= labels
