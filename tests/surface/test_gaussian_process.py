from typing import Any

import numpy as np
import pytest
from scipy.optimize import approx_fprime
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import ConstantKernel, Matern

from rig.errors import BadInput, CannotAnswer
from rig.surface.covariance import correlation, distances
from rig.surface.gaussian_process import GaussianProcess
from rig.surface.reml import Priors, Shots, penalty
from rig.surface.trend import TrendKind
from tests.kinds import Floats

FIXED: dict[str, Any] = {"variance_mm2": 9.0, "length_mm": 1400.0, "nugget_mm2": 0.2}


def room_shots(n: int = 30, seed: int = 1, noise_mm: float = 0.4) -> tuple[Floats, ...]:
    rng = np.random.default_rng(seed)
    x, y = rng.uniform(0, 3600, n), rng.uniform(0, 4500, n)
    z = 2.0 + 1e-3 * x - 2e-3 * y + 3 * np.sin(x / 700) * np.cos(y / 900)
    return x, y, z + noise_mm * rng.standard_normal(n), rng.uniform(0.2, 0.6, n)


def dense_trend_case(
    x: Floats, y: Floats, z: Floats, stderr: Floats, at_x: Floats, at_y: Floats, smoothness: float
) -> tuple[Floats, Floats, Floats]:
    """Textbook generalised least squares with explicit inverses (Cressie 1993, section 3.4)."""
    basis = np.column_stack([np.ones_like(x), x, y])
    at = np.column_stack([np.ones_like(at_x), at_x, at_y])
    cov = 9.0 * correlation(distances(x, y, x, y), 1400.0, smoothness)
    inverse = np.linalg.inv(cov + np.diag(stderr**2 + 0.2))
    cross = 9.0 * correlation(distances(x, y, at_x, at_y), 1400.0, smoothness)
    normal = np.linalg.inv(basis.T @ inverse @ basis)
    beta = normal @ basis.T @ inverse @ z
    mean = at @ beta + cross.T @ inverse @ (z - basis @ beta)
    gap = at.T - basis.T @ inverse @ cross
    prior = 9.0 * correlation(distances(at_x, at_y, at_x, at_y), 1400.0, smoothness)
    return beta, mean, prior - cross.T @ inverse @ cross + gap.T @ normal @ gap


@pytest.mark.parametrize("smoothness", [1.5, 2.5])
def test_without_trend_it_equals_scikit_learn(smoothness: float) -> None:
    x, y, z, stderr = room_shots()
    rng = np.random.default_rng(5)
    at_x, at_y = rng.uniform(-300, 3900, 200), rng.uniform(-300, 4800, 200)
    kernel = ConstantKernel(9.0) * Matern(1400.0, nu=smoothness)
    theirs = GaussianProcessRegressor(kernel, alpha=stderr**2 + 0.2, optimizer=None)
    theirs.fit(np.column_stack([x, y]), z)
    mean, sd = theirs.predict(np.column_stack([at_x, at_y]), return_std=True)
    ours = GaussianProcess(smoothness, "none", **FIXED).fit(x, y, z, stderr)
    our_mean, our_sd = ours.predict(at_x, at_y)
    np.testing.assert_allclose(our_mean, mean, atol=1e-6)
    np.testing.assert_allclose(our_sd, sd, atol=1e-6)
    _, full = theirs.predict(np.column_stack([at_x, at_y]), return_cov=True)
    np.testing.assert_allclose(ours.covariance(at_x, at_y), full, atol=1e-6)


@pytest.mark.parametrize("smoothness", [1.5, 2.5])
def test_plane_trend_equals_dense_least_squares(smoothness: float) -> None:
    x, y, z, stderr = room_shots()
    z = z - 1234.0
    at_x, at_y = np.array([0.0, 1800.0, 4000.0]), np.array([0.0, 2200.0, 4600.0])
    beta, mean, cov = dense_trend_case(x, y, z, stderr, at_x, at_y, smoothness)
    ours = GaussianProcess(smoothness, **FIXED).fit(x, y, z, stderr)
    our_mean, our_sd = ours.predict(at_x, at_y)
    np.testing.assert_allclose(ours.trend_mm, beta, rtol=1e-7)
    np.testing.assert_allclose(our_mean, mean, atol=1e-6)
    np.testing.assert_allclose(our_sd, np.sqrt(np.diag(cov)), atol=1e-7)
    np.testing.assert_allclose(ours.covariance(at_x, at_y), cov, atol=1e-7)
    rough = ours.predict(at_x, at_y, nugget=True)[1]
    np.testing.assert_allclose(rough**2 - our_sd**2, 0.2, atol=1e-9)


