"""`rig check` as an installer uses it: typed with the command, at a prompt, or live from a rod."""

import json
import sqlite3

import pytest

from tests.cli.conftest import Run, Table
from tests.independent_rod import IndependentRod

PEGS = ("--unit", "m", "--sight", "1.283,0.860,25,25", "--sight", "1.612,1.219,55,5")
CROSS = (
    "--dist", "10m", "--reading", "0,1503mm", "--reading", "90,1499mm", "--reading", "180,1497mm",
    "--reading", "270,1501mm",
)  # fmt: skip


def test_two_peg_needs_no_job_and_exits_by_its_verdict(run: Run) -> None:
    bad = run("check", "two-peg", *PEGS, "--json")
    assert bad.code == 1
    assert bad.json["error_mm_per_m"] == pytest.approx(-0.6)
    assert bad.json["stderr_mm_per_m"] > 0
    assert bad.json["limit_mm_per_m"] == pytest.approx(0.1)
    assert bad.json["ok"] is False
    good = run("check", "two-peg", *PEGS, "--limit", "1mm/m", "--json")
    assert good.code == 0
    assert good.json["ok"] is True
    said = run("check", "two-peg", *PEGS).out
    assert "invisible" in said
    assert "0 and 180" in said
    assert "± " in said


def test_one_sight_and_a_known_rise(run: Run) -> None:
    found = run(
        "check", "two-peg", "--unit", "m", "--sight", "2.847,3.462,25,50", "--rise=-0.630", "--json"
    )
    assert found.json["error_mm_per_m"] == pytest.approx(-0.6)
    assert found.code == 1


def test_cross_tells_tilt_closure_and_that_a_cone_needs_more(run: Run) -> None:
    found = run("check", "cross", *CROSS, "--json", "--limit", "0.01%")
    assert found.code == 1
    assert found.json["tilt_mm_per_m"] == pytest.approx([0.3, -0.1])
    assert found.json["closure_mm"] == pytest.approx(0.0)
    assert found.json["cone_mm_per_m"] is None
    assert found.json["limit_mm_per_m"] == pytest.approx(0.1)
    assert "two-peg" in run("check", "cross", *CROSS).out


def test_repeat_and_drift_and_rod(run: Run, table: Table) -> None:
    good = run("check", "repeat", "--unit", "mm", "--reading", "1500,1500.2,1499.9", "--json")
    assert (good.code, good.json["ok"]) == (0, True)
    bad = run("check", "repeat", "--unit", "mm", "--reading", "1500,1503,1497", "--json")
    assert (bad.code, bad.json["ok"]) == (1, False)
    wobble = [0.0, 0.1, -0.1, 0.05, -0.05]
    rows = "".join(f"{n},{1500 + 0.002 * n + wobble[n % 5]:.2f}\n" for n in range(600))
    drifting = run("check", "drift", table("seconds,reading\n" + rows), "--unit", "mm", "--json")
    assert drifting.code == 1
    assert drifting.json["rate_mm_per_h"] == pytest.approx(7.2, abs=0.2)
    rod = run("check", "rod", "--unit", "mm", "--pair", "1000.2,1000", "--pair", "500,500")
    assert rod.code == 0
    assert "5.0°" in rod.out


@pytest.mark.parametrize(
    ("words", "say"),
    [
        (("two-peg", "--sight", "1,2,3,4", "--sight", "1,2,3,5"), "--unit"),
        (("two-peg", "--unit", "m", "--sight", "1,2,3"), "parts"),
        (("two-peg", "--unit", "m", "--sight", "1,2,5,5", "--sight", "1,2,7,7"), "balanced"),
        (("two-peg", "--unit", "m", "--sight", "1,2,5,5"), "two sights"),
        (("two-peg",), "--sight"),
        (("two-peg", *PEGS, "--limit", "0.1"), "0.1mm/m"),
        (("two-peg", *PEGS, "--typed"), "both"),
        (("two-peg", *PEGS, "--job", "nowhere.sqlite"), "nowhere"),
        (("cross", "--dist", "10m", "--reading", "0,1m"), "90 is missing"),
        (("cross", "--dist", "10m", "--reading", "north,1m"), "heading"),
        (("cross", "--dist", "10m", *CROSS), "differ"),
        (("repeat", "--unit", "mm", "--reading", "1500"), "two readings"),
        (("drift", "nowhere.csv", "--unit", "mm"), "nowhere.csv"),
        (("rod",), "pair"),
    ],
)
def test_what_is_no_check_is_refused(run: Run, words: tuple[str, ...], say: str) -> None:
    refused = run("check", *words)
    assert refused.code == 2
    assert say in refused.err


