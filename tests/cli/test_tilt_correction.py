"""A tilt that a cross check found, taken off the shots of its set-up, through the command line."""

import json
import math
import sqlite3
from typing import Any

import numpy as np
import pytest

from rig.job.store import Job
from simulated_devices.laser import Laser
from tests.cli.conftest import Run, Table
from tests.cli.test_laser_share import LONG, ROOM, WIDE, part, shots

AT = (1000.0, 500.0)
TARGET = (5800.0, 3900.0)
SLOPE = (0.6, -0.4)
STDERR = 0.05


def laser(slope: tuple[float, float] = SLOPE) -> Laser:
    return Laser(*AT, 1200.0, *slope)


def cross_words(
    slope: tuple[float, float] = SLOPE, *, turned: str = "clockwise", last: bool = True
) -> list[str]:
    """What the check is told of a laser that turns on its tripod, its slope with it."""
    readings = []
    for heading in (0, 90, 180, 270, *([0] if last else [])):
        angle = math.radians(-heading if turned == "clockwise" else heading)
        cos, sin = math.cos(angle), math.sin(angle)
        here = (cos * slope[0] - sin * slope[1], sin * slope[0] + cos * slope[1])
        readings += ["--reading", f"{heading},{float(laser(here).line_mm(*TARGET, 0.0)):.4f}mm"]
    dist = math.dist(AT, TARGET)
    return ["--dist", f"{dist:.1f}mm", *readings, "--stderr", f"{STDERR}mm"]


STANDS = ["--laser", "1m,0.5m", "--target", "5.8m,3.9m"]
CORRECT = ["--correct", *STANDS, "--turned", "clockwise"]


@pytest.fixture
def places(table: Table) -> Any:
    return ["--points", table("x,y\n500,500\n3000,2000\n5500,3500\n", "p.csv"), "--unit", "mm"]


def heights(run: Run, places: Any, *words: Any) -> Any:
    told = run("floor", *words, *places, "--json")
    assert told.code == 0, told.err
    return [p["z_mm"] for p in told.json["points"]]


def test_a_corrected_tilt_gives_the_heights_of_a_level_line(
    run: Run, table: Table, places: Any
) -> None:
    assert run("new", "--job", "sound.sqlite", *ROOM).code == 0
    run("import", "--job", "sound.sqlite", table(shots(laser((0.0, 0.0)))), "--unit", "mm")
    true = heights(run, places, "--job", "sound.sqlite")
    assert run("new", *ROOM).code == 0
    checked = run("check", "cross", *cross_words(), *CORRECT, "--json", "--limit", "1mm/m")
    assert checked.code == 0, checked.err
    assert checked.json["corrected"]["slope_mm_per_m"] == pytest.approx(SLOPE, abs=1e-4)
    # By hand: 0.05 mm at 5.88 m; √(1/2) of it in the tilt, once in the line that is left.
    left = math.sqrt(1.5) * STDERR / (math.dist(AT, TARGET) / 1000.0)
    assert checked.json["corrected"]["stderr_mm_per_m"] == pytest.approx(left, rel=1e-3)
    assert run("import", table(shots(laser())), "--unit", "mm").code == 0
    assert heights(run, places) == pytest.approx(true, abs=0.02)
    budget = run("plan", "--json").json["budget"]
    assert budget["laser"]["corrected_tilt_mm_per_m"] == pytest.approx({"1": left}, rel=1e-3)
    # Forgotten, the far corner is 2 mm off, and the plan stands on other heights.
    run("check", "cross", *cross_words(), "--no-correct")
    assert max(abs(a - b) for a, b in zip(heights(run, places), true, strict=True)) > 1.0
    refused = run("markers")
    assert refused.code == 1
    assert "laser's slope" in refused.err


def test_what_is_left_is_in_the_budget(run: Run, table: Table) -> None:
    def high_share(job: Any, *words: Any) -> Any:
        assert run("new", "--job", job, *ROOM).code == 0
        run("check", "cross", "--job", job, *cross_words(), *words)
        run("import", "--job", job, table(shots(laser(), noise=0.01)), "--unit", "mm")
        told = run("floor", "--job", job, "--laser", "1m,0.5m", "--json")
        assert told.code == 0, told.err
        return told.json["high"], part(told.json, "height of the high point", 1)

    # Radial part unchecked: 0.1/√3 mm/m (JCGM 100:2008, 4.3.7) over the way to the high point.
    def by_hand(high: Any, tilt: Any) -> Any:
        away_m = math.dist((high["x_mm"], high["y_mm"]), AT) / 1000.0
        return away_m * math.hypot(0.1 / math.sqrt(3.0), tilt)

    high, share = high_share("corrected.sqlite", *CORRECT)
    left = math.sqrt(1.5) * STDERR / (math.dist(AT, TARGET) / 1000.0)
    assert share == pytest.approx(by_hand(high, left), rel=0.03)
    high, share = high_share("told.sqlite")
    assert share == pytest.approx(by_hand(high, math.hypot(*SLOPE) / math.sqrt(2.0)), rel=0.03)


