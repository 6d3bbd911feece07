import random
from itertools import pairwise
from statistics import mean, stdev

import pytest

from rig.guidance.live_value import LiveValue


def resting(noise_mm: float, play_mm: float = 0.0) -> tuple[LiveValue, list[float], random.Random]:
    """A live value that has seen ten seconds of a rod at rest at 1000 mm."""
    live, chance = LiveValue(0.01, play_mm), random.Random(1)
    shown = []
    for n in range(100):
        shown.append(live.add(n / 10, chance.gauss(1000.0, noise_mm)))
        if n >= 10:
            live.rests(noise_mm)
    return live, shown, chance


def test_a_rod_at_rest_is_shown_calmer_than_it_reads() -> None:
    _, shown, _ = resting(0.3)
    assert stdev(shown[20:]) < 0.3 * 0.75


def test_a_step_leaves_nothing_of_the_old_height_behind() -> None:
    live, _, chance = resting(0.3)
    after = [live.add(10.0 + n / 10, chance.gauss(1020.0, 0.3)) for n in range(5)]
    assert after[0] == pytest.approx(1020.0, abs=0.9)
    assert mean(after) == pytest.approx(1020.0, abs=0.3)


def test_a_step_within_a_run_of_readings_shows_no_lag_on_average() -> None:
    off = []
    for seed in range(200):
        live, _, _ = resting(0.3)
        chance = random.Random(seed)
        off += [live.add(10.0 + n / 10, chance.gauss(1020.0, 0.3)) - 1020.0 for n in range(4)]
    assert mean(off) == pytest.approx(0.0, abs=0.05)


def test_a_slow_turn_is_not_learnt_as_noise() -> None:
    live = LiveValue(0.01, 0.0)
    for n in range(30):
        live.add(n / 10, 1000.0 + 0.1 * n)
    live.rests(0.3)  # so wide is a window of such readings
    assert live.noise_mm == pytest.approx(0.0, abs=1e-9)


def test_play_keeps_a_height_on_a_border_from_jumping() -> None:
    def jumps(play_mm: float) -> int:
        _, shown, _ = resting(0.08, play_mm)
        sides = [height > 1000.0 for height in shown[20:]]
        return sum(a != b for a, b in pairwise(sides))

    assert jumps(0.08) < jumps(0.0)


def test_without_noise_nothing_is_smoothed() -> None:
    live = LiveValue(0.0, 0.08)
    heights = [1000.0, 1000.0, 1000.003, 1001.0, 999.0]
    assert [live.add(n / 10, height) for n, height in enumerate(heights)] == heights