@pytest.mark.parametrize("smoothness", [1.5, 2.5])
@pytest.mark.parametrize("columns", [0, 1, 3])
def test_likelihood_gradient_agrees_with_finite_differences(
    smoothness: float, columns: int
) -> None:
    x, y, z, stderr = room_shots()
    basis = np.column_stack([np.ones_like(x), x / 4000, y / 4000])[:, :columns]
    shots = Shots(distances(x, y, x, y), basis, z, stderr**2)
    for logs in (np.log([1500, 3, 0.3]), np.log([500, 1, 1.0]), np.log([6000, 12, 0.05])):
        _, gradient = penalty(logs, shots, smoothness, Priors())
        numeric = approx_fprime(logs, lambda at: penalty(at, shots, smoothness, Priors())[0], 1e-6)
        np.testing.assert_allclose(gradient, numeric, rtol=1e-4, atol=1e-4)


def test_restricted_likelihood_is_the_likelihood_of_trend_free_contrasts() -> None:
    """Patterson and Thompson 1971: REML is the likelihood of contrasts A z with A H = 0."""
    x, y, z, stderr = room_shots(12)
    basis = np.column_stack([np.ones_like(x), x / 4000, y / 4000])
    shots = Shots(distances(x, y, x, y), basis, z, stderr**2)
    contrasts = np.linalg.svd(basis.T)[2][3:]
    flat = Priors()
    differences = []
    for logs in (np.log([1500, 3, 0.3]), np.log([700, 5, 0.6])):
        cov = np.exp(2 * logs[1]) * correlation(shots.distance_mm, np.exp(logs[0]), 1.5)
        cov = contrasts @ (cov + np.diag(stderr**2 + np.exp(2 * logs[2]))) @ contrasts.T
        seen = contrasts @ z
        direct = 0.5 * (np.linalg.slogdet(cov)[1] + seen @ np.linalg.solve(cov, seen))
        belief = sum(
            0.5 * ((at - np.log(p.median)) / p.spread) ** 2
            for at, p in zip(logs, flat.as_list(), strict=True)
        )
        differences.append(penalty(logs, shots, 1.5, flat)[0] - belief - direct)
    assert differences[0] == pytest.approx(differences[1], abs=1e-9)


@pytest.mark.parametrize("trend", ["plane", "constant", "none"])
def test_leave_one_out_equals_refitting(trend: TrendKind) -> None:
    x, y, z, stderr = room_shots(15)
    whole = GaussianProcess(1.5, trend, **FIXED).fit(x, y, z, stderr)
    residual, sd = whole.loo()
    for left in range(len(x)):
        rest = np.arange(len(x)) != left
        other = GaussianProcess(1.5, trend, **FIXED).fit(x[rest], y[rest], z[rest], stderr[rest])
        mean, doubt = other.predict(x[[left]], y[[left]], nugget=True)
        assert residual[left] == pytest.approx(z[left] - mean[0], abs=1e-6)
        assert sd[left] == pytest.approx(np.hypot(doubt[0], stderr[left]), abs=1e-6)


def test_leave_one_out_says_when_a_shot_carries_the_trend_alone() -> None:
    x, y = np.array([0.0, 1000, 2000, 3000, 0.0]), np.array([0.0, 0, 0, 0, 2000])
    residual, sd = GaussianProcess(**FIXED).fit(x, y, x * 0.001, 0.3).loo()
    assert np.isnan(residual[4])
    assert np.isinf(sd[4])
    assert np.all(np.isfinite(sd[:4]))


def test_one_shot_alone_shrinks_as_the_formula_says() -> None:
    """Far shots do not speak to each other: mean = z s²/(s² + e²), by hand."""
    x, y = np.array([0.0, 1e6, 2e6, 3e6]), np.array([0.0, 1e6, 0.0, 1e6])
    z = np.array([2.0, -4.0, 1.0, 0.0])
    model = GaussianProcess(1.5, "none", 9.0, 1000.0, 0.0).fit(x, y, z, 1.5)
    mean, sd = model.predict(x, y)
    np.testing.assert_allclose(mean, z * 9 / (9 + 2.25), atol=1e-9)
    np.testing.assert_allclose(sd, np.sqrt(9 * 2.25 / (9 + 2.25)), atol=1e-9)
    mean, sd = model.predict(np.array([1000.0]), np.array([0.0]))
    alike = (1 + np.sqrt(3)) * np.exp(-np.sqrt(3))
    assert mean[0] == pytest.approx(alike * 2.0 * 9 / 11.25)
    assert sd[0] == pytest.approx(np.sqrt(9 - (9 * alike) ** 2 / 11.25))


