"""Lines along the walls: joists, rails, joints."""

from typing import Any

import numpy as np
import pytest
from scipy.optimize import approx_fprime

from rig.surface.averaging import mean_sds
from rig.surface.covariance import LINES, correlation, distances
from rig.surface.draws import conditional_draws
from rig.surface.floor_model import floor_model
from rig.surface.gaussian_process import GaussianProcess
from rig.surface.reml import Priors, Shots, penalty
from tests.kinds import Floats

FIXED: dict[str, Any] = {
    "variance_mm2": 4.0,
    "length_mm": 1400.0,
    "nugget_mm2": 0.1,
    "lines_mm2": (1.5, 0.4, 0.8, 0.3),
}


def room_shots(n: int = 30, seed: int = 1) -> tuple[Floats, ...]:
    rng = np.random.default_rng(seed)
    x, y = rng.uniform(0, 3600, n), rng.uniform(0, 4500, n)
    z = 2.0 + 1e-3 * x + 2 * np.sin(x / 700) * np.cos(y / 900) + 0.4 * rng.standard_normal(n)
    return x, y, z, rng.uniform(0.2, 0.6, n)


def alike_of(x: Floats, y: Floats) -> tuple[Floats, ...]:
    return tuple(line.alike((x, y)[line.axis], (x, y)[line.axis]) for line in LINES)


def test_surface_with_lines_is_gaussian_conditioning_written_out() -> None:
    """Rasmussen and Williams 2006, equations 2.25 and 2.26, with explicit inverses."""
    x, y, z, stderr = room_shots()
    at_x, at_y = np.array([100.0, 1800.0, 3500.0]), np.array([4000.0, 300.0, 2000.0])

    def prior(x: Floats, y: Floats, u: Floats, v: Floats) -> Floats:
        right, up = abs(x[:, None] - u), abs(y[:, None] - v)
        total = 4.0 * correlation(np.hypot(right, up), 1400.0, 2.5)
        for size, across, length, smoothness in (
            (1.5, right, 350.0, 1.5),
            (0.4, up, 350.0, 1.5),
            (0.8, right, 1200.0, 2.5),
            (0.3, up, 1200.0, 2.5),
        ):
            total = total + size * correlation(across, length, smoothness)
        return total

    inverse = np.linalg.inv(prior(x, y, x, y) + np.diag(stderr**2 + 0.1))
    cross = prior(x, y, at_x, at_y)
    model = GaussianProcess(2.5, "none", **FIXED).fit(x, y, z, stderr)
    mean, sd = model.predict(at_x, at_y)
    exact = prior(at_x, at_y, at_x, at_y) - cross.T @ inverse @ cross
    np.testing.assert_allclose(mean, cross.T @ inverse @ z, atol=1e-8)
    np.testing.assert_allclose(sd**2, np.diag(exact), atol=1e-8)
    np.testing.assert_allclose(model.covariance(at_x, at_y), exact, atol=1e-8)
    weights = np.array([1.0, 2.0, 0.5])
    volume, volume_sd = model.integral(at_x, at_y, weights, nugget=False)
    assert volume == pytest.approx(weights @ mean)
    assert volume_sd**2 == pytest.approx(weights @ exact @ weights)


def test_gradient_holds_with_lines() -> None:
    x, y, z, stderr = room_shots(15)
    basis = np.column_stack([np.ones_like(x), x / 4000, y / 4000])
    lines = alike_of(x, y)
    shots = Shots(distances(x, y, x, y), basis, z, stderr**2, lines=lines)
    for logs in (np.log([1500, 3, 0.3, 0.4, 1, 0.2, 2]), np.log([600, 1, 1, 2, 0.1, 1, 1])):
        _, gradient = penalty(logs, shots, 2.5, Priors())
        numeric = approx_fprime(logs, lambda at: penalty(at, shots, 2.5, Priors())[0], 1e-6)
        np.testing.assert_allclose(gradient, numeric, rtol=1e-4, atol=1e-4)


def test_a_shot_added_in_place_equals_a_fit_with_all() -> None:
    x, y, z, stderr = room_shots(24)
    grown = GaussianProcess(2.5, **FIXED).fit(x[:20], y[:20], z[:20], stderr[:20])
    for shot in zip(x[20:], y[20:], z[20:], stderr[20:], strict=True):
        grown.add(*shot)
    whole = GaussianProcess(2.5, **FIXED).fit(x, y, z, stderr)
    for ours, theirs in zip(grown.predict(x + 90, y), whole.predict(x + 90, y), strict=True):
        np.testing.assert_allclose(ours, theirs, atol=1e-6)


