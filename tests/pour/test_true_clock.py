"""Several sessions on one clock: power cuts, restarts, and clocks that were set."""

import pytest

from rig.pour.true_clock import Stretch, on_one_clock


def stretch(
    boot: str = "a",
    monotonic_s: float = 1000.0,
    utc_s: float = 1.7e9,
    at: tuple[float, float] = (10.0, 130.0),
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
