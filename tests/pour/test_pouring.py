"""The live log: a list of acts in, a list of events out."""

import json
import re
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rig.devices.reading import Reading
from rig.errors import BadInput
from rig.events import Edge
from rig.pour.estimate import Prior
from rig.pour.live_plan import LivePlan, PlannedBatch, Strip
from rig.pour.pouring import Pouring
from rig.pour.prepour import STEPS
from rig.units import System, Units
from tests.kinds import there

LEAD_S = 180.0  # from mixing, by which an edge is as old as what is in it
ALL = tuple(step.key for step in STEPS)


def plan(
    batches: int = 20,
    per_strip: int = 2,
    bags: float = 22.0,
    working_s: float = 1200.0,
    doubt: float = 0.01,
    units: System = "mm",
) -> LivePlan:
    strips = batches // per_strip
    return LivePlan(
        tuple(
            PlannedBatch(n + 1, n // per_strip + 1, 1.0, 100.0 * n, 500.0, f"place {n + 1}")
            for n in range(batches)
        ),
        tuple(
            Strip(k + 1, (k + 1) / strips, 1 / strips, (f"M{2 * k + 1}", f"M{2 * k + 2}"))
            for k in range(strips)
        ),
        tuple((n, m) for n in range(batches) for m in (n + 1, n + 2) if m < batches),
        working_s,
        LEAD_S,
        120.0,
        bags,
        Prior(12.0 * batches, 12.0 * batches * doubt, 12.0),
        Units(units),
    )


def started(told: LivePlan | None = None, **more: Any) -> Pouring:
    machine = Pouring(told or plan(), ticked=ALL, **more)
    machine.start(0.0)
    return machine


def pour(machine: Pouring, count: int, begin: float = 10.0, every: float = 120.0) -> list[Any]:
    events: list[Any] = []
    for n in range(count):
        events += machine.act("batch", begin + n * every)
    return events


def text(event: Any) -> str:
    """What an event says in words, whichever it is."""
    assert isinstance(event.text, str)
    return event.text


def names(events: list[Any]) -> list[str]:
    return [event.event for event in events]


def one(events: list[Any], name: str) -> Any:
    found = [event for event in events if event.event == name]
    assert len(found) == 1, names(events)
    return found[0]


def test_a_batch_says_what_is_left_where_the_front_should_be_and_what_comes_next() -> None:
    machine = started()
    events = machine.act("batch", 10.0)
    poured, following = one(events, "batch"), one(events, "next")
    assert (poured.n, poured.bags_left, poured.front_should) == (1, 21.0, 1)
    assert (following.n, following.strip) == (2, 1)
    assert "place 2" in following.text
    for event in events:
        json.dumps(event.as_json(), allow_nan=False)


def test_two_batches_at_once_are_one_until_someone_says_yes() -> None:
    machine = started()
    pour(machine, 1)
    asked = machine.act("batch", 12.0)
    assert names(asked) == ["ask"]
    assert machine.bags_used == 1.0
    assert "batch" in names(machine.act("accept", 14.0))
    assert machine.bags_used == 2.0
    machine.act("batch", 15.0)
    machine.act("batch", 300.0)  # the ask lapses with the next act
    assert machine.bags_used == 3.0
    assert machine.act("accept", 301.0) == []


def test_undo_takes_back_the_last_entry_and_stops_at_the_start() -> None:
    machine = started()
    pour(machine, 3)
    machine.act("front", 300.0, "1")
    assert machine.front == 1
    assert one(machine.act("undo", 310.0), "undone").label == "front 1"
    assert machine.front == 0
    assert one(machine.act("undo", 320.0), "undone").label == "batch 3"
    machine.act("undo", 330.0)
    machine.act("undo", 340.0)
    past = machine.act("undo", 350.0)
    assert names(past) == ["trouble"]
    assert "nothing to undo" in text(past[0])
    assert machine.bags_used == 0.0


def test_ages_of_edges_count_from_the_water_and_fall_away_when_the_seam_is_closed() -> None:
    machine = started()
    machine.act("batch", 10.0)
    edges = one(machine.act("batch", 130.0), "edges")
    # Batch 1 meets 2 and 3, batch 2 meets 3 and 4: batch 1 is 120 s in place, 180 s before.
    assert edges.strips == (1,)
    assert edges.ages_s == pytest.approx((300.0,))
    assert edges.left_s == pytest.approx(900.0)
    edges = one(machine.act("batch", 250.0), "edges")
    assert edges.strips == (1, 2)
    assert edges.ages_s == pytest.approx((300.0, 180.0))  # batch 1 has met all its neighbours


def test_an_edge_is_warned_of_before_it_dies_and_called_dead_after_once_each() -> None:
    machine = started()
    machine.act("batch", 0.5)
    told = [e for t in range(1, 1400) for e in machine.tick(float(t)) if isinstance(e, Edge)]
    levels = [event.level for event in told]
    assert levels == ["pace", "soon", "dead"]
    soon, dead = told[1], told[2]
    assert soon.left_s == pytest.approx(300.0, abs=1.5)
    assert dead.age_s == pytest.approx(1200.0, abs=1.5)
    assert "stop" in dead.text


def test_no_spacing_of_ticks_changes_what_is_warned_of() -> None:
    def warned(every: float) -> list[tuple[float, int, str]]:
        machine = started()
        told: list[Any] = []
        at = 0.0
        for n in range(1, 24):
            while at + every < 77.7 * n:
                at += every
                told += machine.tick(at)
            if n < 8:
                told += machine.act("batch", 77.7 * n)
        return [(e.time_s, e.strip, e.level) for e in told if isinstance(e, Edge)]

    fine = warned(0.2)
    assert len(fine) > 2
    assert warned(7.3) == warned(60.0) == fine


def test_a_mixer_that_fails_is_told_by_the_pace_before_the_edge_is_in_danger() -> None:
    machine = started()
    events = pour(machine, 6, every=120.0)
    assert "edge" not in names(events)
    slow: list[Any] = []
    at = 10.0 + 5 * 120.0
    while not slow:
        at += 1.0
        slow = [e for e in machine.tick(at) if isinstance(e, Edge)]
    assert slow[0].level == "pace"
    assert slow[0].left_s > 600.0
    assert "stop" in slow[0].text


def test_fronts_re_estimate_the_need_and_say_early_that_bags_run_out() -> None:
    machine = started(plan(bags=20.0))
    said = None
    for n in range(1, 9):  # a bag covers 15 % less than planned
        machine.act("batch", n * 120.0)
        row = int(n * 0.85 / 2)
        if row > machine.front:
            said = one(machine.act("front", n * 120.0 + 20.0, str(row)), "estimate")
    assert there(said).short_bags >= 2
    assert there(said).yield_l < 11.0
    assert there(said).stop_at_strip is not None
    assert f"{there(said).short_bags} bags short" in there(said).text
    assert f"stop at strip {there(said).stop_at_strip}" in there(said).text
    assert machine.need.bags == pytest.approx(20.0 / 0.85, rel=0.06)


def test_bags_that_reach_are_said_to_reach() -> None:
    machine = started(plan(bags=30.0))
    pour(machine, 4)
    said = one(machine.act("front", 400.0, "2"), "estimate")
    assert said.short_bags == 0
    assert said.stop_at_strip is None
    assert "reach" in said.text


def test_a_covered_floor_is_short_of_nothing_whatever_it_took() -> None:
    machine = started(plan(bags=9.0))
    pour(machine, 10)
    said = one(machine.act("front", 1300.0, "10"), "estimate")
    assert (said.short_bags, said.stop_at_strip, said.chance_enough) == (0, None, 1.0)
    assert said.text.endswith(f"the floor took {machine.bags_used:g} bags.")


@pytest.mark.parametrize(
    ("units", "bag"), [("mm", r"11\.3 l \(± 2\.\d+ l\)"), ("in", r"0\.4 ft³ \(± 0\.07\d* ft³\)")]
)
def test_what_a_bag_makes_is_told_in_the_jobs_units(units: System, bag: str) -> None:
    machine = started(plan(units=units))
    pour(machine, 5)
    said = one(machine.act("front", 700.0, "2"), "estimate")
    assert re.match(f"A bag makes {bag}; the floor takes", said.text)
    done = one(machine.act("stop", 710.0), "done")
    assert re.search(rf"A bag made {bag}\.", done.text)
    assert done.yield_stderr_l == said.yield_stderr_l


def test_a_yield_that_its_doubt_swallows_is_called_unknown() -> None:
    told = plan(batches=200, bags=220.0)
    machine = started(replace(told, prior=replace(told.prior, yield_doubt=0.8)))
    pour(machine, 1)
    said = one(machine.act("front", 100.0, "1"), "estimate")
    assert 2 * said.yield_stderr_l >= said.yield_l
    assert said.text.startswith("What a bag makes is not known yet; the floor takes ")
    assert "±" not in said.text
    machine.act("undo", 105.0)
    assert names(machine.act("front", 110.0, "100")) == ["ask"]
    covered = one(machine.act("accept", 111.0), "estimate").text
    assert covered == "What a bag made is not known; the floor took 1 bag."
    assert "What a bag made is not known." in one(machine.act("stop", 120.0), "done").text


def test_a_front_that_so_few_bags_cannot_reach_asks_for_missed_batches() -> None:
    machine = started(plan(batches=20, bags=22.0))
    pour(machine, 1)
    machine.act("front", 100.0, "3")  # 6 of 20 bags
    told = machine.act("accept", 101.0)
    assert re.search(r"Were about [56] bags poured and not logged\?", one(told, "trouble").text)
    said = one(told, "estimate")
    assert "cannot have come so far" in said.text
    assert "stay over" not in said.text
    assert said.need_bags == pytest.approx(20.0)
    # As it asks: undo, log what was missed, say the front again.
    machine.act("undo", 110.0)
    pour(machine, 5, begin=120.0)
    again = machine.act("front", 800.0, "3")
    assert "trouble" not in names(again)
    assert one(again, "estimate").yield_l == pytest.approx(12.0, rel=0.1)


def test_markers_on_the_front_are_ticked_and_those_passed_over_are_called() -> None:
    machine = started()
    pour(machine, 8)
    assert one(machine.act("front", 900.0, "M1"), "front").markers == ("M1", "M2")
    skipped = machine.act("front", 910.0, "m5")
    assert one(skipped, "front").markers == ("M5", "M6")
    assert one(skipped, "dry").markers == ("M3", "M4")
    assert one(machine.act("front", 920.0, "M3"), "dry").markers == ("M4",)
    assert machine.front == 3
    assert "dry" not in names(machine.act("front", 930.0, "M4"))


def test_a_front_that_goes_back_is_asked_about_and_changes_nothing_until_yes() -> None:
    machine = started()
    pour(machine, 10)
    machine.act("front", 1200.0, "2")
    before = machine.need
    machine.act("front", 1210.0, "9")
    wrong = machine.need
    asked = machine.act("front", 1220.0, "4")
    assert names(asked) == ["ask"]
    assert "Strip 4 lies behind the front, which was told at strip 9" in text(asked[0])
    assert text(asked[0]).endswith("If M7, M8 got covered, say front with each.")
    assert (machine.front, machine.need) == (9, wrong)
    machine.act("tick", 1225.0, "dam")  # the ask lapses with the next act
    assert machine.act("accept", 1226.0) == []
    machine.act("front", 1230.0, "4")
    yes = machine.act("accept", 1231.0)
    assert one(yes, "front").strip == 4
    assert one(yes, "dry").markers == ("M1", "M2", "M5", "M6")
    assert "estimate" in names(yes)
    assert machine.front == 4
    assert machine.need not in (before, wrong)
    clean = started()
    pour(clean, 10)
    clean.act("front", 1200.0, "2")
    clean.act("front", 1210.0, "4")
    assert machine.need == clean.need
    assert one(machine.act("undo", 1240.0), "undone").label == "front 4"
    assert machine.need == before


def test_a_front_taken_back_to_one_told_before_is_that_one() -> None:
    machine = started()
    pour(machine, 4)
    machine.act("front", 500.0, "2")
    before = machine.need
    machine.act("front", 510.0, "7")
    machine.act("front", 520.0, "2")
    assert "estimate" in names(machine.act("accept", 521.0))
    assert (machine.front, machine.need) == (2, before)


def test_a_marker_that_was_passed_over_is_covered_without_moving_the_front() -> None:
    machine = started()
    pour(machine, 8)
    machine.act("front", 900.0, "1")
    assert one(machine.act("front", 910.0, "4"), "dry").markers == ("M3", "M4", "M5", "M6")
    told = one(machine.act("front", 930.0, "m5"), "front")
    assert (told.strip, told.share) == (4, pytest.approx(0.4))
    assert told.text == "Front at strip 4 of 10; M5 covered."
    again = one(machine.act("front", 940.0, "m5"), "ask")
    assert "M5 in strip 3 lies behind the front" in again.text
    assert machine.front == 4


@pytest.mark.parametrize("told", ["M99", "0", "11", "", None, "-1", "²"])
def test_fronts_that_are_none_are_told(told: str | None) -> None:
    machine = started()
    pour(machine, 1)
    refused = machine.act("front", 200.0, told)
    assert names(refused) == ["trouble"]
    assert "strips 1 to 10" in text(refused[0])
    assert machine.front == 0


def test_a_front_before_any_batch_and_one_far_off_are_told() -> None:
    machine = started()
    assert "No batch" in text(machine.act("front", 5.0, "1")[0])
    pour(machine, 2)
    slip = machine.act("front", 400.0, "9")
    assert "far ahead" in one(slip, "ask").text
    assert machine.front == 0
    assert "far ahead" in one(machine.act("front", 410.0, "5"), "trouble").text


def test_an_unticked_step_is_never_hidden() -> None:
    machine = Pouring(plan(), ticked=[key for key in ALL if key not in ("primer", "dam")])
    begun = machine.start(0.0)
    listed = one(begun, "prepour")
    assert listed.left == ("dam", "primer")
    assert "pinholes" in listed.text  # with why
    assert "dam, primer" in one(machine.act("batch", 10.0), "trouble").text
    machine.act("tick", 20.0, "dam")
    assert "There is no step" in text(machine.act("tick", 21.0, "roof")[0])
    assert one(machine.act("stop", 30.0), "done").unticked == ("primer",)


def test_more_bags_than_the_floor_can_take_are_called() -> None:
    machine = started(plan(batches=6, bags=8.0))
    events = pour(machine, 14)
    texts = [event.text for event in events if event.event == "trouble"]
    assert sum("used up" in text for text in texts) == 1
    assert sum("more than the whole floor" in text for text in texts) == 1
    assert any("All planned batches" in text for text in texts)


def test_stop_tells_what_went_in_and_what_is_left() -> None:
    machine = started()
    pour(machine, 6)
    machine.act("front", 700.0, "3")
    done = one(machine.act("stop", 710.0), "done")
    assert machine.finished
    assert (done.batches, done.bags_used, done.share) == (6, 6.0, pytest.approx(0.3))
    assert done.interval_s == pytest.approx(120.0)
    assert done.left[0] == "strip 4"
    assert machine.act("batch", 800.0) == []


def test_a_stop_with_batches_left_says_what_is_not_poured() -> None:
    machine = started()
    pour(machine, 6)
    machine.act("front", 700.0, "3")
    ended = machine.act("stop", 710.0)
    assert names(ended)[-2:] == ["trouble", "done"]
    said = one(ended, "trouble").text
    assert "14 of 20 planned batches (14 bags) are not poured" in said
    assert "Strips 4 to 10 are not told as covered" in said
    nearly = started()
    pour(nearly, 19)
    nearly.act("front", 2300.0, "9")
    said = one(nearly.act("stop", 2310.0), "trouble").text
    assert "1 of 20 planned batches (1 bag) is not poured. Strip 10 is not told" in said


@pytest.mark.parametrize(("batches", "front"), [(20, None), (15, "10"), (0, None)])
def test_a_stop_that_leaves_nothing_open_is_no_trouble(batches: int, front: str | None) -> None:
    machine = started()
    pour(machine, batches)
    if front:
        machine.act("front", 2500.0, front)
    machine.tick(6000.0)
    assert names(machine.act("stop", 6000.0)) == ["done"]


def test_a_log_that_was_cut_off_goes_on_with_the_true_ages() -> None:
    history = [(-700.0, "batch", None), (-580.0, "batch", None), (-570.0, "front", "1")]
    machine = Pouring(plan(), history, ALL, ["the clock was set"])
    events = machine.start(0.0)
    assert text(events[0]) == "the clock was set"
    resumed = one(events, "resumed")
    assert (resumed.batches, resumed.strip, resumed.since_s) == (2, 1, 580.0)
    assert one(events, "edges").ages_s == pytest.approx((880.0,))
    assert one(events, "next").n == 3
    assert one(machine.act("batch", 1.0), "batch").n == 3


def test_a_press_of_the_counter_is_a_batch_and_heights_are_none() -> None:
    machine = started()
    assert "batch" in names(machine.reading(Reading(5.0, 0.0, "B", "button")))
    assert machine.reading(Reading(60.0, 0.0, "x", "valid", 1234.0)) == []
    assert machine.lost(70.0) == machine.back(71.0) == machine.typed(1.0, 1.0, 72.0) == []


def test_a_plan_without_batches_is_refused() -> None:
    empty = plan()
    with pytest.raises(BadInput):
        Pouring(replace(empty, batches=()))


ACTS = st.lists(
    st.tuples(
        st.sampled_from(["batch", "front", "undo", "tick", "accept", "nonsense"]),
        st.sampled_from([None, "1", "3", "10", "M2", "m19", "dam", "x"]),
        st.floats(0.0, 400.0),
    ),
    max_size=40,
)


@settings(max_examples=60, deadline=None)
@given(ACTS)
def test_whatever_is_typed_the_log_holds_and_a_restart_knows_the_same(
    acts: list[tuple[str, str | None, float]],
) -> None:
    machine = started()
    at, history = 0.0, []
    for name, argument, gap in acts:
        at += gap
        for event in machine.act(name, at, argument):
            json.dumps(event.as_json(), allow_nan=False)
        machine.tick(at)
        history.append((at, name, argument))
    assert machine.bags_used >= 0.0
    assert machine.need.sd_bags > 0.0
    again = Pouring(plan(), [(t - at - 60.0, n, a) for t, n, a in history], ALL)
    again.start(0.0)
    assert again.bags_used == machine.bags_used
    assert again.front == machine.front
    assert again.need == machine.need


def ages(events: Any) -> dict[int, float]:
    found = [event for event in events if event.event == "edges"][-1]
    return dict(zip(found.strips, found.ages_s, strict=True))


def test_a_time_of_day_learnt_late_makes_what_was_poured_before_the_start_older() -> None:
    history = [(-200.0, "batch", None), (-60.0, "batch", None)]
    machine = started(history=history, by_day=1)
    machine.act("batch", 90.0)
    before = ages(machine.act("undo", 95.0))
    told = machine.act("clock", 100.0, "900.0")
    assert before[1] == pytest.approx(LEAD_S + 295.0)
    assert ages(told)[1] == pytest.approx(LEAD_S + 1200.0)
    assert "corrected" in text(told[0])
    assert [event.level for event in told if isinstance(event, Edge)][:1] == ["dead"]
    assert machine.bags_used == 2.0
    # Set once more, by less: it only adds up.
    assert ages(machine.act("clock", 101.0, "10.0"))[1] == pytest.approx(LEAD_S + 1211.0)


def test_a_clock_that_is_set_changes_no_age_that_the_steady_clock_tells() -> None:
    machine = started(history=[(-200.0, "batch", None)])
    told = machine.act("clock", 100.0, "900.0")
    assert "hold" in text(told[0])
    assert ages(machine.act("batch", 120.0))[1] == pytest.approx(LEAD_S + 320.0)


def test_after_a_sleep_the_edges_are_as_old_as_they_are() -> None:
    machine = started()
    machine.act("batch", 0.0)
    told = machine.act("awake", 1680.0)
    assert [event.level for event in told if isinstance(event, Edge)] == ["dead"]
    assert ages(told)[1] == pytest.approx(LEAD_S + 1680.0)
