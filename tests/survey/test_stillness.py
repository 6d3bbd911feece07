import math
import random
import statistics

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.survey.stillness import StillWindow


def window(**changes: float) -> StillWindow:
    settings = {"dwell_s": 1.0, "still_mm": 0.5, "resolution_mm": 0.1, "foot_mm": 0.0}
    return StillWindow(**(settings | changes))


def fill(
    win: StillWindow, values: list[float], rate_hz: float = 10.0, start_s: float = 0.0
) -> StillWindow:
    for n, value in enumerate(values):
        win.add(start_s + n / rate_hz, value)
    return win


def noise(n: int, sd: float, seed: int = 1, mean: float = 1000.0) -> list[float]:
    rng = random.Random(seed)
    return [rng.gauss(mean, sd) for _ in range(n)]


def test_needs_the_dwell_and_five_samples() -> None:
    assert window().state() == "not enough"
    assert fill(window(), noise(9, 0.1)).state() == "not enough"
    assert fill(window(), noise(10, 0.1)).state() == "still"
    assert fill(window(), noise(4, 0.1), rate_hz=1.0).state() == "not enough"
    assert fill(window(), noise(5, 0.1, seed=2), rate_hz=1.0).state() == "still"
    assert fill(window(dwell_s=0.1), noise(4, 0.1), rate_hz=50.0).state() == "not enough"


def test_a_gap_of_two_seconds_starts_afresh() -> None:
    win = fill(window(), noise(10, 0.1))
    win.add(0.9 + 2.5, 1000.0)
    assert win.state() == "not enough"


def test_says_how_a_rod_that_is_not_still_behaves() -> None:
    assert fill(window(), [1000.0 + 3.0 * n for n in range(11)]).state() == "moving"
    assert fill(window(), noise(11, 3.0)).state() == "noisy"
    creeping = [1000.0 + 0.07 * n + e for n, e in enumerate(noise(11, 0.03, mean=0.0))]
    assert fill(window(), creeping).state() == "trending"
    assert fill(window(), noise(11, 0.3, seed=4)).state() == "still"


@pytest.mark.parametrize("sd", [1.3, 1.6, 2.5])
def test_a_noisy_rod_does_not_seem_still_by_waiting_for_luck(sd: float) -> None:
    lucky = 0
    for seed in range(10):
        win = window()
        for n, value in enumerate(noise(600, sd, seed)):
            win.add(n / 10.0, value)
            if win.state() == "still":
                lucky += 1
                break
    assert lucky <= 1


def test_a_rod_is_still_a_dwell_after_it_was_carried() -> None:
    win = fill(window(), [1000.0 + 7.0 * (-1) ** n * (n % 5) for n in range(100)])
    fill(win, noise(11, 0.1), start_s=10.0)
    assert win.state() == "still"


def test_a_jump_between_two_heights_is_not_still() -> None:
    assert fill(window(), [1000.0] * 7 + [1013.0] * 4).state() == "moving"


@pytest.mark.parametrize("share", [0.05, 0.3, 0.5, 0.7, 0.95])
def test_two_neighbouring_digits_are_still(share: float) -> None:
    rng = random.Random(2)
    values = [57.0 + (rng.random() < share) for _ in range(40)]
    assert fill(window(resolution_mm=1.0), values, rate_hz=40.0).state() == "still"


def test_a_coarser_digit_than_the_profile_says_is_learnt() -> None:
    rng = random.Random(2)
    sixteenth = 25.4 / 16.0
    values = [sixteenth * round(36.5 + rng.gauss(0.0, 0.2)) for _ in range(60)]
    win = fill(window(), values)
    assert win.resolution_mm == pytest.approx(sixteenth)
    assert win.state() == "still"
    assert fill(window(), noise(200, 0.3)).resolution_mm == 0.1