def test_a_watch_of_nothing_cannot_answer(run: Run, table: Table) -> None:
    assert run("check", "drift", table("seconds,reading\n1,5\n2,5\n"), "--unit", "mm").code == 1
    bad = run("check", "drift", table("seconds,reading\n1,5\nx,5\n", "x.csv"), "--unit", "mm")
    assert bad.code == 2
    assert "line 3" in bad.err


def test_a_check_is_kept_in_the_job_and_judged_by_its_need(run: Run) -> None:
    run("new", "--room", "3m,4m", "--units", "mm")
    found = run("check", "two-peg", *PEGS, "--json").json
    assert found["limit_mm_per_m"] == pytest.approx(1.0 / 2.5)  # 1 mm at the corner, 2.5 m off
    with sqlite3.connect("job.sqlite") as database:
        kind, inputs, result, ok = database.execute(
            'SELECT kind, inputs, result, ok FROM "check"'
        ).fetchone()
    assert (kind, ok) == ("two-peg", 0)
    assert json.loads(result)["error_mm_per_m"] == found["error_mm_per_m"]
    assert json.loads(inputs)["sights"][0][:2] == [1283.0, 860.0]


def test_two_peg_typed_at_the_prompt(run: Run) -> None:
    typed = "1500\n1400\n1501\n1400\n"
    found = run(
        "check", "two-peg", "--typed", "--unit", "mm", "--dist", "5m,5m", "--dist", "11m,1m",
        "--json", typed=typed,
    )  # fmt: skip
    assert [e["label"] for e in found.events if e["event"] == "shot"] == ["A1", "B1", "A2", "B2"]
    result = found.events[-1]
    assert result["event"] == "result"
    assert result["error_mm_per_m"] == pytest.approx(0.1)
    early = run("check", "two-peg", "--typed", "--unit", "mm", "--dist", "5m,5m", "--dist",
                "11m,1m", typed="1500\n")  # fmt: skip
    assert early.code == 2
    assert "B1" in early.err


def test_a_cross_and_a_watch_live_from_a_rod(run: Run) -> None:
    run("new", "--room", "3m,4m", "--units", "mm")
    script: list[tuple[float, float | None]] = [(0.3, None)]
    for height in (1503.0, 1499.0, 1497.0, 1501.0, 1503.0):
        script += [(0.9, height), (0.6, None)]
    with IndependentRod(script) as rod:
        found = run("check", "cross", "--serial", rod.path, "--dist", "10m", "--dwell", "0.3",
                    "--walk", "0.3", "--json")  # fmt: skip
    assert found.code == 0, found.err
    assert found.events[-1]["tilt_mm_per_m"] == pytest.approx([0.3, -0.1], abs=0.01)
    assert found.events[-1]["ok"] is True
    with IndependentRod([(30.0, 1200.0)]) as rod:
        watched = run("check", "drift", "--serial", rod.path, "--seconds", "17", "--json")
    assert watched.code in (0, 1), watched.err
    assert abs(watched.events[-1]["change_mm"]) < 0.1
    with sqlite3.connect("job.sqlite") as database:
        assert database.execute('SELECT count(*) FROM "check"').fetchone() == (2,)
        assert database.execute("SELECT count(*) FROM shot").fetchone() == (0,)
        assert database.execute("SELECT count(*) FROM reading").fetchone()[0] > 500


def test_a_rod_over_bluetooth_is_a_live_rod() -> None:
    from rig.cli.checks.shared import is_live

    assert is_live({"ble_rod": "Rod-1"}, (), "--sight")
