"""Every job is reckoned anew by today's model, once; `redo_trial` does it with several workers."""

from pathlib import Path

import pytest

from rig.office import books
from rig.office.place import Place
from tests.cli.conftest import Run
from tests.report.jobs import make


def test_a_job_is_reckoned_as_its_plan_was_and_not_twice(run: Run) -> None:
    make(run, "planned")
    Path("office").mkdir()
    before = run("plan", "--confidence", "0.9", "--json").json
    assert run("new", "--room", "3m,4m", "--units", "mm", "--job", "empty.sqlite").code == 0
    assert run("hand-in", "job.sqlite", "empty.sqlite", "--to", "office").code == 0
    assert run("office", "take", "--office", "office").code == 0
    redo = ("office", "redo", "--office", "office", "--json")
    told = run(*redo).json
    assert (told["done"], told["failed"]) == (2, [])
    with books.plain(Place("office"), books.AGAIN) as connection:
        found = connection.execute(
            "SELECT answered, confidence, volume_l, bags_p95, buy_bags, plane_a_mm FROM version "
            "ORDER BY answered"
        ).fetchall()
    assert found[0] == (False, None, None, None, None, None)
    assert found[1][:2] == (True, 0.9)
    bags, plane = before["bags"], before["plane"]
    wanted = (before["volume_l"]["mean"], bags["p95"], bags["buy"], plane["a"])
    assert found[1][2:] == pytest.approx(wanted, rel=1e-9)
    assert run(*redo).json == {**told, "done": 0}
