"""A plan goes by the past of its crew and its product, with two more lines of doubt."""

import json
import math
from pathlib import Path

import pytest

from rig.job import Job
from rig.study.plan_answer import stored_plan
from tests.cli.conftest import Run
from tests.cli.conftest import run as run
from tests.report.jobs import make

PAST = {
    "factor": {"p50": 1.2, "low": 1.0, "high": 1.44},
    "jobs": {"crew": 4, "product": 9},
    "sd": {"crew": 0.08, "product": 0.05, "job": 0.06},
    "doubt": {"crew": 0.05, "product": 0.03, "job": 0.06},
    "crew": "Ann and Bo",
    "product": "Blend",
    "temperature_c": None,
    "as_of": "2026-11-30T12:00:00Z",
    "format": "floor-rig history 1",
}


def test_the_past_moves_the_bags_and_adds_two_lines(run: Run) -> None:
    make(run, "surveyed")
    plain = run("plan", "--json").json
    Path("past.json").write_text(json.dumps(PAST))
    told = run("plan", "--history", "past.json", "--json").json
    assert (told["plane"], told["volume_l"]) == (plain["plane"], plain["volume_l"])
    need = plain["volume_l"]["mean"] * 1.05 / 12.0
    assert told["bags"]["p50"] == math.ceil(1.2 * need)
    (row,) = (row for row in told["budget"]["rows"] if row["quantity"] == "bags")
    parts = {part["source"]: part["stderr"] for part in row["parts"]}
    assert parts["this crew"] == pytest.approx(1.2 * need * 0.05)
    assert parts["this product"] == pytest.approx(1.2 * need * 0.03)
    assert row["stderr"] == pytest.approx(math.hypot(*parts.values()))
    before = plain["safety"]["stock_l"] / plain["bags"]["p50"]
    assert told["safety"]["stock_l"] / told["bags"]["p50"] > before
    assert sum(told["safety"]["shares"].values()) == pytest.approx(1.0)
    assert told["history"]["factor"] == 1.2
    with Job.open("job.sqlite") as job:
        kept = stored_plan(job)
    assert kept is not None
    assert kept.answer.as_json() == told
    assert kept.wish.history is not None
    assert kept.wish.history.as_json() == PAST
    why = run("plan", "--history", "past.json", "--why").out
    assert "120% of what the floor alone takes, by 4 jobs of this crew" in why
    assert "this product" in why
    Path("past.json").write_text("{}")
    assert run("plan", "--history", "past.json").code == 2