def test_draws_with_lines_have_the_exact_posteriors_spread_and_correlation() -> None:
    model = GaussianProcess(2.5, **FIXED).fit(*room_shots(40))
    at = np.meshgrid(np.arange(37.5, 3600, 75.0), np.arange(37.5, 4500, 75.0))
    x, y = (a.ravel() for a in at)
    n = 1500
    draws = conditional_draws(model, x, y, 75.0, n, np.random.default_rng(2)).astype(float)
    mean, sd = model.predict(x, y)
    np.testing.assert_allclose(draws.mean(axis=0), mean, atol=0.02)
    np.testing.assert_allclose(draws.std(axis=0), sd, rtol=0.03, atol=0.01)
    some = np.random.default_rng(3).choice(len(x), 60, replace=False)
    exact = model.covariance(x[some], y[some])
    scale = np.sqrt(np.outer(np.diag(exact), np.diag(exact)))
    off = np.cov(draws[:, some].T) / scale - exact / scale
    assert np.sqrt(np.mean(off**2)) < 1.3 / np.sqrt(n)
    assert np.abs(off).max() < 7.0 / np.sqrt(n)


def test_joists_are_found_along_the_wall_that_they_run_along() -> None:
    rng = np.random.default_rng(3)
    x, y = (a.ravel() for a in np.meshgrid(np.linspace(150, 3450, 6), np.linspace(150, 4350, 7)))
    seat = rng.normal(0.0, 1.5, 6)
    along_y = floor_model().fit(x, y, np.tile(seat, 7) + rng.normal(0, 0.4, 42), 0.4)
    assert along_y.lines_mm2[0] > 4 * along_y.lines_mm2[1]
    along_x = floor_model().fit(y, x, np.tile(seat, 7) + rng.normal(0, 0.4, 42), 0.4)
    assert along_x.lines_mm2[1] > 4 * along_x.lines_mm2[0]
    # Where every joist was shot at all its length, what lies between the joists is in doubt.
    even = floor_model().fit(x, y, rng.normal(0, 0.4, 42), 0.4)
    cells = np.meshgrid(np.arange(50, 3600, 100.0), np.arange(50, 4500, 100.0))
    at_x, at_y = cells[0].ravel(), cells[1].ravel()
    doubt, plain = (m.integral(at_x, at_y, np.full(1620, 1e4))[1] for m in (along_y, even))
    assert doubt > 1.5 * plain


@pytest.mark.parametrize("n", [30, 300])
def test_the_quick_answer_over_a_raster_is_the_exact_one(n: int) -> None:
    x, y, z, stderr = room_shots(n)
    model = GaussianProcess(2.5, **FIXED, bowl_mm=6.0).fit(x, y, z, stderr)
    columns, rows = np.arange(25.0, 3600, 50.0), np.arange(25.0, 4500, 50.0)
    at_x, at_y = (a.ravel() for a in np.meshgrid(columns, rows))
    at_x, at_y = np.append(at_x[5:], [77.0, 3590.0]), np.append(at_y[5:], [4499.0, 11.0])
    quick, exact = model.predict(at_x, at_y, quick=True), model.predict(at_x, at_y)
    np.testing.assert_allclose(quick[0], exact[0], atol=0.02)
    np.testing.assert_allclose(quick[1], exact[1], atol=0.03)


@pytest.mark.parametrize("bowl_mm", [0.0, 6.0])
def test_what_shots_leave_open_is_averaged_as_the_likelihood_written_out_says(
    bowl_mm: float,
) -> None:
    x, y, z, stderr = room_shots(25)
    basis = np.column_stack([np.ones_like(x), x / 4000, y / 4000, (x / 4000 - 0.5) ** 2])
    believed = np.array([0.0, 0.0, 0.0, 1.0 / bowl_mm**2]) if bowl_mm else np.zeros(0)
    lines = alike_of(x, y)
    shots = Shots(distances(x, y, x, y), basis, z, stderr**2, believed, lines=lines)
    likeliest = np.array([1500.0, 2.0, 0.3, 0.4, 1.0, 0.5, 0.2])
    found = mean_sds([shots], 2.5, Priors(), likeliest)
    assert found[3:] == pytest.approx([0.5, 0.2])
    for number, mean in zip((1, 3, 4), found, strict=False):
        prior = Priors().as_list(4)[number]
        middle = np.log(likeliest[1]) if number == 1 else np.log(prior.median)
        low, high = (-0.8, 1.2) if number == 1 else (-2.2 * prior.spread, 2.6 * prior.spread)
        logs = middle + np.linspace(low, high, 201)
        logs = np.clip(logs, np.log(prior.lowest), np.log(prior.highest))
        values = []
        for log in logs:
            whole = np.log(likeliest)
            whole[number] = log
            values.append(penalty(whole, shots, 2.5, Priors())[0])
        weight = np.exp(min(values) - np.array(values))
        expected = np.sqrt(np.average(np.exp(2 * logs), weights=weight))
        assert mean == pytest.approx(expected, rel=0.03)
