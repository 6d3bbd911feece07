"""A job from `new` to `set` as people do it: with a tape, with a table, and played back."""

import json
import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from rig.job.store import Job
from tests.cli.conftest import Run, Table
from tests.independent_rod import IndependentRod

TRADE = pytest.approx


def walk(points: Any, height: Any) -> Any:
    return "".join(f"{height(p):.0f}\n" for p in points)


def test_a_job_with_a_tape_only(run: Run) -> None:
    """Trade example (common practice, no source): line 1 3/4 in over the high point, 1/4 in cover.

    Every top then stands 1 1/2 in below the line; where the floor reads 2 1/4 in, it stands out
    3/4 in.
    """
    assert run("new", "--room", "6ft,6ft", "--min-cover", "1/4in").code == 0
    points = run("grid", "--json").json["points"]
    typed = "".join("1 3/4\n" if n == 0 else "2 1/4\n" for n in range(len(points)))
    survey = run("survey", "--typed", "--json", typed=typed)
    assert survey.code == 0, survey.err
    assert [e["label"] for e in survey.events if e["event"] == "shot"] == [
        p["label"] for p in points
    ]

    # The trade sets the plane by the highest shot; holding it there is that rule.
    held = run("plan", "--hold", "3ft,3ft,-1 1/2in", "--json")
    assert held.code in (0, 2)
    plan = run("plan", "--hold", "3ft,3ft,-1 3/8in", "--json").json
    assert plan["plane"]["a"] == TRADE(-1.375 * 25.4)
    markers = run("markers", "--json").json["markers"]
    for marker in markers:
        assert marker["target_reading_mm"] == TRADE(1.375 * 25.4)
        assert marker["stick_out_mm"] == TRADE(0.875 * 25.4, abs=8.0)


def test_setting_with_a_tape_asks_for_the_check_and_says_raise_or_lower(surveyed: Run) -> None:
    assert surveyed("plan").code == 0
    markers = surveyed("markers", "--json").json["markers"]
    target = markers[0]["target_reading_mm"]
    check = surveyed("set", "--typed", "--json", typed="")
    expected = next(e for e in check.events if e["event"] == "check")["expected_mm"]
    typed = f"{expected}\n{target + 5:.2f}\n{target - 3:.2f}\n{target:.2f}\n"
    setting = surveyed("set", "--typed", "--json", typed=typed)
    prompts = [(e["move"], round(e["by_mm"])) for e in setting.events if e["event"] == "prompt"]
    assert prompts[:2] == [("raise", 5), ("lower", 3)]
    done = [e for e in setting.events if e["event"] == "set"]
    assert [e["marker"] for e in done] == [markers[0]["label"]]
    assert abs(done[0]["residual_mm"]) < 0.01
    # The next session goes on with the second marker.
    after = surveyed("set", "--typed", "--json", typed=f"{expected}\n")
    following = next(e for e in after.events if e["event"] == "next")
    assert following["marker"] == markers[1]["label"]


def test_a_line_that_moved_gets_no_prompt_until_it_is_tied_again(surveyed: Run) -> None:
    surveyed("plan")
    target = surveyed("markers", "--json").json["markers"][0]["target_reading_mm"]
    check = surveyed("set", "--typed", "--json", typed="")
    expected = next(e for e in check.events if e["event"] == "check")["expected_mm"]
    bumped = "".join(f"{expected + 12:.1f}\n" for _ in range(3)) + f"{target + 12}\n"
    refused = surveyed("set", "--typed", "--json", typed=bumped)
    assert refused.code == 1
    assert "--setup" in refused.err
    assert not [e for e in refused.events if e["event"] == "prompt"]

    tied = surveyed(
        "set", "--typed", "--json", "--setup", "day2", typed=f"{expected + 12}\n{target + 17}\n"
    )
    assert tied.code == 0, tied.err
    prompt = next(e for e in tied.events if e["event"] == "prompt")
    assert prompt["move"] == "raise"
    assert prompt["by_mm"] == TRADE(5.0, abs=0.05)
    assert prompt["target_reading_mm"] == TRADE(target + 12, abs=0.05)
    # The new line is known from now on.
    again = surveyed("set", "--typed", "--json", "--setup", "day2", typed=f"{expected + 12}\n")
    assert next(e for e in again.events if e["event"] == "check")["expected_mm"] == TRADE(
        expected + 12, abs=0.05
    )


