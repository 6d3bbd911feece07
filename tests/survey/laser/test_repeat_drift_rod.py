import math
from typing import Any

import numpy as np
import pytest
import scipy.stats

from rig.devices.reading import Reading
from rig.errors import BadInput, CannotAnswer
from rig.survey.laser.drift import drift
from rig.survey.laser.repeat import repeat
from rig.survey.laser.rod import against_tape, out_of_plumb_mm
from rig.survey.laser.verdict import judge_spread
from rig.survey.laser.watch import Watch
from tests.survey.laser.field import watch


def test_repeatability_is_the_textbook_spread_with_its_interval() -> None:
    values = [1500.0, 1500.3, 1499.8, 1500.1, 1500.2, 1499.9]
    found = repeat(values)
    assert found.sd_mm == pytest.approx(np.std(values, ddof=1))
    # Chi-square table, 5 degrees of freedom: 0.831 and 12.833 at 2.5 % and 97.5 %.
    square = 5 * found.sd_mm**2
    assert found.sd_low_mm == pytest.approx(math.sqrt(square / 12.833), rel=1e-4)
    assert found.sd_high_mm == pytest.approx(math.sqrt(square / 0.8312), rel=1e-4)
    with pytest.raises(BadInput, match="two readings"):
        repeat([1500.0])


def test_the_interval_of_the_spread_holds_as_often_as_it_says() -> None:
    rng = np.random.default_rng(5)
    inside = [
        found.sd_low_mm <= 0.3 <= found.sd_high_mm
        for found in (repeat(rng.normal(1500, 0.3, 10).tolist()) for _ in range(400))
    ]
    assert 0.92 < np.mean(inside) < 0.98
    in_words = [
        judge_spread(repeat(rng.normal(1500, 0.5, 10).tolist()).sd_mm, 9, 0.5).word
        for _ in range(400)
    ]
    assert in_words.count("in") / 400 < 0.09
    assert in_words.count("out") / 400 < 0.09


def test_a_drift_is_found_within_the_stated_doubt_over_200_seeds() -> None:
    inside = []
    for seed in range(200):
        rate = 0.5 * (seed % 9 - 4)
        found = drift(*watch(seed, rate))
        allowed = scipy.stats.t.isf(0.025, found.freedom) * found.rate_stderr_mm_per_h
        inside.append(abs(found.rate_mm_per_h - rate) <= allowed)
    assert 0.90 <= np.mean(inside) <= 0.985


def test_a_resting_line_is_seldom_called_drifting_or_warm() -> None:
    found = [drift(*watch(seed)) for seed in range(200)]
    assert sum(f.warm_up_s is not None for f in found) <= 10  # 1 % a test, and 40 curves tried
    assert sum(f.change_mm != 0.0 for f in found) <= 14
    assert np.median([f.noise_mm for f in found]) == pytest.approx(0.15, rel=0.05)


def test_a_warm_up_is_told_by_its_size_and_time() -> None:
    rng = np.random.default_rng(8)
    t = np.arange(0.0, 1800.0, 0.5)
    values = 1500.0 + 1.2 * (1 - np.exp(-t / 240.0)) + rng.normal(0, 0.15, len(t))
    found = drift(t.tolist(), values.tolist())
    assert found.warm_up_mm == pytest.approx(1.2, abs=0.06)
    assert found.warm_up_s == pytest.approx(240.0, rel=0.15)
    assert abs(found.rate_mm_per_h) < 0.3


def test_a_jolt_in_the_watch_is_no_rest() -> None:
    assert all(abs(drift(*watch(seed, jolt_mm=1.0)).change_mm) > 0.5 for seed in range(20))


@pytest.mark.parametrize(
    ("times", "values", "error"),
    [
        ([0, 1, 2], [1, 2, 3], CannotAnswer),
        ([], [], CannotAnswer),
        ([0, 5, 3], [1, 2, 3], BadInput),
        ([0, 1], [1, math.nan], BadInput),
    ],
)
def test_what_is_no_watch_is_refused(
    times: list[int], values: list[float], error: type[Any]
) -> None:
    with pytest.raises(error):
        drift(times, values)


def test_the_live_watch_tells_how_it_goes_and_ends_by_itself() -> None:
    machine = Watch(60.0)
    told: list[Any] = []
    for n in range(700):
        value = 1500.0 + 0.01 * n
        told += machine.reading(Reading(n / 10, 0.0, "", "valid", value))
        told += machine.reading(Reading(n / 10, 0.0, "", "no_beam", None))
    assert machine.finished
    assert machine.times_s[-1] == 60.0
    assert [event.time_s for event in told] == [10.0, 20.0, 30.0, 40.0, 50.0, 60.0]
    assert told[-1].change_mm == pytest.approx(3.0, abs=0.05)


def test_rod_against_tape_by_hand() -> None:
    # Off by 1, 2 and 3 mm at 500, 1000 and 1500 mm: 2 mm at the mean, 2 mm in each metre.
    found = against_tape([(501.0, 500.0), (1002.0, 1000.0), (1503.0, 1500.0)], 0.5)
    assert found.zero_offset_mm == pytest.approx(2.0)
    assert found.scale_mm_per_m == pytest.approx(2.0)
    assert found.stderr_mm == pytest.approx(0.5 / math.sqrt(3))
    assert against_tape([(501.0, 500.0)], 0.5).scale_mm_per_m is None
    with pytest.raises(BadInput):
        against_tape([], 0.5)


def test_out_of_plumb_is_the_versed_sine() -> None:
    # 1 m at 1 degree: 0.152 mm, at 5 degrees 3.805 mm (tables of versines: 0.000152, 0.003805).
    assert out_of_plumb_mm(1000.0, 1.0) == pytest.approx(0.152, abs=5e-4)
    assert out_of_plumb_mm(1000.0, 5.0) == pytest.approx(3.805, abs=5e-4)
