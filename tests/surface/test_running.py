from typing import Any

import numpy as np
import pytest
from scipy.stats import kurtosistest

from rig.surface import running as picture
from rig.surface.floor_model import floor_model
from rig.surface.gaussian_process import GaussianProcess
from rig.surface.look_out import breaks_the_model, heavy_tails, unexplained_shots
from rig.surface.running import RunningPicture
from tests.kinds import Floats, there

FIXED: dict[str, Any] = {"variance_mm2": 9.0, "length_mm": 1400.0, "nugget_mm2": 0.2}


def floor(n: int = 40, seed: int = 1, noise_mm: float = 0.4) -> tuple[Floats, ...]:
    rng = np.random.default_rng(seed)
    x, y = (a.ravel() for a in np.meshgrid(np.linspace(150, 3450, 6), np.linspace(150, 4350, 8)))
    keep = rng.permutation(len(x))[:n]
    x, y = x[keep], y[keep]
    z = 2.0 + 1e-3 * x - 2e-3 * y + 3 * np.sin(x / 900) * np.cos(y / 1100)
    return x, y, z + noise_mm * rng.standard_normal(n), np.full(n, noise_mm)


@pytest.mark.parametrize("bowl_mm", [0.0, 6.0])
def test_a_shot_added_in_place_equals_a_fit_with_all(bowl_mm: float) -> None:
    x, y, z, stderr = floor()
    grown = GaussianProcess(**FIXED, bowl_mm=bowl_mm).fit(x[:30], y[:30], z[:30], stderr[:30])
    for shot in zip(x[30:], y[30:], z[30:], stderr[30:], strict=True):
        grown.add(*shot)
    whole = GaussianProcess(**FIXED, bowl_mm=bowl_mm).fit(x, y, z, stderr)
    rng = np.random.default_rng(2)
    at = rng.uniform(0, 3600, 50), rng.uniform(0, 4500, 50)
    for ours, theirs in zip(grown.predict(*at), whole.predict(*at), strict=True):
        # With a bowl the belief is about the places of the first fit: near, not equal.
        np.testing.assert_allclose(ours, theirs, atol=1e-6 if bowl_mm == 0 else 0.1)
    if bowl_mm == 0:
        for ours, theirs in zip(grown.loo(), whole.loo(), strict=True):
            np.testing.assert_allclose(ours, theirs, atol=1e-6)


def raster(step: float = 300.0) -> tuple[Floats, Floats, Floats, float]:
    x, y = np.meshgrid(np.arange(step / 2, 3600, step), np.arange(step / 2, 4500, step))
    return x.ravel(), y.ravel(), np.ones(x.size), step


def test_the_running_picture_is_what_the_model_says() -> None:
    cells = raster()
    running = RunningPicture(*cells)
    refits = 0
    for shot in zip(*floor(), strict=True):
        glance = running.add(*shot)
        refits += bool(glance and glance.refitted)
    assert there(glance).shots == 40
    assert refits < 25  # most shots are followed in place
    mean, _ = there(running.model).predict(cells[0], cells[1])
    assert there(glance).high_mm == pytest.approx(mean.max(), abs=1e-6)
    assert there(glance).mean_mm == pytest.approx(mean.mean(), abs=1e-6)
    assert there(glance).low_mm == pytest.approx(mean.min(), abs=1e-6)
    assert there(glance).high_mm < there(glance).bound_mm < there(glance).high_mm + 6.0


def test_too_few_or_collinear_shots_give_no_picture_yet() -> None:
    running = RunningPicture(*raster())
    for x in (100.0, 700.0, 1300.0, 1900.0, 2500.0):
        assert running.add(x, 200.0, 0.0, 0.3) is None
    assert running.add(300.0, 3000.0, 0.0, 0.3) is not None


def test_a_shot_taken_back_leaves_no_trace() -> None:
    running, other = RunningPicture(*raster()), RunningPicture(*raster())
    shots = list(zip(*floor(20), strict=True))
    for shot in shots:
        running.add(*shot)
    running.add(1000.0, 1000.0, 99.0, 0.3)
    running.undo()
    other.start(shots)
    at = np.array([500.0]), np.array([500.0])
    assert there(running.model).predict(*at)[0] == pytest.approx(there(other.model).predict(*at)[0])


