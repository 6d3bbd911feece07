import math

import numpy as np
import pytest

from rig.survey.laser.share import Trust, at, on_shots, uncertainties, unchecked
from rig.survey.setups import Sight, adjust
from simulated_devices.laser import Laser
from tests.kinds import Floats

PLACES = {"1": (1000.0, 2000.0), "2": (5000.0, 2500.0)}
MARK = (3000.0, 100.0)


def told(errors: Floats, x: Floats, y: Floats, setups: list[str]) -> tuple[Floats, list[Sight]]:
    """Heights that a made-up laser gives of a floor at 0, tied by one benchmark at 0."""
    radial, *slopes = errors
    lasers = {
        name: Laser(*place, 1200.0, slopes[2 * n], slopes[2 * n + 1], cone_mm_per_m=radial)
        for n, (name, place) in enumerate(PLACES.items())
    }
    sights = [
        Sight(name, "BM", float(one.line_mm(*MARK, 0.0)), 0.3) for name, one in lasers.items()
    ]
    lines = {line.setup: line.line_mm for line in adjust(PLACES, sights).lines}
    z = [
        lines[s] - float(lasers[s].line_mm(a, b, 0.0)) for a, b, s in zip(x, y, setups, strict=True)
    ]
    return np.array(z), sights


@pytest.mark.parametrize("which", range(5))
def test_each_column_is_what_the_simulated_laser_does(which: int) -> None:
    rng = np.random.default_rng(which)
    x, y = rng.uniform(0.0, 6000.0, 20), rng.uniform(0.0, 4000.0, 20)
    setups = ["1" if a < 3000.0 else "2" for a in x]
    errors = np.zeros(5)
    errors[which] = 0.7
    sound, sights = told(np.zeros(5), x, y, setups)
    wrong, _ = told(errors, x, y, setups)
    columns = on_shots(PLACES, setups, x, y, [(sight, MARK) for sight in sights])
    assert columns @ errors == pytest.approx(wrong - sound, abs=1e-9)


def test_an_error_that_is_shared_does_not_average_out() -> None:
    trust = Trust(0.05, 0.04, ())
    u = uncertainties(trust, ["1"])
    means = []
    for n in (10, 1000):
        x = np.linspace(0.0, 6000.0, n)
        columns = on_shots({"1": (0.0, 0.0)}, ["1"] * n, x, 0.0 * x)
        means.append(float(np.linalg.norm(columns.mean(axis=0) * u)))
    # By hand: both errors act as 3 m on average, 0.15 and 0.12 mm (a budget of two terms).
    assert means == pytest.approx([math.hypot(0.15, 0.12)] * 2)


def test_a_balanced_benchmark_ties_free_of_the_climb() -> None:
    x, y = np.array([1000.0, 5000.0]), np.array([2000.0, 2500.0])  # under each laser
    sights = [Sight("1", "BM", 1200.0, 0.3), Sight("2", "BM", 1200.0, 0.3)]
    for place, free in (((3000.0, 2250.0), True), ((1500.0, 2000.0), False)):
        columns = on_shots(PLACES, ["1", "2"], x, y, [(sight, place) for sight in sights])
        assert bool(abs(columns[1, 0]) < 1e-9) is free
    # Three metres of difference in distance, by hand: what the tie is wrong by for 1 mm/m.
    away = math.dist(PLACES["2"], (1500.0, 2000.0)) - 500.0
    assert columns[1, 0] == pytest.approx(away / 1000.0)


def test_columns_count_from_the_lasers_own_place() -> None:
    line = at([(1000.0, 0.0)], 0, np.array([4000.0]), np.array([4000.0]))
    assert line == pytest.approx(np.array([[5.0, 3.0, 4.0]]))


def test_an_unchecked_laser_is_trusted_like_a_rectangle() -> None:
    # JCGM 100:2008, 4.3.7: half-width over the root of three.
    assert unchecked()[0] == pytest.approx(0.1 / math.sqrt(3.0))
