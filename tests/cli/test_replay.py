"""Traces and logs played back: the library of faults, deterministic shots, pace, marker setting."""

import json
import sqlite3
import time
from pathlib import Path
from typing import Any

import pytest

from tests.bluetooth import rig, simulated
from tests.cli.conftest import Run, Table
from tests.traces import make

LIBRARY = make.traces()
UNTRUE = ("noisy", "stick", "jump", "unit", "drift", "coarse")  # told, see shots.json
REACHED = json.loads((make.HERE / "shots.json").read_text())


def replayed(run: Run, name: Any, job: Any, *more: Any) -> Any:
    assert run(*make.NEW, "--job", job).code == 0
    assert run(*make.GRID, "--job", job).code == 0
    return run(*make.SURVEY, "--job", job, "--replay", make.HERE / name, *more)


def test_the_library_covers_the_table_of_faults() -> None:
    assert set(LIBRARY) == set(REACHED)
    assert {path.name for path in make.HERE.glob("*.trace")} == set(LIBRARY)


@pytest.mark.parametrize("name", LIBRARY)
def test_a_trace_reaches_the_same_shots_on_every_run(run: Run, name: Any) -> None:
    first = replayed(run, name, "one.sqlite")
    assert first.code == 0, first.err
    assert make.summary(first.events) == REACHED[name]
    assert replayed(run, name, "two.sqlite").out == first.out


@pytest.mark.parametrize(
    "name", [name for name, (_, fault) in LIBRARY.items() if fault not in UNTRUE]
)
def test_faults_of_the_link_take_no_shot_that_is_not_of_the_walk(name: Any) -> None:
    """Each shot is one of a stand of the whole walk, in its order; stands may be missed.

    This walker does not look: he walks on from a stand that gave nothing, and stays at the last.
    """
    stands = [mm for _, mm, _ in REACHED["sentence-plain.trace"]["shots"]]
    order = []
    for _, mm, _ in REACHED[name]["shots"]:
        order.append(min(range(len(stands)), key=lambda n: abs(stands[n] - mm)))
        assert mm == pytest.approx(stands[order[-1]], abs=0.2)
    assert order == sorted(order)
    assert len(set(order)) >= 3


def test_speed_sets_the_pace_and_changes_nothing_else(run: Run) -> None:
    name = "gatt-rod-plain.trace"
    fast = replayed(run, name, "fast.sqlite")
    begun = time.monotonic()
    paced = replayed(run, name, "paced.sqlite", "--speed", "10")
    assert 1.0 < time.monotonic() - begun < 6.0
    assert paced.out == fast.out


MARKER_JOB = "label,x,y,reading\n" + "".join(
    f"P{x}{y},{200 + 700 * x},{200 + 700 * y},{1200 + (3 * x + y) % 4}\n"
    for x in range(4)
    for y in range(4)
)


def marker_job(run: Run, table: Table, job: Any) -> Any:
    run("new", "--job", job, "--room", "2.5m,2.5m", "--units", "mm", "--min-cover", "6mm")
    path = table(MARKER_JOB)
    assert run("import", "--job", job, path, "--unit", "mm").code == 0
    assert run("plan", "--job", job).code == 0
    return run("markers", "--job", job, "--json").json["markers"]


def kept(job: Any) -> Any:
    with sqlite3.connect(job) as database:
        return database.execute(
            "SELECT point, reading_mm, stderr_mm, n, kind, time_s FROM shot"
            " WHERE kind = 'marker' ORDER BY id"
        ).fetchall()


def test_marker_setting_is_played_back_from_another_jobs_log(run: Run, table: Table) -> None:
    markers = marker_job(run, table, "one.sqlite")
    typed = ""
    for marker in markers[:3]:
        target = marker["target_reading_mm"]
        typed += f"{target + 6:.1f}\n{target:.1f}\n"
    first = run("set", "--job", "one.sqlite", "--typed", "--skip-check", "--json", typed=typed)
    assert first.code == 0, first.err
    marker_job(run, table, "two.sqlite")
    again = run("set", "--job", "two.sqlite", "--replay", "one.sqlite", "--json")
    assert again.code == 0, again.err
    assert kept("one.sqlite") == kept("two.sqlite")
    assert len(kept("two.sqlite")) == 3
    same = [e for e in again.events if e["event"] in ("prompt", "set")]
    assert same == [e for e in first.events if e["event"] in ("prompt", "set")]
    none = run("set", "--job", "one.sqlite", "--replay", "two.sqlite", "--json")
    assert none.code == 0  # what the log holds is played again on set markers
    refused = run("survey", "--job", "one.sqlite", "--replay", "two.sqlite")
    assert refused.code == 2


def test_marker_setting_is_played_back_from_a_trace_of_a_bluetooth_rod(
    run: Run, table: Table, tmp_path: Path
) -> None:
    trace = tmp_path / "rod.trace"
    markers = marker_job(run, table, "one.sqlite")
    line_mm = markers[0]["target_reading_mm"] + 8.0  # 8 mm below height: raise
    words = ["--kind", "flat", "--noise-mm", "0.05", "--line-mm", f"{line_mm:.1f}"]
    with simulated("ble", "--rate", "20", "--speed", "5", *words) as rod:
        code, (told,), err = rig("record", trace, *rod.source, "--seconds", "2", "--json", rod=rod)
        assert code == 0, err
    assert told["messages"] > 60
    outs = []
    for job in ("one.sqlite", "two.sqlite"):
        marker_job(run, table, job) if job == "two.sqlite" else None
        played = run(
            "set", "--job", job, "--replay", trace, "--skip-check", "--dwell", "0.2", "--json"
        )
        assert played.code == 0, played.err
        outs.append(played.out)
    assert outs[0] == outs[1]
    prompts = [json.loads(line) for line in outs[0].splitlines() if '"prompt"' in line]
    assert {prompt["move"] for prompt in prompts} == {"raise"}
    assert prompts[-1]["by_mm"] == pytest.approx(8.0, abs=2.0)
