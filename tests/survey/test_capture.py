import random
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rig.devices.reading import Reading, Status
from rig.events import ShotTaken
from rig.survey.capture import Capture, Stand
from rig.survey.doubted import Begun
from tests.survey.walker import STANDS, Walker, capture


def test_a_walk_gives_every_point_its_shot_in_order() -> None:
    walker = Walker(capture())
    heights = [1000.0, 1003.2, 998.5, 1003.1, 1000.4]
    for height in heights:
        walker.stand(height, 1.5).walk()
    assert walker.labels == ["A1", "A2", "A3", "A4", "A5"]
    for shot, height in zip(walker.shots, heights, strict=True):
        assert shot.reading_mm == pytest.approx(height, abs=0.1)
        assert 0.1 < shot.stderr_mm < 0.15
    assert walker.machine.finished
    assert walker.said[-1].as_json() == {"event": "done", "shots": 5, "skipped": []}


def test_start_names_the_point_and_arms_it_at_once() -> None:
    said = capture().start(0.0)
    assert [event.as_json() for event in said] == [
        {"event": name, "label": "A1", "x_mm": 100.0, "y_mm": 50.0, "text": text}
        for name, text in (
            ("next", "A1: 1 ft from the door wall"),
            ("armed", "A1: 1 ft from the door wall"),
        )
    ]


def test_a_shot_is_followed_by_where_to_go_and_then_by_armed() -> None:
    walker = Walker(capture()).stand(1000.0, 1.2).walk().stand(1005.0, 0.5)
    names = [event.event for event in walker.said]
    assert names == ["next", "armed", "shot", "next", "armed"]


def test_shot_waits_until_the_rod_moved() -> None:
    walker = Walker(capture()).stand(1000.0, 60.0)
    assert walker.labels == ["A1"]
    assert walker.heard("ask") == walker.heard("trouble") == []
    walker.carry(1.5).stand(1000.0, 1.2)
    assert walker.labels == ["A1", "A2"]


def test_shot_waits_until_the_rod_is_still() -> None:
    walker = Walker(capture())
    for n in range(40):
        walker.read(1000.0 + n)
    assert walker.labels == []
    walker.stand(1040.0, 1.3)
    assert walker.labels == ["A1"]
    assert walker.shots[0].reading_mm == pytest.approx(1040.0, abs=0.2)


def test_a_rod_that_sinks_slowly_waits_until_it_stopped() -> None:
    walker = Walker(capture())
    for n in range(50):
        walker.read(1000.0 + 0.1 * n)  # a millimetre a second
    assert walker.labels == []
    walker.stand(1005.0, 1.3)
    assert walker.shots[0].reading_mm == pytest.approx(1005.0, abs=0.15)


def test_a_body_in_the_beam_takes_nothing() -> None:
    walker = Walker(capture()).stand(1000.0, 2.0)
    walker.walk(0.7).stand(1000.0, 5.0)
    walker.walk(0.8).stand(1000.0, 5.0)
    assert walker.labels == ["A1"]


def test_same_height_after_a_short_gap_asks_once_and_a_press_takes_it() -> None:
    walker = Walker(capture()).stand(1000.0, 2.0).walk(0.7).stand(1000.0, 3.0)
    walker.walk(0.7).stand(1000.0, 3.0)
    (ask,) = walker.heard("ask")
    assert ask.as_json() == {
        "event": "ask",
        "label": "A2",
        "text": "same height as A1: still there? press to take it as A2",
    }
    walker.press().stand(1000.0, 1.5)
    assert walker.labels == ["A1", "A2"]


def test_single_flickers_of_the_beam_neither_arm_nor_ask() -> None:
    walker = Walker(capture()).stand(1000.0, 2.0)
    for _ in range(30):
        walker.walk(0.1).stand(1000.0, 1.5)
    assert walker.labels == ["A1"]
    assert walker.heard("ask") == []


def test_passing_through_the_old_height_does_not_stop_the_count_of_a_walk() -> None:
    walker = Walker(capture()).stand(1000.0, 1.5)
    for _ in range(4):
        walker.walk(0.4).stand(1000.0, 0.1)
    walker.stand(1000.0, 1.5)
    assert walker.labels == ["A1", "A2"]


