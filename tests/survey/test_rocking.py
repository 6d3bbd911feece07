import math
import random
import statistics
from collections.abc import Iterator

import pytest

from rig.survey.rocking import RockWindow
from tests.survey.walker import STANDS, Walker, capture


def swings(
    height: float,
    seed: int,
    *,
    rate_hz: float = 50.0,
    seconds: float = 8.0,
    tilt_deg: float = 8.0,
    period_s: float = 2.4,
    noise: float = 0.3,
) -> Iterator[tuple[float, float]]:
    """Readings of a rod swung through plumb: height / cos(tilt), plus noise."""
    rng = random.Random(seed)
    phase = rng.uniform(0.0, 2.0 * math.pi)
    wobble = rng.uniform(0.85, 1.15)
    for n in range(round(rate_hz * seconds)):
        t = n / rate_hz
        tilt = math.radians(tilt_deg * wobble) * math.sin(2.0 * math.pi * t / period_s + phase)
        yield t, height / math.cos(tilt) + rng.gauss(0.0, noise)


def test_the_vertex_is_unbiased_where_the_lowest_reading_is_low() -> None:
    heights, lowest, errors = [], [], []
    for seed in range(60):
        window = RockWindow(0.5, 0.1, 0.0)
        readings = list(swings(1300.0, seed))
        for t, value in readings:
            window.add(t, value)
            if window.state() == "still":
                break
        assert window.state() == "still"
        height, stderr, n = window.value()
        assert n >= 15
        heights.append(height - 1300.0)
        lowest.append(min(value for _, value in readings) - 1300.0)
        errors.append(stderr)
    assert statistics.mean(lowest) < -0.3
    assert abs(statistics.mean(heights)) < 0.1
    assert statistics.pstdev(heights) == pytest.approx(
        math.sqrt(statistics.mean(e**2 for e in errors)), rel=0.4
    )


@pytest.mark.parametrize("rate_hz", [20.0, 100.0])
def test_other_rates(rate_hz: float) -> None:
    off = []
    for seed in range(30):
        window = RockWindow(0.5, 0.1, 0.0)
        for t, value in swings(1300.0, seed, rate_hz=rate_hz, seconds=15.0, noise=0.1):
            window.add(t, value)
        if window.state() == "still":
            off.append(window.value()[0] - 1300.0)
    assert len(off) >= 25
    assert abs(statistics.mean(off)) < 0.1


def test_a_rod_that_is_not_swung_gives_nothing() -> None:
    window = RockWindow(0.5, 0.1, 0.1)
    rng = random.Random(1)
    for n in range(3000):
        window.add(n / 50.0, 1300.0 + rng.gauss(0.0, 0.3))
    assert window.state() == "not enough"


def test_swings_about_different_spots_do_not_agree() -> None:
    window = RockWindow(0.5, 0.1, 0.1)
    for t, value in swings(1300.0, 3, seconds=10.0):
        window.add(t, value + 4.0 * math.floor(t / 1.2))
    assert window.state() != "still"


def test_a_rocked_walk_gives_a_shot_a_stand() -> None:
    walker = Walker(capture(STANDS[:3], rock=True), rate_hz=50.0)

    def rock(height: float, seed: int, seconds: float = 8.0) -> None:
        for _, value in swings(height, seed, noise=0.2, seconds=seconds):
            walker.send("valid", value)

    rock(1300.0, 1)
    assert walker.labels == ["A1"]
    rock(1300.0, 2, 20.0)  # going on at the same stand is no new one
    assert walker.labels == ["A1"]
    walker.walk()
    rock(1300.0, 3)
    assert walker.labels == ["A1", "A2"]
    rock(1305.0, 4)
    assert walker.labels == ["A1", "A2", "A3"]
    for shot, height in zip(walker.shots, (1300.0, 1300.0, 1305.0), strict=True):
        assert shot.reading_mm == pytest.approx(height, abs=0.35)


def test_a_rod_held_still_in_rock_mode_is_told_what_to_do() -> None:
    walker = Walker(capture(rock=True), rate_hz=20.0).stand(1300.0, 20.0)
    assert walker.labels == []
    assert walker.reasons() == ["rocking"]
    assert "wave the rod" in walker.heard("trouble")[0].as_json()["text"]