def test_the_running_picture_and_the_markers_are_corrected_too(run: Run) -> None:
    assert run("new", *ROOM).code == 0
    points = run("grid", "--spacing", "1.2m", "--json").json["points"]
    run("check", "cross", *cross_words(), *CORRECT)
    line = laser()
    typed = "".join(
        f"{float(line.line_mm(p['x_mm'], p['y_mm'], 0.0)) - 0.001 * p['x_mm']:.2f}\n"
        for p in points
    )
    survey = run("survey", "--typed", "--json", typed=typed)
    assert survey.code == 0, survey.err
    picture = [event for event in survey.events if event["event"] == "picture"][-1]
    told = run("floor", "--json").json
    assert told["high"]["z_mm"] == pytest.approx(6.0 - 1200.0, abs=0.3)
    assert picture["high"]["z_mm"] == pytest.approx(told["high"]["z_mm"], abs=0.3)
    assert run("plan").code == 0
    first = run("markers", "--json").json["markers"][0]
    words = ["set", "--typed", "--skip-check", "--json"]
    setting = run(*words, typed=f"{first['target_reading_mm']}\nq\n")
    prompt = next(event for event in setting.events if event["event"] == "prompt")
    climb = float(line.line_mm(first["x_mm"], first["y_mm"], 0.0)) - 1200.0
    assert abs(climb) > 0.1
    assert prompt["target_reading_mm"] == pytest.approx(
        first["target_reading_mm"] + climb, abs=0.01
    )


def test_a_laser_that_is_set_up_anew_is_not_corrected(run: Run, table: Table, places: Any) -> None:
    """Set-up 2 stands where 1 stood, and faces elsewhere."""
    assert run("new", *ROOM).code == 0
    run("check", "cross", *cross_words(), *CORRECT)
    mark = (3000.0, 100.0)
    rows = "label,x,y,reading,stderr,setup,kind\n"
    lines = {"1": laser(), "2": laser((-0.2, 0.1))}
    for setup, line in lines.items():
        rows += f"BM,{mark[0]},{mark[1]},{float(line.line_mm(*mark, 0.0)):.4f},0.1,{setup},"
        rows += "benchmark\n"
        for i, x in enumerate(np.linspace(300.0, WIDE - 300.0, 8)):
            for j, y in enumerate(np.linspace(300.0, LONG - 300.0, 5)):
                if ("1" if x < WIDE / 2 else "2") == setup:
                    rows += f"P{i}{j},{x:.1f},{y:.1f},{float(line.line_mm(x, y, 0.0)):.4f},0.1,"
                    rows += f"{setup},floor\n"
    assert run("import", table(rows), "--unit", "mm").code == 0
    with Job.open("job.sqlite") as job:
        from rig.study.lasers import shots_of

        told = {(s.setup, s.point): s.reading_mm for s in shots_of(job)}
        read = {(s.setup, s.point): s.reading_mm for s in job.shots()}
    level = [value for (setup, _), value in told.items() if setup == "1"]
    assert level == pytest.approx([1200.0] * len(level), abs=0.01)
    assert {key: told[key] for key in told if key[0] == "2"} == {
        key: read[key] for key in read if key[0] == "2"
    }
    budget = run("floor", "--laser", "2:1m,0.5m", "--json").json["budget"]["laser"]
    assert set(budget["corrected_tilt_mm_per_m"]) == {"1"}


@pytest.mark.parametrize("moved", [{"found": "jolt", "ok": False}, {"ok": False}])
def test_a_line_that_moved_is_corrected_only_for_what_came_before(
    run: Run, table: Table, places: Any, moved: Any
) -> None:
    """A jolt in a survey; a sight before the markers that does not fit."""
    assert run("new", *ROOM).code == 0
    run("check", "cross", *cross_words(), *CORRECT)
    run("import", table(shots(laser())), "--unit", "mm")
    before = heights(run, places)
    with Job.open("job.sqlite", write=True) as job:
        last = max(shot.id for shot in job.shots())
        job.log_event(None, None, 1.0, "checked", moved | {"setup": "1", "after_shot": last})
        job.flush()
    assert heights(run, places) == before
    with Job.open("job.sqlite", write=True) as job:
        first = job.shots(kinds=["floor"])[0]
        job.relabel([(first.id, "Z9", first.x_mm, first.y_mm)])
    assert heights(run, places) == pytest.approx(before, abs=1e-9)
    late = table("label,x,y,reading,stderr\nN1,2000,2000,1201.5,0.2\n", "late.csv")
    run("import", late, "--unit", "mm")
    result = run("floor", "--laser", "1m,0.5m", "--json").json
    assert any("moved after its slope" in text for text in result["warnings"])
    assert result["budget"]["laser"]["corrected_tilt_mm_per_m"] == {}
    with Job.open("job.sqlite") as job:
        from rig.study.lasers import climb_of, shots_of

        assert climb_of(job, "1")(5000.0, 3000.0) == 0.0
        (late_shot,) = [shot for shot in shots_of(job) if shot.point == "N1"]
        assert late_shot.reading_mm == 1201.5


