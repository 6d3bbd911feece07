"""Several sessions on one clock: power cuts, restarts, and clocks that were set."""

import pytest

from rig.pour.true_clock import Stretch, before_this_start, on_one_clock


def stretch(
    boot: str = "a",
    monotonic_s: float = 1000.0,
    utc_s: float = 1.7e9,
    at: tuple[float, ...] = (10.0, 130.0),
    last_utc_s: float | None = None,
) -> Stretch:
    last = at[-1]
    return Stretch(boot, monotonic_s, utc_s, tuple((t, "batch", None) for t in at), last,
                   utc_s + last if last_utc_s is None else last_utc_s)  # fmt: skip


def times(acts: list[tuple[float, str, str | None]]) -> list[float]:
    return [time_s for time_s, _, _ in acts]


def test_the_same_boot_counts_by_the_steady_clock_whatever_the_time_of_day() -> None:
    acts, notes = on_one_clock([stretch()], "a", 1430.0, 1.7e9 - 5000.0)
    assert times(acts) == pytest.approx([-420.0, -300.0])
    assert notes == []


def test_after_a_power_cut_the_time_of_day_counts() -> None:
    acts, notes = on_one_clock([stretch()], "b", 12.0, 1.7e9 + 430.0)
    assert times(acts) == pytest.approx([-420.0, -300.0])
    assert notes == []


def test_a_clock_set_back_while_the_log_was_off_is_told_and_ages_are_no_less_than_known() -> None:
    acts, notes = on_one_clock([stretch()], "b", 12.0, 1.7e9 - 3600.0)
    assert times(acts) == pytest.approx([-120.0, 0.0])
    assert "set back" in notes[0]


def test_a_clock_set_during_the_pour_is_told_and_does_not_bend_the_ages() -> None:
    set_back = stretch(last_utc_s=1.7e9 + 130.0 - 3600.0)
    acts, notes = on_one_clock([set_back], "b", 12.0, 1.7e9 + 430.0 - 3600.0)
    assert times(acts) == pytest.approx([-420.0, -300.0])
    assert "set back by 60 min" in notes[0]
    assert "hold" in notes[0]


def test_three_sessions_follow_one_another() -> None:
    first = stretch()
    second = stretch(monotonic_s=1200.0, utc_s=1.7e9 + 200.0, at=(5.0, 50.0))
    third_begins = ("b", 9.0, 1.7e9 + 400.0)
    acts, notes = on_one_clock([first, second], *third_begins)
    assert times(acts) == pytest.approx([-390.0, -270.0, -195.0, -150.0])
    assert notes == []
    assert on_one_clock([], "a", 0.0, 0.0) == ([], [])


def test_a_time_of_day_learnt_after_a_start_corrects_what_was_poured_before_it() -> None:
    """Without a clock battery the computer wakes up in the past, and is told later."""
    first = stretch()
    # Begun 300 s after the first ended, by a clock that stood at its last second till it was set.
    late = stretch("b", 20.0, 1.7e9 + 130.0, (5.0, 50.0), 1.7e9 + 130.0 + 50.0 + 300.0)
    acts, notes = on_one_clock([first, late], "b", 90.0, 1.7e9 + 500.0)
    assert times(acts) == pytest.approx([-490.0, -370.0, -65.0, -20.0])
    assert "set on by 5 min after the computer had started" in notes[0]
    # Learnt between two sessions of one start: the later one knows.
    unset = stretch("b", 20.0, 1.7e9 + 130.0, (5.0, 50.0))
    again, _ = on_one_clock([first, unset], "b", 90.0, 1.7e9 + 500.0)
    assert times(again) == pytest.approx(times(acts))


def test_what_is_from_before_this_start_hangs_on_the_time_of_day() -> None:
    here, there = stretch("b"), stretch("a", at=(10.0, 20.0, 30.0))
    assert before_this_start([there, here], "b") == 3
    assert before_this_start([there, here], "c") == 5
    assert before_this_start([here], "b") == before_this_start([], "b") == 0
