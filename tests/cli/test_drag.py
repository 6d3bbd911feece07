"""`rig survey --drag`: a rod that slid between two shots, played from a trace and again from a job.

The floor of the trace is drawn here: even, with a hump of 7 mm between two shots.
"""

import math
from pathlib import Path
from typing import Any

import pytest

from rig.devices.profile import load_profile
from rig.devices.trace import TraceWriter
from rig.job import Job
from rig.study.dragged import ends_beside
from tests.cli.conftest import Run

TOP = 0.4


def reading(x_mm: float, y_mm: float) -> float:
    return 1200.0 - 2.0 * math.sin(x_mm / 900.0) - y_mm / 2000.0


def shot_room(run: Run, job: str) -> dict[str, Any]:
    words = ("--job", job)
    assert run("new", "--room", "12ft,15ft", "--min-cover", "1/4in", *words).code == 0
    points = run("grid", "--json", *words).json["points"]
    rows = [f"{p['label']},{p['x_mm']},{p['y_mm']},{reading(p['x_mm'], p['y_mm'])}" for p in points]
    Path("floor.csv").write_text("label,x,y,reading\n" + "\n".join(rows) + "\n")
    assert run("import", "floor.csv", "--unit", "mm", *words).code == 0
    return {p["label"]: p for p in points}


def slide(points: dict[str, Any], start: str, end: str, top_mm: float) -> str:
    """Write a trace of a slide of eight seconds over a hump 600 mm across."""
    a, b = points[start], points[end]
    long_mm = math.dist((a["x_mm"], a["y_mm"]), (b["x_mm"], b["y_mm"]))

    def read(share: float) -> float:
        x, y = (a[k] + share * (b[k] - a[k]) for k in ("x_mm", "y_mm"))
        near = min(1.0, abs(share - TOP) * long_mm / 300.0)
        return reading(x, y) - top_mm * 0.5 * (1.0 + math.cos(math.pi * near))

    told = [read(0.0)] * 16 + [read(n / 80) for n in range(81)] + [read(1.0)] * 4
    name = f"{start}{end}.trace"
    with TraceWriter(name, load_profile("decimal-mm"), started_utc_s=1.8e9) as writer:
        for n, text in enumerate([f"{one:.1f}" for one in told] + ["---"] * 20):
            writer.write(n / 10, text)
    return name


def test_a_slide_finds_a_hump_that_the_plan_then_knows_and_is_taken_back(run: Run) -> None:
    points = shot_room(run, "one.sqlite")
    job = ("--job", "one.sqlite", "--json")
    before = run("floor", *job).json
    trace = slide(points, "B2", "C2", 7.0)
    told = run("survey", "--drag", "b2,c2", "--replay", trace, *job)
    assert told.code == 0, told.err
    (dragged,) = [e for e in told.events if e["event"] == "dragged"]
    (found,) = dragged["found"]
    x_mm = points["B2"]["x_mm"] + TOP * (points["C2"]["x_mm"] - points["B2"]["x_mm"])
    assert found["off_mm"] == pytest.approx(7.0, abs=0.8)
    assert found["x_mm"] == pytest.approx(x_mm, abs=2 * found["place_stderr_mm"])
    after = run("floor", *job).json
    assert after["shots"] == before["shots"]
    high = after["high"]
    top_mm = 7.0 - reading(x_mm, points["B2"]["y_mm"])
    assert high["z_mm"] == pytest.approx(top_mm, abs=1.0)
    assert high["z_mm"] < top_mm + 1.0 < high["upper_mm"] + 1.0 < top_mm + 5.0
    assert math.dist((high["x_mm"], high["y_mm"]), (found["x_mm"], found["y_mm"])) < 60.0
    # What one hump adds is there alone: the floor elsewhere is as sure as it was.
    assert after["noise_mm"] == pytest.approx(before["noise_mm"], abs=0.2)
    assert run("flatness", "--rule", "din18202-3", *job).json["worst"]["gap_mm"] > 4.0
    again = run("survey", "--drag", "B2,C2", "--replay", "one.sqlite", "--job", "two.sqlite")
    assert again.code != 0
    shot_room(run, "two.sqlite")
    replayed = run(
        "survey", "--drag", "B2,C2", "--replay", "one.sqlite", "--job", "two.sqlite", "--json"
    )
    assert [e for e in replayed.events if e["event"] == "dragged"] == [dragged]
    acts = run("undo", "--list", *job).json["acts"]
    assert acts[0]["what"] == "rod slid from B2 to C2"
    assert run("undo", "--job", "one.sqlite").code == 0
    assert run("floor", *job).json["high"] == before["high"]


def test_a_slide_that_finds_nothing_spares_bags_and_what_is_none_is_refused(run: Run) -> None:
    points = shot_room(run, "job.sqlite")
    with Job.open("job.sqlite") as job:
        beside = [(points["B2"]["x_mm"] + 400.0, points["B2"]["y_mm"] + 20.0)]
        assert set(ends_beside(job, *beside)) == {"B2", "C2"}
    before = run("floor", "--json").json
    told = run("survey", "--drag", "B2,C2", "--replay", slide(points, "B2", "C2", 0.0))
    assert told.code == 0
    assert "nothing stands out" in told.out
    assert "Next: rig floor" in told.out
    after = run("floor", "--json").json
    assert after["high"]["upper_mm"] <= before["high"]["upper_mm"] + 0.05
    for words, said in (
        (("--drag", "B2,Z9", "--replay", "B2C2.trace"), "Z9 has no shot"),
        (("--drag", "B2", "--replay", "B2C2.trace"), "1 parts"),
        (("--drag", "B2,B2", "--replay", "B2C2.trace"), "apart"),
        (("--drag", "B2,C2", "--typed"), "A tape does not slide"),
        (("--drag", "B2,C2", "--rock", "--replay", "B2C2.trace"), "none of --kind"),
    ):
        refused = run("survey", *words)
        assert refused.code == 2
        assert said in refused.err