def test_standing_still_at_another_height_arms() -> None:
    walker = Walker(capture(walk_s=1.0)).stand(1000.0, 2.0)
    walker.stand(1010.0, 0.9)
    assert walker.labels == ["A1"]
    walker.stand(1010.0, 0.4)
    assert walker.labels == ["A1", "A2"]
    assert walker.shots[1].reading_mm == pytest.approx(1010.0, abs=0.1)


def test_a_longer_walk_is_waited_for() -> None:
    walker = Walker(capture(walk_s=3.0)).stand(1000.0, 2.0).walk(2.5).stand(1000.0, 2.0)
    assert walker.labels == ["A1"]
    walker.walk(3.5).stand(1000.0, 2.0)
    assert walker.labels == ["A1", "A2"]


def test_a_resumed_walk_is_not_armed_where_it_stopped() -> None:
    walker = Walker(capture(STANDS[2:], last_shot_mm=1000.0, last_label="A2"))
    walker.stand(1000.0, 5.0)
    assert walker.labels == []
    assert "A2" in walker.heard("ask")[0].as_json()["text"]
    walker.walk(1.5).stand(1000.0, 1.5)
    assert walker.labels == ["A3"]


def test_a_walk_behind_a_sight_asks_nothing_while_the_rod_stands_there_still() -> None:
    begun = Begun(stays=True)
    walker = Walker(capture(STANDS[2:], last_shot_mm=1000.0, last_label="BM1", begun=begun))
    walker.stand(1000.0, 5.0)
    assert not walker.labels
    assert not walker.heard("ask")
    walker.walk(1.5).stand(1000.0, 1.5)
    assert walker.labels == ["A3"]


@pytest.mark.parametrize("rate_hz", [1.0, 5.0, 12.5, 50.0, 200.0])
def test_slow_and_fast_rods_are_served(rate_hz: float) -> None:
    walker = Walker(capture(STANDS[:3]), rate_hz=rate_hz)
    for height in (1000.0, 1004.0, 1004.1):
        walker.stand(height, max(1.5, 6.0 / rate_hz)).walk(4.0)
    assert walker.labels == ["A1", "A2", "A3"]
    assert all(shot.n >= 5 for shot in walker.shots)


@pytest.mark.parametrize("digit_mm", [1.0, 25.4 / 16.0])
@pytest.mark.parametrize("known", [True, False])
def test_a_coarse_rod_that_flickers_between_two_digits_is_still(
    digit_mm: float, known: bool
) -> None:
    resolution = digit_mm if known else 0.1
    walker = Walker(
        capture(STANDS, resolution_mm=resolution), digit_mm=digit_mm, noise_mm=0.2, seed=7
    )
    heights = [digit_mm * (600.0 + k + 0.5) for k in (0, 5, -4, 3, 9)]  # on the edge of a digit
    for height in heights:
        walker.stand(height, 4.0).walk()
    assert walker.labels == ["A1", "A2", "A3", "A4", "A5"]
    for shot, height in zip(walker.shots, heights, strict=True):
        assert shot.reading_mm == pytest.approx(height, abs=0.51 * digit_mm)
    assert walker.shots[-1].stderr_mm > digit_mm / 12**0.5


def test_a_noisy_rod_is_told_once_a_point_with_its_spread_and_the_limit() -> None:
    walker = Walker(capture(), noise_mm=1.6).stand(1000.0, 60.0)
    assert walker.labels == []
    assert walker.reasons() == ["noisy"]
    text = walker.heard("trouble")[0].as_json()["text"]
    assert "too noisy to settle: readings spread 1." in text
    assert "the limit is 0.5 mm (--still)" in text


def test_a_wider_limit_serves_a_noisy_rod() -> None:
    walker = Walker(capture(still_mm=3.0), noise_mm=1.6).stand(1000.0, 2.0)
    assert walker.labels == ["A1"]


def test_a_flickering_beam_is_told() -> None:
    walker = Walker(capture())
    for _ in range(20):
        walker.stand(1000.0, 0.4).walk(0.1)
    assert walker.labels == []
    assert walker.reasons() == ["flicker"]


def test_standing_without_beam_is_told() -> None:
    walker = Walker(capture()).walk(7.9)
    assert walker.reasons() == []
    walker.walk(20.0)
    assert walker.reasons() == ["no_beam"]
    assert walker.heard("trouble")[0].as_json()["text"] == "no beam: turn the receiver to the laser"


