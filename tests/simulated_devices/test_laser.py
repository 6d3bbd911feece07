import math

import numpy as np
import pytest

from simulated_devices.laser import Laser, random_drift, random_slope


def test_line_has_its_height_at_its_place_and_slopes_from_there() -> None:
    laser = Laser(2000.0, 3000.0, 50.0, slope_x_mm_per_m=0.1, slope_y_mm_per_m=-0.2)
    assert laser.line_mm(2000.0, 3000.0, 0.0) == 50.0
    assert laser.line_mm(4000.0, 3000.0, 0.0) == pytest.approx(50.2)
    assert laser.line_mm(2000.0, 0.0, 0.0) == pytest.approx(50.6)


def test_cone_rises_with_the_distance_either_way() -> None:
    laser = Laser(0.0, 0.0, 0.0, cone_mm_per_m=0.1)
    line = laser.line_mm(np.array([3000.0, -3000.0]), np.array([4000.0, -4000.0]), 0.0)
    assert line == pytest.approx([0.5, 0.5])


def test_drift_starts_at_nothing_and_never_hurries() -> None:
    for seed in range(5):
        laser = Laser(0.0, 0.0, 0.0, drift=random_drift(seed, 0.3))
        line = np.array([laser.line_mm(0.0, 0.0, t) for t in np.arange(0.0, 7200.0, 10.0)])
        assert line[0] == 0.0
        assert np.ptp(line) > 0.02
        assert np.max(np.abs(np.diff(line))) <= 0.3 / 360.0 + 1e-9


def test_slopes_are_small_and_differ_by_seed() -> None:
    slopes = [random_slope(seed) for seed in range(30)]
    assert len(set(slopes)) == 30
    assert all(math.hypot(*slope) <= 0.05 * math.sqrt(2) for slope in slopes)


def test_a_jolt_moves_the_line_from_then_on() -> None:
    laser = Laser(0.0, 0.0, 0.0)
    laser.jolt(10.0, 2.0, slope_x_mm_per_m=1.0)
    assert laser.line_mm(1000.0, 0.0, 9.9) == 0.0
    assert laser.line_mm(1000.0, 0.0, 10.0) == pytest.approx(3.0)