def test_undo_skip_and_resume_with_a_tape(run: Run) -> None:
    run("new", "--room", "2m,2m", "--units", "mm")
    points = [p["label"] for p in run("grid", "--json").json["points"]]
    first = run("survey", "--typed", "--json", typed="1200\n1300\nu\n1301\ns\nnonsense\n1400\nq\n")
    assert "nonsense" in first.err
    taken = [e["label"] for e in first.events if e["event"] == "shot"]
    assert taken == [points[0], points[1], points[1], points[3]]
    more = run("survey", "--typed", "--json", typed="1500\n")
    assert next(e for e in more.events if e["event"] == "next")["label"] == points[2]
    with sqlite3.connect("job.sqlite") as database:
        rows = dict(
            database.execute("SELECT point, reading_mm FROM shot WHERE superseded_by IS NULL")
        )
        everything = database.execute("SELECT count(*) FROM shot").fetchone()[0]
    assert rows == {points[0]: 1200.0, points[1]: 1301.0, points[2]: 1500.0, points[3]: 1400.0}
    assert everything == 5


def test_relabel_moves_shots_along_the_walk(run: Run) -> None:
    run("new", "--room", "2m,2m", "--units", "mm")
    points = [p["label"] for p in run("grid", "--json").json["points"]]
    run("survey", "--typed", typed="1200\n1210\n1220\nq\n")
    moved = run("relabel", "--from", points[1], "--shift", "1", "--json").json
    assert moved["shots"] == 2
    with sqlite3.connect("job.sqlite") as database:
        rows = dict(
            database.execute("SELECT point, reading_mm FROM shot WHERE superseded_by IS NULL")
        )
    assert rows == {points[0]: 1200.0, points[2]: 1210.0, points[3]: 1220.0}
    assert run("relabel", "--from", points[0], "--shift", "99").code == 2


def test_a_table_written_is_a_table_taken_back(surveyed: Run, tmp_path: Path) -> None:
    files = surveyed("export", "--format", "csv", "--out", "out", "--json").json["files"]
    surveyed("new", "--job", "copy.sqlite", "--room", "3m,4m", "--units", "mm")
    assert surveyed("import", "--job", "copy.sqlite", files[0], "--unit", "mm").code == 0
    again = surveyed("export", "--job", "copy.sqlite", "--out", "again", "--json").json["files"]
    assert open(files[0]).read() == open(again[0]).read()
    heading = open(files[0]).readline().strip()
    assert heading == "label,x_mm,y_mm,reading_mm,stderr_mm,setup,kind"


def test_several_setups_of_a_table_are_tied_by_their_benchmark(run: Run, table: Table) -> None:
    run("new", "--room", "3m,4m", "--units", "mm")
    rows = "label,x,y,reading,setup,kind\nBM,,,1000,one,benchmark\nBM,,,1100,two,benchmark\n"
    for n, (x, y) in enumerate([(200, 200), (2800, 200), (1500, 2000), (200, 3800), (2800, 3800)]):
        setup, shift = ("one", 0) if n < 3 else ("two", 100)
        rows += f"P{n},{x},{y},{1200 + shift},{setup},floor\n"
    assert run("import", table(rows), "--unit", "mm").code == 0
    floor = run("floor", "--json").json
    assert floor["setups"][1]["line_mm"] == TRADE(100.0, abs=1e-6)
    assert floor["range_mm"] == TRADE(0.0, abs=0.05)
    untied = rows.replace("BM,,,1100,two,benchmark\n", "")
    run("new", "--job", "untied.sqlite", "--room", "3m,4m", "--units", "mm")
    run("import", "--job", "untied.sqlite", table(untied, "untied.csv"), "--unit", "mm")
    refused = run("floor", "--job", "untied.sqlite")
    assert refused.code == 1
    assert "two" in refused.err