def test_a_few_false_readings_do_not_shift_a_shot() -> None:
    walker = Walker(capture())
    for n in range(12):
        walker.read(1000.0 if n != 5 else 1300.0)
    assert walker.shots[0].reading_mm == pytest.approx(1000.0, abs=0.1)


def test_bad_readings_are_ignored_and_a_low_battery_still_reads() -> None:
    walker = Walker(capture())
    for n in range(12):
        walker.read(1000.0, "low_battery")
        walker.send("bad", 5000.0 if n % 2 else None)
    assert walker.labels == ["A1"]
    assert walker.reasons() == []


# The button


def test_one_press_takes_the_height_at_the_press_once_the_second_is_over() -> None:
    walker = Walker(capture(walk_s=30.0)).stand(1000.0, 1.5).walk(1.0).stand(1007.0, 2.0)
    assert walker.labels == ["A1"]
    pressed_s = walker.time_s
    walker.press().walk(0.9)
    assert walker.labels == ["A1"]
    walker.walk(0.2)
    assert walker.labels == ["A1", "A2"]
    assert walker.shots[1].time_s == pressed_s
    assert walker.shots[1].reading_mm == pytest.approx(1007.0, abs=0.1)


def test_a_press_where_the_stand_gave_its_shot_is_ignored() -> None:
    walker = Walker(capture()).stand(1000.0, 1.5).press().stand(1000.0, 3.0)
    assert walker.labels == ["A1"]
    assert walker.heard("trouble") == []


def test_a_press_while_the_rod_moves_says_to_hold_still() -> None:
    walker = Walker(capture()).carry(2.0).press().carry(1.5)
    assert walker.labels == []
    assert walker.reasons() == ["accept"]


def test_two_presses_undo_and_the_point_is_armed_anew() -> None:
    walker = Walker(capture()).stand(1000.0, 1.5).walk().stand(1004.0, 1.5).press(2)
    walker.stand(1004.0, 5.0)
    assert [event.as_json()["label"] for event in walker.heard("undone")] == ["A2"]
    assert walker.labels == ["A1", "A2"]
    walker.walk().stand(1008.0, 1.5)
    assert walker.labels == ["A1", "A2", "A2"]


def test_undo_at_the_next_stand_does_not_take_that_stand_for_the_undone_point() -> None:
    walker = Walker(capture()).stand(1000.0, 1.5).walk().stand(1008.0, 0.6).press(2)
    walker.stand(1008.0, 5.0)
    assert walker.labels == ["A1"]
    walker.walk().stand(1000.0, 1.5)
    assert walker.labels == ["A1", "A1"]


def test_undo_goes_back_to_the_start_of_the_session_and_then_says_so() -> None:
    walker = Walker(capture()).stand(1000.0, 1.5).walk().stand(1004.0, 1.5)
    walker.act("undo").act("undo").act("undo")
    assert [event.as_json()["label"] for event in walker.heard("undone")] == ["A2", "A1"]
    assert walker.heard("trouble")[-1].as_json()["text"] == "nothing more to undo"


def test_three_presses_or_more_skip_the_point() -> None:
    walker = Walker(capture(STANDS[:3])).stand(1000.0, 1.5).walk(0.5).press(4).walk(2.0)
    walker.stand(1001.0, 1.5)
    assert walker.labels == ["A1", "A3"]
    assert walker.said[-1].as_json() == {"event": "done", "shots": 2, "skipped": ["A2"]}


def test_auto_capture_waits_while_presses_are_counted() -> None:
    walker = Walker(capture(dwell_s=1.0)).stand(1000.0, 0.9).press(3)
    walker.stand(1000.0, 0.6)  # still by now, but the skip is not out yet
    assert walker.labels == []
    walker.stand(1000.0, 1.0)
    assert walker.labels == []
    assert [event.as_json()["label"] for event in walker.heard("skipped")] == ["A1"]


def test_a_press_with_a_value_is_a_sample_too() -> None:
    walker = Walker(capture()).stand(1000.0, 1.5).walk()
    for _ in range(10):
        walker.read(1005.0)
    n = walker.shots[-1].n
    twin = Walker(capture()).stand(1000.0, 1.5).walk()
    for k in range(10):
        twin.read(1005.0, "button" if k == 0 else "valid")
    twin.stand(1005.0, 0.3)
    assert twin.labels == ["A1", "A2"]
    assert twin.shots[-1].n >= n