def test_parameters_are_found_anew_when_they_stop_explaining() -> None:
    x, y, z, stderr = floor(40)
    running = RunningPicture(*raster())
    running.start(list(zip(x[:28], y[:28], z[:28], stderr[:28], strict=True)))
    before = there(running.model).nugget_mm2
    rng = np.random.default_rng(0)
    refitted = [
        there(running.add(x[n], y[n], z[n] + 8 * rng.standard_normal(), stderr[n])).refitted
        for n in range(28, 36)
    ]
    assert any(refitted)
    assert there(running.model).nugget_mm2 + there(running.model).variance_mm2 > before


@pytest.mark.parametrize("seed", range(6))
def test_a_wrong_shot_is_named_even_where_it_hides_itself_in_the_fit(seed: int) -> None:
    x, y, z, stderr = floor(40, seed)
    wrong = 7 + seed
    z[wrong] += 9.0
    model = floor_model().fit(x, y, z, stderr)
    named = unexplained_shots(model, x, y, z, stderr)
    assert [shot.shot for shot in named] == [wrong]
    assert named[0].above_mm == pytest.approx(9.0, abs=3.0)


def test_sound_floors_have_no_shot_named() -> None:
    named = 0
    for seed in range(20):
        x, y, z, stderr = floor(40, 100 + seed)
        named += len(unexplained_shots(floor_model().fit(x, y, z, stderr), x, y, z, stderr))
    assert named <= 1  # 800 shots at 1 in 16 000


def test_a_ridge_between_shots_breaks_the_model_and_a_smooth_floor_does_not() -> None:
    def surveyed(seed: int, ridge_mm: float) -> GaussianProcess:
        rng = np.random.default_rng(seed)
        at = np.meshgrid(np.linspace(150, 3450, 8), np.linspace(150, 4350, 10))
        x, y = at[0].ravel(), at[1].ravel()
        turn = rng.uniform(0, np.pi)
        away = (x - 1800) * np.cos(turn) + (y - 2200) * np.sin(turn)
        z = ridge_mm * np.exp(-0.5 * (away / 120) ** 2) + 1e-3 * x
        z += 2 * np.sin(x / 1200 + seed) * np.cos(y / 1300)
        return floor_model().fit(x, y, z + 0.4 * rng.standard_normal(len(x)), 0.4)

    broken = [len(breaks_the_model(surveyed(seed, 8.0))) for seed in range(8)]
    sound = [len(breaks_the_model(surveyed(seed, 0.0))) for seed in range(8)]
    assert sum(found > 0 for found in broken) >= 5
    assert sum(found > 0 for found in sound) <= 1


def test_heavy_tails_are_judged_as_scipy_does() -> None:
    for seed in range(10):
        values = np.random.default_rng(seed).standard_t(4, 20 + 10 * seed)
        expected = kurtosistest(values, alternative="greater").pvalue
        assert heavy_tails(values) == pytest.approx(expected, rel=1e-9)


def test_a_picture_of_many_shots_stays_small_and_says_the_same(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(picture, "_MOST", 60)
    small = RunningPicture(*raster())
    xs, ys = (
        a.ravel() for a in np.meshgrid(np.linspace(100, 3500, 18), np.linspace(100, 4400, 22))
    )
    rng = np.random.default_rng(3)
    z = 2.0 + 3 * np.sin(xs / 900) * np.cos(ys / 1100) + 0.4 * rng.standard_normal(len(xs))
    rows = 0
    for shot in zip(xs, ys, z, np.full(len(xs), 0.4), strict=True):
        glance = small.add(*shot)
        rows = max(rows, len(small.model.x_mm) if small.model else 0)
    assert rows <= 90
    assert there(glance).shots == len(xs)
    whole = floor_model().fit(xs, ys, z, np.full(len(xs), 0.4))
    mean, _ = whole.predict(*raster()[:2])
    assert there(glance).high_mm == pytest.approx(mean.max(), abs=0.5)
    assert there(glance).mean_mm == pytest.approx(mean.mean(), abs=0.1)
