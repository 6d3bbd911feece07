from typing import Any

import numpy as np
import pytest

from rig.errors import BadInput
from rig.surface.draws import conditional_draws
from rig.surface.gaussian_process import GaussianProcess

STEP = 75.0
X, Y = (a.ravel() for a in np.meshgrid(np.arange(37.5, 3600, STEP), np.arange(37.5, 4500, STEP)))


def fitted(smoothness: float, length_mm: float, bowl_mm: float = 6.0) -> GaussianProcess:
    rng = np.random.default_rng(1)
    x, y = rng.uniform(0, 3600, 40), rng.uniform(0, 4500, 40)
    z = 3 * np.sin(x / 700) * np.cos(y / 900) + 0.4 * rng.standard_normal(40)
    fixed: dict[str, Any] = {"variance_mm2": 9.0, "length_mm": length_mm, "nugget_mm2": 0.1}
    return GaussianProcess(smoothness, bowl_mm=bowl_mm, **fixed).fit(x, y, z, 0.4)


@pytest.mark.parametrize(
    ("smoothness", "length_mm"), [(1.5, 1500.0), (2.5, 1500.0), (1.5, 350.0), (2.5, 6000.0)]
)
def test_draws_have_the_exact_posteriors_mean_spread_and_correlation(
    smoothness: float, length_mm: float
) -> None:
    """Against the closed form of `GaussianProcess.covariance`, which scikit-learn checks."""
    model = fitted(smoothness, length_mm)
    n = 2000
    draws = conditional_draws(model, X, Y, STEP, n, np.random.default_rng(2)).astype(float)
    mean, sd = model.predict(X, Y)
    np.testing.assert_allclose(draws.mean(axis=0), mean, atol=0.02)
    np.testing.assert_allclose(draws.std(axis=0), sd, rtol=0.03, atol=0.01)
    some = np.random.default_rng(3).choice(len(X), 60, replace=False)
    exact = model.covariance(X[some], Y[some])
    scale = np.sqrt(np.outer(np.diag(exact), np.diag(exact)))
    off = np.cov(draws[:, some].T) / scale - exact / scale
    assert np.sqrt(np.mean(off**2)) < 1.4 / np.sqrt(n)  # what chance alone leaves is 1
    assert np.abs(off).max() < 5.5 / np.sqrt(n)


def test_the_same_seed_gives_the_same_floors() -> None:
    model = fitted(2.5, 1500.0)
    one, two = (
        conditional_draws(model, X, Y, STEP, 20, np.random.default_rng(5)) for _ in range(2)
    )
    np.testing.assert_array_equal(one, two)


def test_places_that_are_no_raster_are_refused() -> None:
    with pytest.raises(BadInput, match="strewn"):
        conditional_draws(
            fitted(2.5, 1500.0),
            np.linspace(0.0, 40_000.0, 2000),
            np.linspace(0.0, 40_000.0, 2000),
            1.0,
            5,
            np.random.default_rng(0),
        )
