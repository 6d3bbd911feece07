import time

import pytest

from rig.devices import clock as clocks
from rig.devices.clock import Clock, steady_s
from rig.errors import BadInput


def test_a_clock_starts_at_zero_and_tells_the_time_of_day() -> None:
    time_s, utc_s = Clock().now()
    assert 0 <= time_s < 0.1
    assert utc_s == pytest.approx(time.time(), abs=0.1)


def test_a_fast_clock_runs_ahead() -> None:
    clock = Clock(speed=1000.0)
    time.sleep(0.01)
    assert 10 <= clock.now()[0] < 1000


def test_times_survive_six_decimals() -> None:
    clock = Clock()
    for _ in range(100):
        for value in clock.now():
            assert float(f"{value:.6f}") == value


@pytest.mark.parametrize("speed", [0.0, -1.0, float("nan"), float("inf")])
def test_an_impossible_speed_is_refused(speed: float) -> None:
    with pytest.raises(BadInput, match="speed"):
        Clock(speed)


def test_time_goes_on_while_the_computer_sleeps(monkeypatch: pytest.MonkeyPatch) -> None:
    """CLOCK_BOOTTIME is CLOCK_MONOTONIC that includes suspension (clock_gettime(2))."""
    asked = []

    def boot_time(which: int) -> float:
        asked.append(which)
        return 5000.0

    monkeypatch.setattr(time, "clock_gettime", boot_time)
    assert steady_s() == 5000.0
    assert asked == [time.CLOCK_BOOTTIME]
    assert clocks.RUNS_IN_SLEEP


def test_a_look_tells_of_a_gap_and_of_a_time_of_day_that_was_set(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    steady, day = [100.0], [1e9]
    monkeypatch.setattr(clocks, "steady_s", lambda: steady[0])
    monkeypatch.setattr(time, "time", lambda: day[0] + steady[0])
    clock = Clock(speed=50.0)
    steady[0] += 0.1
    assert clock.look() == pytest.approx((0.1, 0.0))
    steady[0] += 3600.0
    day[0] += 1500.0
    assert clock.look() == pytest.approx((3600.0, 1500.0))
    day[0] += 1.0  # as what keeps clocks right does
    assert clock.look() == (0.0, 0.0)
    day[0] -= 30.0
    assert clock.look() == pytest.approx((0.0, -29.0))
