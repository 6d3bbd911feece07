"""The time of a box brought to the session's, under simulated links."""

import itertools
import random

import pytest

from rig.devices.box_time import SLEW, WORST_S, BoxTime

BOX_AHEAD_S = 1234.5


def asked(clock: BoxTime, sent_s: float, there_s: float, back_s: float) -> bool:
    """A question that was `there_s` on its way, and an answer that was `back_s`."""
    return clock.answered(sent_s, sent_s + there_s + BOX_AHEAD_S, sent_s + there_s + back_s)


def test_the_shortest_trip_says_the_offset_and_half_of_it_is_the_doubt() -> None:
    clock = BoxTime()
    asked(clock, 1.0, 0.5, 0.1)  # lopsided and long
    asked(clock, 2.0, 0.002, 0.002)
    assert clock.session_s(BOX_AHEAD_S + 2000.0, 2000.1) == pytest.approx(2000.0, abs=1e-6)
    assert clock.doubt_s(2.004) == pytest.approx(0.002)
    assert clock.doubt_s(2.004 + 100.0) == pytest.approx(0.002 + 50e-6 * 100.0)


def test_a_slow_link_changes_no_spacing() -> None:
    rng = random.Random(5)
    clock, given, arrived_s = BoxTime(), [], 0.0
    for n in range(3000):
        sent_s = 10.0 + n / 50.0
        if n % 50 == 0:
            asked(clock, sent_s - 1.0, rng.uniform(0.0, 0.2), rng.uniform(0.0, 0.2))
        arrived_s = max(arrived_s, sent_s + rng.uniform(0.2, 1.0))
        given.append(clock.session_s(sent_s + BOX_AHEAD_S, arrived_s))
        assert given[-1] <= arrived_s
    steps = [b - a for a, b in itertools.pairwise(given)]
    assert max(abs(step - 0.02) for step in steps) <= 0.02 * SLEW + 1e-9
    assert abs(given[-1] - (10.0 + 2999 / 50.0)) < 0.1


def test_without_an_answer_messages_keep_their_spacing_too() -> None:
    rng = random.Random(6)
    clock, last_s = BoxTime(), 0.0
    given = []
    for n in range(500):
        sent_s = 10.0 + n / 10.0
        last_s = max(last_s, sent_s + rng.uniform(0.0, WORST_S))
        given.append(clock.session_s(sent_s + BOX_AHEAD_S, last_s))
        assert last_s - 2.0 <= given[-1] <= last_s
    assert given == pytest.approx([given[0] + n / 10.0 for n in range(500)], abs=1e-6)


def test_time_is_never_before_the_last_nor_after_its_arrival() -> None:
    rng = random.Random(7)
    clock, before_s, box_s, now_s = BoxTime(), float("-inf"), 0.0, 0.0
    for _ in range(2000):
        now_s += rng.expovariate(20.0)
        if rng.random() < 0.1:
            clock.answered(now_s - rng.random(), box_s, now_s)
        box_s += rng.expovariate(20.0)
        at_s = clock.session_s(box_s, now_s)
        assert before_s <= at_s <= max(now_s, before_s)
        before_s = at_s


def test_a_clock_that_turns_out_to_be_another_is_told() -> None:
    clock = BoxTime()
    assert asked(clock, 1.0, 0.01, 0.01)
    assert asked(clock, 2.0, 0.01, 0.01)
    assert not clock.answered(3.0, 3.01 + BOX_AHEAD_S - 20.0, 3.005)