def test_what_drifts_or_held_keeps_its_slope(run: Run) -> None:
    assert run("new", *ROOM).code == 0
    run("check", "cross", *cross_words(), *CORRECT)
    with Job.open("job.sqlite", write=True) as job:
        from rig.study.lasers import tilts_of

        for found, ok in (("drift", False), ("held", True)):
            told = {"setup": "1", "found": found, "ok": ok, "after_shot": 0}
            job.log_event(None, None, 1.0, "checked", told)
        job.log_event(None, None, 1.0, "checked", {"setup": "2", "ok": False, "after_shot": 0})
        job.flush()
        assert tilts_of(job)["1"].until_shot is None


def test_at_the_prompt_it_is_said_which_way_to_turn(run: Run) -> None:
    assert run("new", *ROOM).code == 0
    words = cross_words()
    typed = "".join(f"{word.split(',')[1].removesuffix('mm')}\n" for word in words[3:12:2])
    told = run(
        "check", "cross", "--typed", "--unit", "mm", *words[:2], *CORRECT, "--setup", "A",
        "--json", "--limit", "1mm/m", typed=typed,
    )  # fmt: skip
    assert told.code == 0, told.err
    corrected = told.events[-1]["corrected"]
    assert corrected["setup"] == "A"
    assert corrected["slope_mm_per_m"] == pytest.approx(SLOPE, abs=0.02)
    assert "turn the laser clockwise to heading 0" in told.out
    assert "turn the laser clockwise on to heading 0 again" in told.out
    # A survey that follows is of that set-up without being told.
    with Job.open("job.sqlite") as job:
        assert job.last_setup() == "A"


@pytest.mark.parametrize(
    ("words", "say"),
    [
        ([*cross_words(), "--correct", *STANDS], "--turned"),
        ([*cross_words(), "--correct", "--laser", "1m,0.5m", "--turned", "clockwise"], "--target"),
        ([*cross_words(last=False), *CORRECT], "once more at the end"),
        (
            [*cross_words(), "--correct", "--laser", "1m,0.5m", "--target", "3m,3.9m",
             "--turned", "clockwise"],
            "apart",
        ),
    ],
)  # fmt: skip
def test_a_correction_without_what_it_needs_is_refused(run: Run, words: Any, say: Any) -> None:
    assert run("new", *ROOM).code == 0
    refused = run("check", "cross", *words)
    assert refused.code == 2
    assert say in refused.err
    with Job.open("job.sqlite") as job:
        assert not job.settings.laser_tilt


def test_wrong_use_is_refused(run: Run, table: Table) -> None:
    assert run("new", *ROOM).code == 0
    loose = cross_words()
    loose[3] = "0,1203.9mm"  # 1 mm off: the readings do not close
    told = run("check", "cross", *loose, *CORRECT)
    assert told.code == 1
    assert "Nothing is corrected" in told.out
    run("check", "cross", *cross_words(), *CORRECT)
    run("import", table(shots(laser())), "--unit", "mm")
    moved = run("plan", "--laser", "3m,2m")
    assert moved.code == 2
    assert "another set-up" in moved.err
    again = run("check", "cross", *cross_words(), *CORRECT)
    assert again.code == 1
    assert "has shots already" in again.err
    assert run("check", "cross", *cross_words(), *CORRECT, "--setup", "2").code in (0, 1)
    plan = run("plan", "--json")
    assert plan.code == 0, plan.err
    run("check", "cross", *cross_words((0.1, 0.1)), *CORRECT, "--setup", "3")
    assert run("markers").code == 0  # what another set-up is corrected by is no matter of the plan


@pytest.mark.parametrize(
    "kept",
    [
        {"laser_tilt": "steep"},
        {"laser_tilt": {"1": 5}},
        {"laser_tilt": {"1": {"slope_mm_per_m": ["a", 1], "stderr_mm_per_m": 0.1,
                              "place": [0, 0], "after_event": 0}}},
        {"laser_correction": "some"},
        {"laser_correction": {"error_mm_per_m": 0.1}},
        {"laser_places": {"1": [0]}},
        {"laser_places": 5},
    ],
)  # fmt: skip
def test_a_job_from_anywhere_is_refused_where_its_laser_is_nonsense(
    run: Run, table: Table, kept: Any
) -> None:
    assert run("new", *ROOM).code == 0
    assert run("import", table(shots(laser())), "--unit", "mm").code == 0
    with sqlite3.connect("job.sqlite") as plain:
        plain.execute("UPDATE job SET other = ?", (json.dumps(kept),))
    plain.close()
    refused = run("floor")
    assert refused.code == 4
    assert next(iter(kept)) in refused.err