def test_walking_on_within_the_button_second_still_counts_as_the_walk() -> None:
    walker = Walker(capture()).stand(1000.0, 1.5).walk(0.5).stand(1000.0, 1.5)
    walker.press().walk(1.5).stand(1000.0, 1.5)
    assert walker.labels == ["A1", "A2", "A3"]


# Keys


def test_keys_act_at_once() -> None:
    walker = Walker(capture(walk_s=30.0)).stand(1000.0, 1.5).walk(1.0).stand(1003.0, 1.5)
    walker.act("accept")
    assert walker.labels == ["A1", "A2"]
    walker.act("accept")
    assert walker.labels == ["A1", "A2"]
    walker.act("skip").act("goto", "a1")
    assert walker.heard("next")[-1].as_json()["label"] == "A1"
    walker.walk(31.0).stand(1001.0, 1.5)
    assert walker.labels == ["A1", "A2", "A1"]
    assert walker.heard("next")[-1].as_json()["label"] == "A4"
    walker.act("goto", "Z9").act("quit")
    assert walker.reasons() == ["goto"]
    assert walker.said[-1].as_json() == {"event": "done", "shots": 2, "skipped": ["A3"]}


def test_a_skipped_point_can_be_gone_back_to() -> None:
    walker = Walker(capture(STANDS[:2])).act("skip").act("goto", "A1")
    walker.stand(1000.0, 1.5).walk().stand(1002.0, 1.5)
    assert walker.labels == ["A1", "A2"]
    assert walker.said[-1].as_json()["skipped"] == []


def test_readings_by_eye_are_shots_at_once() -> None:
    machine = capture(STANDS[:2])
    machine.start(0.0)
    said = machine.typed(1001.0, 0.7, 3.0) + machine.typed(1002.0, 0.7, 4.0)
    assert [event.event for event in said] == ["shot", "next", "shot", "done"]
    assert said[0].as_json() == {
        "event": "shot",
        "label": "A1",
        "x_mm": 100.0,
        "y_mm": 50.0,
        "reading_mm": 1001.0,
        "stderr_mm": 0.7,
        "n": 1,
        "kind": "floor",
        "time_s": 3.0,
    }


def test_a_benchmark_has_no_place() -> None:
    walker = Walker(capture([Stand("BM1")], kind="benchmark")).stand(900.0, 1.5)
    shot = walker.shots[0].as_json()
    assert (shot["label"], shot["x_mm"], shot["kind"]) == ("BM1", None, "benchmark")
    assert walker.machine.finished


def test_points_that_have_their_shot_are_not_asked_for() -> None:
    walker = Walker(capture(done=["A1", "A2", "A4"])).stand(1000.0, 1.5).walk().stand(1001.0, 1.5)
    assert walker.labels == ["A3", "A5"]
    assert [event.event for event in capture(done=["A1", "A2", "A3", "A4", "A5"]).start(0.0)] == [
        "done"
    ]


# The link


def test_readings_from_both_sides_of_a_gap_never_share_a_shot() -> None:
    walker = Walker(capture()).stand(1000.0, 0.9)
    walker.said += walker.machine.lost(walker.time_s + 0.01)
    walker.said += walker.machine.back(walker.time_s + 0.05)
    walker.stand(1000.0, 0.9)
    assert walker.labels == []
    walker.stand(1000.0, 0.2)
    assert walker.labels == ["A1"]


def test_a_lost_link_does_not_arm() -> None:
    walker = Walker(capture()).stand(1000.0, 1.5)
    walker.said += walker.machine.lost(walker.time_s + 0.1)
    walker.time_s += 30.0
    walker.said += walker.machine.back(walker.time_s)
    walker.stand(1000.0, 5.0)
    assert walker.labels == ["A1"]
    assert len(walker.heard("ask")) == 1


def test_armed_stays_armed_over_a_lost_link() -> None:
    walker = Walker(capture()).stand(1000.0, 1.5).walk()
    walker.said += walker.machine.lost(walker.time_s + 0.1)
    walker.time_s += 30.0
    walker.said += walker.machine.back(walker.time_s)
    walker.stand(1000.0, 1.5)
    assert walker.labels == ["A1", "A2"]


def test_silence_is_no_walk() -> None:
    walker = Walker(capture()).stand(1000.0, 1.5)
    walker.time_s += 20.0
    walker.stand(1000.0, 3.0)
    assert walker.labels == ["A1"]
    assert len(walker.heard("ask")) == 1