def test_an_exact_plane_is_found_and_carried_beyond_the_shots() -> None:
    x, y, _, _ = room_shots(9)
    z = -900.0 + 0.002 * x - 0.001 * y
    model = GaussianProcess().fit(x, y, z, 0.1)
    mean, _ = model.predict(np.array([6000.0]), np.array([-500.0]))
    assert mean[0] == pytest.approx(-900 + 12 + 0.5, abs=1e-6)


def test_integral_equals_the_dense_double_sum_in_any_number_of_blocks() -> None:
    x, y, z, stderr = room_shots()
    model = GaussianProcess().fit(x, y, z, stderr)
    rng = np.random.default_rng(2)
    at_x, at_y = rng.uniform(0, 3600, 1500), rng.uniform(0, 4500, 1500)
    w = rng.uniform(0.0, 1e4, 1500)
    mean, sd = model.integral(at_x, at_y, w, nugget=False)
    assert mean == pytest.approx(w @ model.predict(at_x, at_y)[0], rel=1e-12)
    assert sd**2 == pytest.approx(w @ model.covariance(at_x, at_y) @ w, rel=1e-9)
    _, rough = model.integral(at_x, at_y, w)
    assert rough**2 - sd**2 == pytest.approx(model.nugget_mm2 * np.sum(w**2), rel=1e-6)


def test_draws_have_the_posterior_mean_and_covariance() -> None:
    x, y, z, stderr = room_shots()
    model = GaussianProcess(**FIXED).fit(x, y, z, stderr)
    at_x, at_y = np.array([200.0, 260.0, 1800.0, 3500.0]), np.array([300.0, 320.0, 2000.0, 4400.0])
    draws = model.sample(at_x, at_y, 40_000, np.random.default_rng(3))
    cov = model.covariance(at_x, at_y) + 0.2 * np.eye(4)
    assert np.all(
        np.abs(draws.mean(axis=0) - model.predict(at_x, at_y)[0])
        < 5 * np.sqrt(np.diag(cov) / 40_000)
    )
    np.testing.assert_allclose(np.cov(draws.T), cov, atol=0.05 * cov.max())
    again = model.sample(at_x, at_y, 10, np.random.default_rng(8), nugget=False)
    np.testing.assert_array_equal(
        again, model.sample(at_x, at_y, 10, np.random.default_rng(8), nugget=False)
    )


def test_draws_survive_places_that_nearly_coincide() -> None:
    x, y, z, stderr = room_shots()
    model = GaussianProcess().fit(x, y, z, stderr)
    at = np.full(50, 1000.0)
    draws = model.sample(at, at + np.arange(50) * 1e-3, 200, np.random.default_rng(0), nugget=False)
    assert np.all(np.isfinite(draws))
    assert np.max(np.abs(draws - draws[:, :1])) < 0.1


def test_two_readings_at_one_place_are_weighed_against_each_other() -> None:
    x, y, z, stderr = room_shots()
    x, y = np.append(x, x[0]), np.append(y, y[0])
    z, stderr = np.append(z, z[0] + 4.0), np.append(stderr, stderr[0])
    model = GaussianProcess().fit(x, y, z, stderr)
    mean, sd = model.predict(x[:1], y[:1])
    assert z[0] < mean[0] < z[0] + 4.0
    assert 0 < sd[0] < 4.0
    exact = GaussianProcess(**{**FIXED, "nugget_mm2": 0.0}).fit(x, y, z, 0.0)
    assert exact.predict(x[:1], y[:1])[0][0] == pytest.approx(z[0] + 2.0, abs=0.01)


def test_what_the_floor_is_like_is_recovered_from_many_shots() -> None:
    rng = np.random.default_rng(4)
    x, y = (a.ravel() for a in np.meshgrid(np.linspace(0, 12_000, 22), np.linspace(0, 12_000, 22)))
    cov = 16.0 * correlation(distances(x, y, x, y), 1500.0, 1.5)
    z = np.linalg.cholesky(cov) @ rng.standard_normal(len(x))
    z += 0.5 * rng.standard_normal(len(x)) + 0.3 * rng.standard_normal(len(x))
    model = GaussianProcess().fit(x, y, z, 0.3)
    assert 1000 < model.length_mm < 2250
    assert 2.5 < np.sqrt(model.variance_mm2) < 6.0
    assert 0.2 < np.sqrt(model.nugget_mm2) < 0.9


