"""`rig pour` as people use it: plan, list, run, cut off, go on, learn."""

import contextlib
import json
import os
import re
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from rig.cli import main
from rig.cli.pour_command import log_pour
from rig.devices import clock
from rig.events import Edge, Event, PourDone, Poured
from rig.session.run import Tell
from rig.study.pour_answer import PourWish
from tests.cli.conftest import Run
from tests.kinds import there
from tools.endurance import pours

PLAN = ["--mixers", "1", "--crew", "3", "--mix-time", "2min", "--working-time", "20min"]


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Make the planned job once; tests work on copies."""
    folder = tmp_path_factory.mktemp("built")
    rows = "".join(
        f"P{i}{j},{200 + i * 650},{200 + j * 720},{1200 + 3 * i - 2 * j + (i * j) % 3},0.3\n"
        for i in range(5)
        for j in range(6)
    )
    (folder / "floor.csv").write_text("label,x,y,reading,stderr\n" + rows)
    job = ["--job", str(folder / "job.sqlite")]
    room = ["--room", "3m,4m", "--units", "mm", "--min-cover", "6mm", "--door", "1m,0m,80cm"]
    for words in (
        ["new", *job, *room],
        ["import", *job, str(folder / "floor.csv"), "--unit", "mm"],
        ["plan", *job],
        ["markers", *job],
    ):
        with pytest.raises(SystemExit) as ended:
            main(words)
        assert ended.value.code == 0
    return folder / "job.sqlite"


@pytest.fixture
def planned(run: Run, built: Path) -> Callable[..., Any]:
    shutil.copy(built, "job.sqlite")
    shutil.copy(built.parent / "floor.csv", "floor.csv")
    return run


@pytest.fixture
def ready(planned: Callable[..., Any]) -> Callable[..., Any]:
    assert planned("pour", "plan", *PLAN, "--runs", "200").code == 0
    return planned


def test_the_plan_says_what_the_contract_names(planned: Any) -> None:
    plan = planned("plan", "--json").json
    made = planned("pour", "plan", *PLAN, "--json")
    assert made.code == 0, made.err
    pour = made.json
    keys = {"n", "bags", "water_l", "volume_l", "mix_s", "pour_s", "x_mm", "y_mm"}
    assert all(keys <= set(batch) for batch in pour["batches"])
    assert sum(b["bags"] for b in pour["batches"]) == plan["bags"]["p50"]
    assert sum(b["volume_l"] for b in pour["batches"]) == pytest.approx(plan["volume_l"]["mean"])
    edge = pour["wet_edge_age_s"]
    assert pour["margin_s"] == pytest.approx(1200.0 - edge["p95"])
    assert edge["max"] >= edge["p95"] > 0
    assert pour["feasible"] is True
    assert pour["advice"]
    times = [(b["mix_s"], b["pour_s"]) for b in pour["batches"]]
    assert times == sorted(times)
    assert all(mix < pour_s for mix, pour_s in times)
    # From the far wall to the door at the bottom.
    assert pour["batches"][0]["y_mm"] > 3500.0
    assert pour["batches"][-1]["y_mm"] < 800.0
    assert {row["key"] for row in pour["prepour"] if not row["ticked"]} >= {"primer", "dam"}
    assert any("no source" in text for text in pour["assumptions"])
    assert any("licensed" in text for text in pour["cautions"])


def test_the_answer_is_short_and_cautions_are_whole_the_first_time_and_with_why(
    planned: Any,
) -> None:
    first = planned("pour", "plan", *PLAN, "--runs", "200").out
    again = planned("pour", "plan", *PLAN, "--runs", "200").out
    why = planned("pour", "plan", *PLAN, "--runs", "200", "--why").out
    assert "licensed professional" in first
    assert "licensed professional" not in again
    assert "Caution: silica dust" in again
    assert "16 steps before the pour are not ticked (rig pour list)" in again
    assert len(again.splitlines()) <= 9
    assert "Schedule, from the first water on powder" not in again
    assert "Schedule, from the first water on powder" in why
    assert "licensed professional" in why
    assert again.splitlines()[0] == why.splitlines()[0]


def test_an_infeasible_pour_prints_its_json_and_exits_1(planned: Any) -> None:
    slow = ["--mixers", "1", "--crew", "2", "--mix-time", "15min", "--working-time", "12min"]
    made = planned("pour", "plan", *slow, "--json", "--runs", "200")
    assert made.code == 1
    assert made.err == ""
    assert made.json["feasible"] is False
    assert made.json["margin_s"] < 0
    assert "working time" in made.json["advice"]
    assert "Not feasible in one pour." in planned("pour", "plan", *slow, "--runs", "200").out


def test_start_and_exit_turn_the_front_round(planned: Any) -> None:
    pour = planned("pour", "plan", *PLAN, "--start", "10cm,10cm", "--exit", "2.9m,3.9m", "--json",
                   "--runs", "200").json  # fmt: skip
    first, last = pour["batches"][0], pour["batches"][-1]
    assert first["x_mm"] + first["y_mm"] < 2500.0
    assert last["x_mm"] + last["y_mm"] > 5500.0


@pytest.mark.parametrize(
    ("words", "say"),
    [
        (["--crew", "3", *PLAN[4:]], "--mixers"),
        (["--mixers", "1", *PLAN[4:]], "--crew"),
        (PLAN[:6], "working time"),
        ([*PLAN[:4], *PLAN[6:]], "mixing time"),
        ([*PLAN, "--mix-time", "0s"], "more than zero"),
        ([*PLAN, "--bays", "9"], "bays"),
        ([*PLAN, "--working-time", "20"], "unit"),
        ([*PLAN, "--mix-time", "2"], "unit"),
        ([*PLAN, "--exit", "9m,9m"], "exit"),
        ([*PLAN, "--exit", "1.5m,2m"], "lies 1.5 m from the nearest wall"),
        ([*PLAN, "--strip", "0.1mm"], "a strip of 0.1 mm is too narrow"),
        ([*PLAN, "--strip", "1km"], "unit"),
        ([*PLAN, "--strip", "1000m"], "a strip of 1000 m is too deep"),
        ([*PLAN, "--bags-per-batch", "21"], "--bags-per-batch 21: nobody mixes"),
        ([*PLAN, "--bags-per-batch", "0"], "--bags-per-batch"),
        ([*PLAN, "--buckets", "5000"], "--buckets 5000: no crew"),
        ([*PLAN, "--start", "9m,9m"], "start"),
        ([*PLAN, "--crew", "900"], "900"),
        ([*PLAN, "--sheet", "nowhere.toml"], "nowhere.toml"),
        ([*PLAN, "--temperature", "20"], "70F"),
        ([*PLAN, "--crew-from", "nowhere.sqlite"], "nowhere.sqlite"),
    ],
)
def test_bad_input_is_told(planned: Any, words: Any, say: Any) -> None:
    made = planned("pour", "plan", *words, "--runs", "200")
    assert made.code == 2, made.out
    assert say in made.err


def test_what_is_merely_odd_is_warned_of(planned: Any) -> None:
    odd = ["--strip", "15cm", "--bags-per-batch", "7"]
    made = planned("pour", "plan", *PLAN, *odd, "--json", "--runs", "200").json
    assert any("A strip of 0.15 m is odd, 0.2 m to 1.2 m are usual" in x for x in made["warnings"])
    assert any("7 bags in a batch are much" in text for text in made["warnings"])
    usual = ["--strip", "40cm", "--bags-per-batch", "2", "--buckets", "4"]
    made = planned("pour", "plan", *PLAN, *usual, "--json", "--runs", "200").json
    assert not any("odd" in text or "much" in text for text in made["warnings"])


def test_refusals_of_strip_and_exit_speak_the_jobs_units(planned: Any) -> None:
    assert planned("edit", "--units", "in").code == 0
    exit_ = planned("pour", "plan", *PLAN, "--exit", "5ft,6ft")
    assert exit_.code == 2
    assert "The exit at 5 ft, 6 ft lies 4 ft 10 in from the nearest wall" in exit_.err
    assert "--exit" in exit_.err
    strip = planned("pour", "plan", *PLAN, "--strip", "11ft")
    assert strip.code == 2
    assert "a strip of 11 ft is too deep" in strip.err
    start = planned("pour", "plan", *PLAN, "--start", "30ft,6ft")
    assert "The start at 30 ft, 6 ft lies outside the floor" in start.err
    assert " mm" not in exit_.err + strip.err + start.err


def test_assumptions_are_told_in_the_jobs_units(planned: Any) -> None:
    metric = " ".join(planned("pour", "plan", *PLAN, "--runs", "200", "--json").json["assumptions"])
    assert "walking 0.9 m/s, spreading 25 s and taking out air 15 s for 1 m²" in metric
    assert "the mixers stand 3 m from the exit" in metric
    assert re.search(r"Strips 0\.\d+ m deep", metric)
    assert planned("edit", "--units", "in").code == 0
    told = planned("pour", "plan", *PLAN, "--runs", "200", "--why").out
    assumed = told[told.index("Assumed:") :]
    assert "walking 2.95 ft/s, spreading 23 s and taking out air 14 s for 10 ft²" in assumed
    assert "the mixers stand 9 ft 10 in from the exit" in assumed
    assert re.search(r"Strips \d ft( [\d /]+ in)? deep", assumed)
    assert not re.search(r"\d (mm|m|m/s|m²|l)\b", told)


def test_the_sheet_gives_times_and_what_it_lacks_is_asked_for(planned: Any, tmp_path: Path) -> None:
    sheet = tmp_path / "sheet.toml"
    sheet.write_text('text = "invented"\nmixing_time = "2min"\nwater_per_bag = "6l"\n')
    crew = ["--mixers", "1", "--crew", "3", "--sheet", sheet, "--runs", "200"]
    asked = planned("pour", "plan", *crew)
    assert asked.code == 2
    assert "working time" in asked.err
    sheet.write_text(sheet.read_text() + 'working_time = "20min"\nmax_cover = "4mm"\n')
    made = planned("pour", "plan", *crew, "--json").json
    assert made["working_time_s"] == 1200.0
    assert made["batches"][0]["water_l"] == 6.0
    assert any("lifts" in text for text in made["warnings"])


SHEET = 'mixing_time = "2min"\nworking_time = "20min"\n'
LIMITS = 'min_temperature = "50F"\nmax_temperature = "30C"\n'


@pytest.mark.parametrize(
    ("units", "temperature", "said"),
    [
        ("mm", "41F", "at 5 °C, colder than the sheet allows (10 °C at least)"),
        ("mm", "35.4C", "at 35 °C, hotter than the sheet allows (30 °C at most)"),
        ("in", "5C", "at 41 °F, colder than the sheet allows (50 °F at least)"),
        ("in", "35C", "at 95 °F, hotter than the sheet allows (86 °F at most)"),
    ],
)
def test_a_floor_too_cold_or_too_hot_for_the_sheet_is_not_feasible(
    planned: Any, units: Any, temperature: Any, said: Any
) -> None:
    if units == "in":
        assert planned("edit", "--units", "in").code == 0
    open("sheet.toml", "w").write(SHEET + LIMITS)
    words = ["--mixers", "1", "--crew", "3", "--sheet", "sheet.toml", "--runs", "200"]
    told = planned("pour", "plan", *words, "--temperature", temperature)
    assert told.code == 1
    assert "Not feasible at this temperature." in told.out
    assert told.out.count(said) == 1
    assert "then rig pour run" not in told.out
    made = planned("pour", "plan", *words, "--temperature", temperature, "--json")
    assert (made.code, made.err) == (1, "")
    assert made.json["feasible"] is False
    assert made.json["margin_s"] > 0
    assert said in made.json["advice"]
    assert said in planned("pour", "run", typed="").out
    assert planned("report").code == 0
    assert "Not feasible at this temperature." in open("report.html").read()
    assert planned("pour", "plan", *words, "--temperature", "68F").code == 0


def test_a_temperature_that_nothing_is_held_against_is_not_passed_over(planned: Any) -> None:
    bare = planned("pour", "plan", *PLAN, "--runs", "200", "--temperature", "5C")
    assert bare.code == 0
    assert "! Whether 5 °C suits the product is not checked: give its --sheet" in bare.out
    open("sheet.toml", "w").write(SHEET)
    words = [*PLAN, "--sheet", "sheet.toml", "--runs", "200", "--temperature", "5C"]
    assert "not checked" in planned("pour", "plan", *words).out
    open("sheet.toml", "w").write(SHEET + LIMITS)
    assert "not checked" not in planned("pour", "plan", *words).out


def test_a_pour_needs_a_plan_a_fresh_one_and_a_way_out(ready: Any) -> None:
    assert ready("plan", "--flat", "--max-slope", "0.3%").code == 0
    stale = ready("pour", "run")
    assert stale.code == 1
    assert "rig pour plan" in stale.err
    ready("edit", "--bag-yield", "9l")
    bags = ready("pour", "plan", *PLAN)
    assert bags.code == 1
    assert "bag yield" in bags.err
    ready("new", "--job", "bare.sqlite", "--room", "3m,4m", "--units", "mm")
    bare = ["--job", "bare.sqlite"]
    assert ready("pour", "plan", *bare, *PLAN).code == 1
    assert ready("pour", "run", *bare).code == 1
    ready("import", *bare, "floor.csv", "--unit", "mm")
    ready("plan", *bare)
    no_door = ready("pour", "plan", *bare, *PLAN)
    assert no_door.code == 1
    assert "--exit" in no_door.err
    assert ready("pour", "plan", *bare, *PLAN, "--exit", "1m,0m", "--runs", "200").code == 0


def test_a_look_at_an_unchanged_plan_makes_nothing_stale(ready: Any) -> None:
    ready("plan")
    ready("plan", "--json")
    run = ready("pour", "run", "--json", typed="batch\nq\n")
    assert run.code == 0, run.err
    assert [e["n"] for e in run.events if e["event"] == "batch"] == [1]


def test_a_pour_under_way_goes_on_whatever_is_planned_meanwhile(ready: Any) -> None:
    ready("pour", "run", "--json", typed="batch\nfront 1\nq\n")
    assert ready("plan", "--flat", "--max-slope", "0.3%").code == 0
    again = ready("pour", "plan", *PLAN)
    assert again.code == 1
    assert "under way" in again.err
    for words in ([], PLAN):
        run = ready("pour", "run", *words, "--json", typed="q\n")
        assert run.code == 0, run.err
        assert "goes on by the plan that it was begun with" in run.err
        resumed = next(e for e in run.events if e["event"] == "resumed")
        assert (resumed["batches"], resumed["strip"]) == (1, 1)
    ready("pour", "run", typed="stop\n")
    assert ready("pour", "plan", *PLAN, "--runs", "200").code == 0


def test_the_list_is_ticked_with_its_reasons_and_seen_by_plan_and_run(ready: Any) -> None:
    shown = ready("pour", "list", "--tick", "primer", "--tick", "dam")
    assert "[x] primer" in shown.out
    assert "pinholes" in shown.out
    assert ready("pour", "list", "--tick", "roof").code == 2
    run = ready("pour", "run", "--json", typed="tick screws\nundo\ntick soft\n")
    listed = next(e for e in run.events if e["event"] == "prepour")
    assert "primer" not in listed["left"]
    assert "seams" in listed["left"]
    left = ready("pour", "list", "--json").json["left"]
    assert "soft" not in left
    assert "screws" in left
    made = ready("pour", "plan", *PLAN, "--runs", "200", "--json").json
    ticked = {row["key"] for row in made["prepour"] if row["ticked"]}
    assert ticked == {"primer", "dam", "soft"}


def test_a_typed_pour_goes_on_after_it_was_left_and_ends_with_stop(
    ready: Callable[..., Any],
) -> None:
    first = ready("pour", "run", "--json", typed="batch\nfront 1\nnonsense\n")
    assert first.code == 0, first.err
    kinds = [e["event"] for e in first.events]
    assert {"prepour", "next", "batch", "front", "estimate", "edges"} <= set(kinds)
    assert "not understood" in first.err
    with sqlite3.connect("job.sqlite") as database:
        kept = database.execute("SELECT n FROM batch WHERE poured_utc_s IS NOT NULL").fetchall()
        assert kept == [(1,)]
    again = ready("pour", "run", "--json", typed="batch\ny\nundo\nbatch\naccept\nstop\n")
    resumed = next(e for e in again.events if e["event"] == "resumed")
    assert (resumed["batches"], resumed["strip"]) == (1, 1)
    done = again.events[-1]
    assert done["event"] == "done"
    assert done["bags_used"] == 2.0
    with sqlite3.connect("job.sqlite") as database:
        told = json.loads(
            database.execute("SELECT data FROM event WHERE kind = 'pour_done'").fetchone()[0]
        )
    assert told["batches"] == 2
    fresh = ready("pour", "run", "--json", typed="")
    assert not [e for e in fresh.events if e["event"] == "resumed"]


def test_a_front_that_no_bags_can_have_reached_is_asked_about_and_not_kept(ready: Any) -> None:
    made = ready("pour", "plan", *PLAN, "--runs", "200", "--json").json
    last = len(made["strips"])
    told = ready("pour", "run", "--json", typed=f"batch\nfront {last}\nbatch\nstop\n")
    asked = next(event for event in told.events if event["event"] == "ask")
    assert f"Strip {last} is far ahead of what 1 bag" in asked["text"]
    assert not [event for event in told.events if event["event"] in ("front", "estimate")]
    assert told.events[-1]["share"] == 0.0


def test_a_front_that_goes_back_is_asked_about(ready: Callable[..., Any]) -> None:
    told = ready("pour", "run", "--json", typed="batch\nfront 5\nfront 1\ny\nstop\n")
    asked = next(event for event in told.events if event["event"] == "ask")
    assert "Strip 1 lies behind the front, which was told at strip 5" in asked["text"]
    assert [e["strip"] for e in told.events if e["event"] == "front"] == [5, 1]
    share = told.events[-1]["share"]
    fresh = ready("pour", "plan", *PLAN, "--runs", "200", "--json").json
    assert share == pytest.approx(fresh["strips"][0]["share_end"], abs=0.05)


def test_a_stop_with_bags_left_unpoured_is_said(ready: Callable[..., Any]) -> None:
    told = ready("pour", "run", typed="batch\nfront 1\nstop\n")
    assert told.code == 0
    assert re.search(r"! Ended early: \d+ of \d+ planned batches \(\d+ bags\) are not", told.out)
    assert "Strips 2 to " in told.out


def test_the_next_plan_starts_from_what_this_crew_took(ready: Callable[..., Any]) -> None:
    with_text = ready("pour", "run", typed="batch\nfront 1\nstop\n")
    assert "finished floor" in with_text.out
    # One batch has no interval: nothing is learnt from it.
    assert ready("pour", "plan", *PLAN, "--crew-from", "job.sqlite").code == 2
    ready("pour", "run", typed="batch\nbatch\ny\nfront 2\nstop\n")
    made = ready("pour", "plan", *PLAN, "--runs", "200", "--json").json
    assert any("this crew's last pour" in text for text in made["assumptions"])


def test_three_pours_at_one_pace_make_the_next_plan_go_by_it(ready: Callable[..., Any]) -> None:
    first = ready("pour", "plan", *PLAN, "--runs", "200", "--json").json
    slow_s = 1.3 * first["interval_s"]
    for _ in range(3):
        ready("pour", "run", typed="batch\nbatch\ny\nfront 2\nstop\n")
        with sqlite3.connect("job.sqlite") as database:
            database.execute(
                "UPDATE event SET data = json_set(data, '$.interval_s', ?, '$.batches', ?)"
                " WHERE kind = 'pour_done'",
                (slow_s, len(first["batches"])),
            )
        made = ready("pour", "plan", *PLAN, "--runs", "200", "--json").json
    assert made["interval_s"] == pytest.approx(slow_s, rel=0.05)
    assert made["pace"]["pours"] == 3
    assert made["pace"]["hands_doubt"] < first["pace"]["hands_doubt"]
    assert made["margin_s"] < first["margin_s"]


def test_the_log_and_the_next_plan_tell_a_bags_yield_in_feet_in_an_inch_job(
    planned: Callable[..., Any],
) -> None:
    assert planned("edit", "--units", "in").code == 0
    assert planned("plan").code == 0
    told = planned("pour", "run", *PLAN, "--runs", "200", typed="batch\nbatch\ny\nfront 1\nstop\n")
    assert re.search(r"A bag makes [\d.]+ ft³ \(± [\d.]+ ft³\);", told.out)
    assert re.search(r"A bag made [\d.]+ ft³ \(± [\d.]+ ft³\)\.", told.out)
    learnt = planned("pour", "plan", *PLAN, "--runs", "200", "--why")
    assert re.search(r"this crew's last pour: .*, [\d.]+ ft³ a bag on the floor", learnt.out)


def test_a_yield_that_stayed_unknown_is_not_learnt(ready: Callable[..., Any]) -> None:
    plan = ready("plan", "--json").json
    ready("pour", "plan", *PLAN, "--runs", "200")
    ready("pour", "run", typed="batch\nbatch\ny\nfront 1\nstop\n")
    with sqlite3.connect("job.sqlite") as database:
        database.execute(
            "UPDATE event SET data = json_set(data, '$.yield_l', 70, '$.yield_stderr_l', 40)"
            " WHERE kind = 'pour_done'"
        )
    made = ready("pour", "plan", *PLAN, "--runs", "200", "--json").json
    assert any("what a bag made was not known" in text for text in made["assumptions"])
    assert made["yield_l"] <= plan["volume_l"]["per_bag"]
    assert made["yield_doubt"] > 0.1
    assert ready("report").code == 0
    assert "<dt>A bag made</dt><dd>not known</dd>" in open("report.html").read()


def test_more_bags_than_the_room_takes_are_refused(ready: Callable[..., Any]) -> None:
    refused = ready("pour", "run", "--bags", "900", typed="")
    assert refused.code == 2
    assert "900" in refused.err


def test_a_killed_log_has_lost_nothing_and_knows_the_true_ages(ready: Callable[..., Any]) -> None:
    command = [sys.executable, "-m", "rig.cli", "pour", "run", "--json"]
    process = subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, env=os.environ
    )
    there(process.stdin).write("batch\n")
    there(process.stdin).flush()
    for line in there(process.stdout):
        if json.loads(line)["event"] == "batch":
            break
    poured = time.monotonic()
    process.send_signal(signal.SIGKILL)
    process.wait()
    there(process.stdin).close()
    there(process.stdout).close()
    time.sleep(1.5)
    again = ready("pour", "run", "--json", typed="")
    resumed = next(e for e in again.events if e["event"] == "resumed")
    assert resumed["batches"] == 1
    assert 1.5 <= resumed["since_s"] <= time.monotonic() - poured + 0.5


def test_a_killed_log_keeps_an_act_with_what_came_of_it_or_neither(
    ready: Callable[..., Any], tmp_path: Path
) -> None:
    tally = pours.torment(3, seed=3, folder=tmp_path, made=tmp_path / "job.sqlite")
    assert tally.kills == 3
    assert tally.told > 3
    assert tally.sound, tally


def test_holes_of_an_older_log_are_mended_when_it_is_next_asked_for_and_told_once(
    ready: Callable[..., Any],
) -> None:
    ran = ready("pour", "run", "--json", typed="tick dam\nbatch\nbatch\naccept\nbatch\naccept\n")
    assert [e["n"] for e in ran.events if e["event"] == "batch"] == [1, 2, 3]
    # As a kill left it when the act and its batch were two changes.
    with contextlib.closing(sqlite3.connect("job.sqlite")) as plain:
        plain.execute("UPDATE batch SET poured_utc_s = NULL, session_id = NULL WHERE n = 3")
        (poured_s,) = plain.execute("SELECT poured_utc_s FROM batch WHERE n = 2").fetchone()
        plain.execute("DELETE FROM event WHERE kind = 'ticked'")
        plain.commit()
    mended = ready("report")
    assert "lacked 1 batch that its log holds" in mended.err
    with contextlib.closing(sqlite3.connect("job.sqlite")) as plain:
        rows = "SELECT n, poured_utc_s FROM batch WHERE poured_utc_s IS NOT NULL ORDER BY n"
        kept = plain.execute(rows).fetchall()
    assert [n for n, _ in kept] == [1, 2, 3]
    assert poured_s <= kept[2][1] < poured_s + 5.0
    listed = ready("pour", "list", "--json")
    assert listed.err == ""
    assert "dam" not in listed.json["left"]
    assert "lacked" not in ready("report").err


def test_a_log_that_slept_for_25_minutes_knows_that_the_edge_is_dead(
    ready: Callable[..., Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    asleep_s = 0.0
    awake_s = clock.steady_s
    monkeypatch.setattr(clock, "steady_s", lambda: awake_s() + asleep_s)
    ready("pour", "run", "--json", typed="batch\n")
    asleep_s = 1500.0
    again = ready("pour", "run", "--json", typed="batch\n")
    resumed = next(e for e in again.events if e["event"] == "resumed")
    assert 1500.0 <= resumed["since_s"] < 1530.0
    edges = next(e for e in again.events if e["event"] == "edges")
    assert edges["left_s"] < -300.0
    assert "dead" in [e["level"] for e in again.events if e["event"] == "edge"]


def test_a_pour_can_be_planned_and_run_in_one_breath(planned: Callable[..., Any]) -> None:
    run = planned("pour", "run", *PLAN, "--runs", "200", "--json", typed="batch\nstop\n")
    assert run.code == 0, run.err
    assert run.events[-1]["event"] == "done"


def test_a_simulated_crew_whose_mixer_fails_is_warned_and_learns_its_yield(
    planned: Callable[..., Any], tmp_path: Path
) -> None:
    """The demo's pour: another process pours 10 % less a bag; the log must find that out."""
    crew = ["--mixers", "2", "--crew", "4", "--mix-time", "2min", "--working-time", "9min"]
    made = planned("pour", "plan", *crew, "--runs", "200", "--json")
    (tmp_path / "plan.json").write_text(made.out)
    spoken = subprocess.run(
        [sys.executable, "-m", "simulated_devices", "crew", "--plan", tmp_path / "plan.json",
         "--seed", "3", "--truth", tmp_path / "truth.json"],
        check=True, capture_output=True, text=True,
    ).stdout  # fmt: skip
    script = [(float(at), word) for at, word in (x.split(" ", 1) for x in spoken.splitlines())]
    truth = json.loads((tmp_path / "truth.json").read_text())
    heard: list[Event] = []
    log_pour(
        tmp_path / "job.sqlite",
        PourWish(),
        as_json=True,
        script=script,
        speed=400.0,
        more_sinks=[Tell(heard.append)],
    )
    done = heard[-1]
    assert isinstance(done, PourDone)
    assert done.bags_used == truth["bags"]
    assert done.yield_l == pytest.approx(truth["yield_l"], rel=0.06)
    assert done.unticked == ("lath",)
    fails = truth["mixer_fails_after_batch"]
    failed = [isinstance(e, Poured) and e.n == fails for e in heard].index(True)
    assert any(isinstance(e, Edge) for e in heard[failed:])
    again = planned("pour", "plan", *crew, "--runs", "200", "--crew-from", "job.sqlite", "--json")
    learnt = json.loads(again.out.splitlines()[-1])  # the log printed before
    assert learnt["yield_l"] == pytest.approx(done.yield_l)


def test_a_pour_deeper_than_the_job_allows_does_not_go_in_one(planned: Callable[..., Any]) -> None:
    assert planned("edit", "--max-cover", "10mm").code == 0
    assert planned("plan").code == 0
    told = planned("pour", "plan", *PLAN, "--runs", "200")
    assert told.code == 1
    assert "Not feasible in one pour." in told.out
    assert "more than the 10 mm that the job allows in one go" in told.out
    assert told.out.count("in one go") == 1
    assert "then rig pour run" not in told.out


def test_a_second_stop_does_not_take_the_place_of_the_pour(ready: Callable[..., Any]) -> None:
    ready("pour", "run", typed="batch\nstop\n")
    again = ready("pour", "run", typed="stop\n")
    assert "was ended with stop" in again.out
    assert ready("report").code == 0
    page = open("report.html").read()
    assert "1 batch, 1 bag" in page
    assert "0 batches" not in page