def test_a_replayed_job_reaches_the_same_shots_bit_for_bit(run: Run) -> None:
    run("new", "--room", "2m,2m", "--units", "mm")
    points = run("grid", "--json").json["points"]
    script: list[tuple[float, float | None]] = [(0.2, None)]
    for n, _ in enumerate(points):
        script += [(0.5, 1300.0 + 7.3 * n), (0.15, None), (0.4, None)]
    with IndependentRod(script) as rod:
        done = run(
            "survey", "--serial", rod.path, "--dwell", "0.3", "--walk", "0.3", "--json"
        )  # fmt: skip
    assert done.code == 0, done.err
    run("new", "--job", "again.sqlite", "--room", "2m,2m", "--units", "mm")
    run("grid", "--job", "again.sqlite")
    again = run("survey", "--job", "again.sqlite", "--replay", "job.sqlite", "--json")
    assert again.code == 0, again.err
    kept = "SELECT point, x_mm, y_mm, reading_mm, stderr_mm, n, kind, time_s FROM shot ORDER BY id"
    shots = [
        sqlite3.connect(path).execute(kept).fetchall() for path in ("job.sqlite", "again.sqlite")
    ]
    assert len(shots[0]) == len(points)
    assert shots[0] == shots[1]


def test_a_recorded_trace_plays_back(run: Run) -> None:
    run("new", "--room", "1m,1m", "--units", "mm")
    run("grid", "--spacing", "0.9m")
    with IndependentRod([(0.3, None), (0.6, 1234.0), (0.5, None)] * 6) as rod:
        kept = run("record", "rod.trace", "--serial", rod.path, "--seconds", "3", "--json")
        assert kept.code == 0, kept.err
    assert kept.json["messages"] > 100
    played = [
        run("survey", "--job", name, "--replay", "rod.trace", "--dwell", "0.3", "--walk", "0.3",
            "--json").out
        for name in _copies(run, 2)
    ]  # fmt: skip
    shots = [json.loads(line) for line in played[0].splitlines() if '"shot"' in line]
    assert shots
    assert abs(shots[0]["reading_mm"] - 1234.0) < 0.06
    assert played[0] == played[1]


def _copies(run: Run, count: Any) -> Iterator[Any]:
    for n in range(count):
        run("new", "--job", f"copy{n}.sqlite", "--room", "1m,1m", "--units", "mm")
        run("grid", "--job", f"copy{n}.sqlite", "--spacing", "0.9m")
        yield f"copy{n}.sqlite"


def test_edit_keeps_what_was_wrong_as_an_event_and_the_plan_goes_stale(surveyed: Run) -> None:
    surveyed("plan")
    assert surveyed("edit", "--min-cover", "9mm").code == 0
    stale = surveyed("markers")
    assert stale.code == 1
    assert "minimum cover" in stale.err
    assert surveyed("edit").code == 2
    with sqlite3.connect("job.sqlite") as database:
        kinds = [row[0] for row in database.execute("SELECT kind FROM event")]
    assert "edit" in kinds


def test_json_floor_and_plan_say_what_the_contract_names(surveyed: Run, table: Table) -> None:
    places = table("x,y\n1500,2000\n", "places.csv")
    floor = surveyed("floor", "--points", places, "--unit", "mm", "--json").json
    assert floor["shots"] == 30
    assert floor["high"]["upper_mm"] >= floor["high"]["z_mm"]
    assert floor["points"][0]["stderr_mm"] > 0
    assert {"low", "range_mm", "noise_mm", "next", "setups", "warnings"} <= set(floor)
    plan = surveyed("plan", "--json").json
    assert plan["chance_min_cover"] >= 0.95
    assert plan["cover_mm"]["min"] >= 6.0
    assert plan["bags"]["p95"] >= plan["bags"]["p50"] > 0
    assert plan["lifts"] == 1
    assert any("yield" in text for text in plan["assumptions"])
    assert any("licensed" in text for text in plan["cautions"])
    # The volume is the mean cover over the area (m² × mm = l).
    assert plan["volume_l"]["mean"] == TRADE(plan["cover_mm"]["mean"] * 12.0, rel=1e-6)