def test_resting_spread_widens_the_limit_by_its_median() -> None:
    win = window(still_mm=0.1, resolution_mm=0.01)
    for seed in range(5):
        fill(win, noise(11, 0.09, seed), start_s=20.0 * seed)
        assert win.state() in ("still", "noisy")
        win.learn(win.spread_mm)
    assert win.limit_mm == pytest.approx(4 * 0.09, rel=0.4)
    before = win.limit_mm
    fill(win, noise(11, 5.0), start_s=200.0)
    win.learn(win.spread_mm)  # one loose window hardly moves a median
    assert win.limit_mm < 1.5 * before


def test_value_is_the_plain_mean_with_the_textbook_error() -> None:
    # Two-term budget by hand, JCGM 100: s²/n of independent readings and foot².
    values = [1000.0, 1000.2, 1000.1, 1000.11] * 5  # no positive lag-1 correlation
    reading, stderr, n = fill(window(resolution_mm=0.0, foot_mm=0.3), values, 20.0).value()
    assert reading == pytest.approx(1000.1025)
    assert n == 20
    hand = math.hypot(statistics.stdev(values) / math.sqrt(20), 0.3)
    assert stderr == pytest.approx(hand, rel=1e-3)


def test_a_still_digit_leaves_the_doubt_of_its_width() -> None:
    # A rectangular distribution one digit wide has variance 1/12 (JCGM 100:2008, 4.3.7).
    _, stderr, _ = fill(window(resolution_mm=1.0), [57.0] * 11).value()
    assert stderr == pytest.approx(1.0 / math.sqrt(12.0))


def test_outliers_do_not_pull_the_value() -> None:
    values = noise(20, 0.1)
    values[3], values[11] = 1100.0, 870.0
    win = fill(window(), values, rate_hz=20.0)
    assert win.state() == "still"
    reading, _, n = win.value()
    assert n == 18
    assert reading == pytest.approx(1000.0, abs=0.08)


def test_stated_error_is_the_actual_one_for_correlated_noise() -> None:
    # First-order autoregressive noise, the mean's true error found by repetition (numpy).
    rng = np.random.default_rng(5)
    rho, sd, errors, stated = 0.6, 0.2, [], []
    for _ in range(400):
        shocks = rng.normal(0.0, sd * math.sqrt(1 - rho**2), 150)
        x = np.zeros(150)
        for n in range(1, 150):
            x[n] = rho * x[n - 1] + shocks[n]
        win = fill(window(resolution_mm=0.0), [float(v) for v in x[50:]], rate_hz=100.0)
        reading, stderr, _ = win.value()
        errors.append(reading)
        stated.append(stderr)
    assert np.sqrt(np.mean(np.square(stated))) == pytest.approx(np.std(errors), rel=0.15)


@given(st.lists(st.floats(-1e5, 1e5), min_size=10, max_size=40))
def test_value_lies_within_the_readings(values: list[float]) -> None:
    reading, stderr, n = fill(window(dwell_s=10.0), values).value()
    assert min(values) - 1e-6 <= reading <= max(values) + 1e-6
    assert stderr > 0
    assert 1 <= n <= len(values)


def test_memory_is_bounded() -> None:
    win = window(dwell_s=5.0)
    for n in range(30_000):
        win.add(n / 5000.0, 1000.0)
    assert win.state() == "still"
    assert win.value()[2] <= 2100


def test_how_the_foot_came_down_does_not_pull_the_shot() -> None:
    """A foot bounces to rest within half a second, always from above: readings start too small."""
    rng = random.Random(4)
    errors = []
    window = StillWindow(1.0, 0.5, 0.1, 0.1)
    for _ in range(80):
        window.clear()
        error = 0.0
        for n in range(100):
            since_s = n / 20.0
            bounce = 8.0 * math.exp(-since_s / 0.12) * abs(math.cos(25.0 * since_s))
            error = 0.53 * error + rng.gauss(
                0.0, 0.127
            )  # 0.15 mm, as a receiver's filter leaves it
            window.add(since_s, round(1200.0 - bounce + error, 1))
            if window.state() == "still":
                break
        window.learn(window.spread_mm)
        errors.append(window.value()[0] - 1200.0)
    assert abs(sum(errors) / len(errors)) < 0.1
