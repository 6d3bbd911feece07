import math

import numpy as np
import pytest

from simulated_devices.rod import Pose, Rod, reading_mm
from tests.kinds import there


def test_reading_is_line_less_foot_and_longer_when_it_leans() -> None:
    assert reading_mm(Pose(0, 0, 100.0), 1100.0) == 1000.0
    assert reading_mm(Pose(0, 0, 100.0, tilt_deg=2.0), 1100.0) == pytest.approx(
        1000.0 / math.cos(math.radians(2.0))
    )


def test_noise_has_its_spread_and_a_short_memory() -> None:
    rod = Rod(noise_mm=0.15, resolution_mm=1e-6, noise_memory_s=0.08)
    values = [rod.sample(n / 10, Pose(0, 0, 0.0), 50.0).value_mm for n in range(8000)]
    noise = np.array(values) - 50.0
    assert np.std(noise) == pytest.approx(0.15, rel=0.05)
    assert abs(np.mean(noise)) < 0.01
    # A first-order process sampled every 0.1 s keeps exp(-0.1/0.08) of itself.
    assert np.corrcoef(noise[:-1], noise[1:])[0, 1] == pytest.approx(math.exp(-1.25), abs=0.05)


def test_display_shows_whole_steps() -> None:
    rod = Rod(noise_mm=0.5, resolution_mm=25.4 / 16)
    values = [there(rod.sample(n / 10, Pose(0, 0, 0.0), 50.0).value_mm) for n in range(50)]
    assert all(abs(value / (25.4 / 16) % 1.0 - 0.5) > 0.499 for value in values)
    assert len(set(values)) > 1


def test_no_beam_where_it_is_blocked_or_out_of_reach() -> None:
    rod = Rod()
    statuses = [
        rod.sample(0.0, pose, line).status
        for pose, line in (
            (Pose(0, 0, 0.0), 50.0),
            (Pose(0, 0, 0.0, beam=False), 50.0),
            (Pose(0, 0, 60.0), 50.0),
            (Pose(0, 0, 0.0), 4000.0),
        )
    ]
    assert statuses == ["V", "N", "N", "N"]


def test_numbers_wrap_and_a_press_is_told_with_or_without_beam() -> None:
    rod = Rod(seq=65535)
    first = rod.sample(0.0, Pose(0, 0, 0.0), 50.0, pressed=True)
    second = rod.sample(0.1, Pose(0, 0, 0.0, beam=False), 50.0, pressed=True)
    assert (first.seq, second.seq) == (65535, 0)
    assert (first.status, second.status) == ("B", "B")
    assert first.value_mm is not None
    assert second.value_mm is None