def test_the_unit_of_a_table_covers_every_length_in_it(run: Run, table: Table) -> None:
    run("new", "--room", "10ft,12ft")
    corners = [(12, 12), (108, 12), (108, 132), (12, 132), (60, 72)]
    rows = "".join(f"P{n},{x},{y},47 1/4,1/32\n" for n, (x, y) in enumerate(corners))
    assert run("import", table("label,x,y,reading,stderr\n" + rows), "--unit", "in").code == 0
    with sqlite3.connect("job.sqlite") as database:
        kept = database.execute("SELECT x_mm, y_mm, reading_mm, stderr_mm FROM shot").fetchone()
    # 1 in = 25.4 mm exactly (NIST SP 811).
    assert kept == TRADE((12 * 25.4, 12 * 25.4, 47.25 * 25.4, 25.4 / 32))


def test_an_undone_shot_is_gone_and_kept(run: Run) -> None:
    run("new", "--room", "2m,2m", "--units", "mm")
    run("grid")
    run("survey", "--typed", typed="1200\n1300\nu\nq\n")
    with sqlite3.connect("job.sqlite") as database:
        rows = database.execute("SELECT reading_mm, superseded_by IS NULL FROM shot ORDER BY id")
        assert rows.fetchall() == [(1200.0, 1), (1300.0, 0)]


def test_an_undone_marker_is_set_no_more(surveyed: Run) -> None:
    surveyed("plan")
    markers = surveyed("markers", "--json").json["markers"]
    target = markers[0]["target_reading_mm"]
    surveyed("set", "--typed", "--skip-check", typed=f"{target + 5}\n{target}\nu\nq\n")
    again = surveyed("set", "--typed", "--skip-check", "--json", typed="")
    assert next(e for e in again.events if e["event"] == "next")["marker"] == markers[0]["label"]


def test_a_second_known_line_has_targets_of_its_own(run: Run, table: Table) -> None:
    """Set-up two stands 100 mm higher: it reads 100 mm more on the same marker."""
    run("new", "--room", "3m,4m", "--units", "mm", "--min-cover", "6mm")
    rows = "label,x,y,reading,setup,kind\nBM,,,1000,one,benchmark\nBM,,,1100,two,benchmark\n"
    for n, (x, y) in enumerate([(200, 200), (2800, 200), (1500, 2000), (200, 3800), (2800, 3800)]):
        setup, shift = ("one", 0) if n < 3 else ("two", 100)
        rows += f"P{n},{x},{y},{1200 + n + shift},{setup},floor\n"
    run("import", table(rows), "--unit", "mm")
    run("plan")
    target = run("markers", "--json").json["markers"][0]["target_reading_mm"]
    setting = run("set", "--typed", "--setup", "two", "--json", typed=f"1100\n{target + 100}\n")
    checked = next(e for e in setting.events if e["event"] == "checked")
    assert checked["difference_mm"] == TRADE(0.0, abs=0.01)
    prompt = next(e for e in setting.events if e["event"] == "prompt")
    assert prompt["target_reading_mm"] == TRADE(target + 100.0, abs=0.01)
    assert prompt["move"] == "hold"


def test_a_wrong_shot_is_named_during_the_survey(run: Run) -> None:
    run("new", "--room", "3.6m,4.5m", "--units", "mm", "--min-cover", "6mm")
    points = run("grid", "--json").json["points"]
    wrong = 22
    typed = "".join(
        f"{1200 + p['x_mm'] / 1000 + (-12 if n == wrong else 0):.1f}\n"
        for n, p in enumerate(points)
    )
    survey = run("survey", "--typed", "--json", typed=typed)
    assert survey.code == 0, survey.err
    named = [e for e in survey.events if e["event"] == "doubtful"]
    assert [e["label"] for e in named] == [points[wrong]["label"]]
    assert named[0]["off_mm"] == TRADE(12.0, abs=4.0)
    picture = [e for e in survey.events if e["event"] == "picture"][-1]
    assert picture["shots"] == len(points) - 1  # it stays out until it is shot again
    # And by `floor`, which a fit that swallowed the shot would hide it from.
    warnings = run("floor", "--json").json["warnings"]
    assert any(points[wrong]["label"] in text and "shoot it again" in text for text in warnings)