def test_four_shots_give_a_sane_surface() -> None:
    x, y = np.array([0.0, 3000, 0, 3000]), np.array([0.0, 0, 4000, 4000])
    model = GaussianProcess().fit(x, y, np.array([0.0, 2, 1, 5]), 0.5)
    mean, sd = model.predict(np.array([1500.0]), np.array([2000.0]))
    assert 0.5 < mean[0] < 3.5
    assert 0.3 < sd[0] < 10


def test_many_shots_are_taken_exactly() -> None:
    x, y, z, stderr = room_shots(600)
    model = GaussianProcess().fit(x, y, z, stderr)
    mean, sd = model.predict(x, y)
    assert np.sqrt(np.mean((mean - z) ** 2)) < 0.6
    assert sd.max() < 0.4


def test_a_dense_scan_is_drawn_together_and_gives_the_same_floor() -> None:
    """4 000 shots become at most 1 600 means of neighbours; a part fitted exactly says the same."""
    x, y, z, stderr = room_shots(4000, noise_mm=0.3)
    fixed: dict[str, Any] = {**FIXED, "nugget_mm2": 1e-4}
    scan = GaussianProcess(2.5, **fixed).fit(x, y, z, stderr)
    assert len(scan.x_mm) <= 1600
    assert scan.shots == 4000
    at = np.random.default_rng(3).uniform(300, 3300, (2, 40))
    mean, sd = scan.predict(*at)
    truth = 2.0 + 1e-3 * at[0] - 2e-3 * at[1] + 3 * np.sin(at[0] / 700) * np.cos(at[1] / 900)
    assert np.sqrt(np.mean((mean - truth) ** 2)) < 0.1
    part = GaussianProcess(2.5, **fixed).fit(x[:1500], y[:1500], z[:1500], stderr[:1500])
    assert np.all(sd < part.predict(*at)[1])
    with pytest.raises(BadInput, match="thin them"):
        GaussianProcess().fit(np.zeros(100_001), np.zeros(100_001), np.zeros(100_001), 0.5)


def test_four_shots_are_enough() -> None:
    model = GaussianProcess(2.5, bowl_mm=6.0).fit([0, 3000, 0, 3000], [0, 0, 4000, 4000], 0.0, 0.5)
    mean, sd = model.predict([1500.0], [2000.0])
    assert abs(mean[0]) < 0.1
    assert 0.5 < sd[0] < 10.0


@pytest.mark.parametrize("smoothness", [1.5, 2.5])
@pytest.mark.parametrize("n", [30, 300])
def test_the_quick_answer_over_many_places_is_the_exact_one(smoothness: float, n: int) -> None:
    x, y, z, stderr = room_shots(n)
    model = GaussianProcess(smoothness, **FIXED, bowl_mm=6.0).fit(x, y, z, stderr)
    at = np.random.default_rng(3).uniform(-50, 3650, (2, 8000))
    x_at, y_at = at
    quick, exact = model.predict(x_at, y_at, quick=True), model.predict(x_at, y_at)
    np.testing.assert_allclose(quick[0], exact[0], atol=0.02)
    np.testing.assert_allclose(quick[1], exact[1], atol=0.03)


@pytest.mark.parametrize(
    ("x", "y", "reason"),
    [
        ([0, 1000, 0], [0, 0, 1000], "too few"),
        ([0, 1000, 0, 0, 0], [0, 0, 1000, 1000, 1000], "too few"),
        ([0, 1000, 2000, 3000], [0, 500, 1000, 1500], "one line"),
    ],
)
def test_poor_layouts_are_refused(x: list[int], y: list[int], reason: str) -> None:
    with pytest.raises(CannotAnswer, match=reason):
        GaussianProcess().fit(x, y, np.zeros(len(x)), 0.5)


@pytest.mark.parametrize("bad", [np.nan, np.inf])
def test_what_is_not_a_number_is_refused_and_named(bad: float) -> None:
    x, y, z, stderr = room_shots()
    z[6] = bad
    with pytest.raises(BadInput, match="height at place 7"):
        GaussianProcess().fit(x, y, z, stderr)