# Whatever comes in

STEPS = st.lists(
    st.one_of(
        st.tuples(st.just("stand"), st.integers(0, 5), st.floats(0.1, 3.0)),
        st.tuples(st.just("walk"), st.just(0), st.floats(0.1, 3.0)),
        st.tuples(st.just("carry"), st.just(0), st.floats(0.1, 2.0)),
        st.tuples(st.just("press"), st.integers(1, 4), st.just(0.0)),
        st.tuples(
            st.sampled_from(["accept", "undo", "skip", "goto", "lost"]),
            st.integers(0, 4),
            st.just(0.0),
        ),
    ),
    max_size=25,
)


def play(
    steps: list[tuple[str, int, float]], tick_seed: int | None = None, **changes: Any
) -> tuple[Walker, list[tuple[float, int]]]:
    walker = Walker(capture(**changes), seed=3)
    ticks = random.Random(tick_seed)
    machine, lost = walker.machine, []

    def tick() -> None:
        if tick_seed is not None and ticks.random() < 0.5:
            walker.said += machine.tick(walker.time_s + ticks.uniform(0.0, 0.1))

    for name, number, seconds in steps:
        before = walker.time_s
        tick()
        match name:
            case "stand":
                for _ in range(round(seconds * 10)):
                    walker.read(1000.0 + 0.8 * number)
                    tick()
            case "walk" | "carry":
                getattr(walker, name)(seconds)
            case "press":
                walker.press(number)
            case "goto":
                walker.act("goto", f"A{number + 1}")
            case "lost":
                walker.said += machine.lost(walker.time_s + 0.02)
                walker.said += machine.back(walker.time_s + 0.03)
                lost.append((before, len(walker.shots)))
            case _:
                walker.act(name)
    walker.said += machine.tick(walker.time_s + 30.0)
    return walker, lost


@settings(max_examples=60, deadline=None)
@given(steps=STEPS, tick_seed=st.integers(0, 1000))
def test_ticks_never_change_what_is_said(
    steps: list[tuple[str, int, float]], tick_seed: int
) -> None:
    assert play(steps)[0].said == play(steps, tick_seed)[0].said


@settings(max_examples=60, deadline=None)
@given(steps=STEPS)
def test_shots_that_stand_are_never_more_than_the_points(
    steps: list[tuple[str, int, float]],
) -> None:
    walker, _ = play([step for step in steps if step[0] != "goto"])
    undone = [event for event in walker.heard("undone") if "what" not in event.as_json()]
    standing = len(walker.shots) - len(undone)
    assert 0 <= standing <= len(STANDS)
    if walker.machine.finished:
        done = walker.said[-1].as_json()
        assert done["shots"] + len(done["skipped"]) == len(STANDS)


@settings(max_examples=60, deadline=None)
@given(steps=STEPS)
def test_no_shot_spans_a_lost_link(steps: list[tuple[str, int, float]]) -> None:
    # Without presses, which may fire later for a window before the gap.
    walker, lost = play([step for step in steps if step[0] != "press"])
    for lost_s, shots_before in lost:
        for shot in walker.shots[shots_before:]:
            assert shot.time_s - lost_s >= 0.9 - 1e-9


@settings(max_examples=40, deadline=None)
@given(
    inputs=st.lists(
        st.tuples(
            st.sampled_from(["valid", "no_beam", "button", "low_battery", "bad"]),
            st.floats(-1e6, 1e6) | st.none(),
            st.floats(-100.0, 100.0),
        ),
        max_size=60,
    ),
    rock=st.booleans(),
)
def test_any_readings_at_any_times_are_survived(
    inputs: list[tuple[Status, float | None, float]], rock: bool
) -> None:
    machine = Capture(STANDS, rock=rock)
    said = machine.start(0.0)
    for status, value, time_s in inputs:
        said += machine.reading(Reading(time_s, time_s, "", status, value))
    assert sum(isinstance(event, ShotTaken) for event in said) <= len(STANDS)


def test_a_press_learns_from_the_stand_not_from_the_walk_after_it() -> None:
    walker = Walker(capture(), rate_hz=20.0).press(3).stand(1000.0, 1.3)
    walker.press().carry(2.0)
    assert walker.labels == ["A2"]
    walker.carry(6.0)
    assert walker.labels == ["A2"]