def test_typed_readings_replay_in_the_units_they_were_typed_in(run: Run) -> None:
    run("new", "--room", "2m,2m")
    run("grid")
    run("survey", "--typed", typed="48\n48 1/2\nq\n")
    run("new", "--job", "metric.sqlite", "--room", "2m,2m", "--units", "mm")
    run("grid", "--job", "metric.sqlite", "--spacing", "3ft", "--edge", "6in")
    assert run("survey", "--job", "metric.sqlite", "--replay", "job.sqlite").code == 0
    with sqlite3.connect("metric.sqlite") as database:
        kept = [row[0] for row in database.execute("SELECT reading_mm FROM shot ORDER BY id")]
    assert kept == TRADE([48 * 25.4, 48.5 * 25.4])


def test_a_benchmark_may_not_be_called_like_a_grid_point(run: Run) -> None:
    run("new", "--room", "2m,2m", "--units", "mm")
    run("grid")
    refused = run("survey", "--typed", "--kind", "benchmark", "--label", "B1", typed="500\n")
    assert refused.code == 2
    assert "BM1" in refused.err


def test_a_new_room_keeps_the_doors_and_openings_of_the_old_one(run: Run) -> None:
    run("new", "--room", "3m,4m", "--units", "mm", "--door", "1m,0m,0.9m",
        "--opening", "1m,1m,0.2m,0.2m")  # fmt: skip
    assert run("edit", "--room", "3.2m,4m", "--json").json["area_m2"] == pytest.approx(12.76)
    with sqlite3.connect("job.sqlite") as database:
        assert database.execute("SELECT x_mm, end_x_mm FROM door").fetchall() == [(1000, 1900)]
    refused = run("edit", "--room", "1.5m,4m")
    assert refused.code == 2
    assert "--door" in refused.err
    moved = run("edit", "--room", "1.5m,4m", "--door", "0.2m,0m,0.8m", "--json")
    assert moved.json["area_m2"] == pytest.approx(6.0 - 0.04)


def test_a_shot_of_an_earlier_grid_is_no_shot_of_the_new_one(run: Run) -> None:
    run("new", "--room", "2m,2m", "--units", "mm")
    run("grid", "--spacing", "2m")
    run("survey", "--typed", typed="1200\n" * 4)
    assert run("survey", "--typed", typed="").code == 2
    run("grid", "--spacing", "1m")
    again = run("survey", "--typed", "--json", typed="")
    assert again.code == 0
    assert [told["label"] for told in again.events if told["event"] == "next"] != []
    warned = run("floor", "--json").json["warnings"]
    assert any("no shot" in text for text in warned)


def test_shots_of_an_earlier_grid_count_on_when_a_closer_one_is_walked(run: Run) -> None:
    run("new", "--room", "2m,2m", "--units", "mm")
    run("grid", "--spacing", "2m")
    run("survey", "--typed", typed="1200\n1203\n1206\n1209\n")
    laid = run("grid", "--spacing", "0.6m")
    assert "16 points, 4 of them with a shot of the floor" in laid.out
    walked = run("survey", "--typed", "--json", typed="1210\n" * 12)
    assert len([told for told in walked.events if told["event"] == "shot"]) == 12
    with Job.open("job.sqlite") as job:
        shots = job.shots(kinds=["floor"])
        assert sorted(shot.reading_mm for shot in shots)[:4] == [1200, 1203, 1206, 1209]
        assert len(shots) == 16
        assert not job.unshot("floor")
    assert run("floor", "--json").json["shots"] == 16


def test_while_typing_g_goes_to_a_point(run: Run) -> None:
    run("new", "--room", "2m,2m", "--units", "mm")
    run("grid", "--spacing", "1m")
    events = run("survey", "--typed", "--json", typed="g c3\n1201\ng Z9\n").events
    assert [told["label"] for told in events if told["event"] == "shot"] == ["C3"]
    assert any("Z9" in told.get("text", "") for told in events if told["event"] == "trouble")


def test_a_benchmark_is_known_again_in_other_letters(run: Run) -> None:
    run("new", "--room", "2m,2m", "--units", "mm")
    for label in ("BM1", "bm1"):
        run("survey", "--kind", "benchmark", "--label", label, "--typed", typed="1200\n")
    with sqlite3.connect("job.sqlite") as database:
        assert database.execute("SELECT DISTINCT point FROM shot").fetchall() == [("BM1",)]
