import time

import pytest

from rig.devices.clock import Clock
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
