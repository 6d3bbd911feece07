"""A real surface, cross-validated against both references.

Elevations around the Jacksboro fault, Tennessee (United States Geological Survey), published as
sample data in the matplotlib package; brought to the size of a room so that the tool takes it for
a floor: 3.6 m by 4.5 m, heights with a standard deviation of 5 mm. Terrain is rougher than floors
are, which is what makes it a test.
"""

import warnings
from typing import Any

import numpy as np
import pytest
from matplotlib import cbook
from pykrige.ok import OrdinaryKriging
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import ConstantKernel, Matern, WhiteKernel

from rig.surface.floor_model import floor_model
from tests.kinds import Floats

WINDOWS = [(0, 0), (0, 150), (0, 270), (170, 0), (170, 150), (170, 270)]
SHOTS, PLACES = 150, 600


def surface(row: int, column: int) -> tuple[Floats, Floats, Floats]:
    sample: Any = cbook.get_sample_data("jacksboro_fault_dem.npz")
    with sample as dem:
        height = dem["elevation"][row : row + 150, column : column + 120].astype(float)
    height = 5.0 * (height - height.mean()) / height.std()
    along, across = np.mgrid[0 : height.shape[0], 0 : height.shape[1]]
    return across.ravel() * 30.0, along.ravel() * 30.0, height.ravel()


def scikit(x: Floats, y: Floats, z: Floats, at_x: Floats, at_y: Floats) -> Floats:
    kernel = ConstantKernel(25.0) * Matern(1000.0, (100.0, 1e4), nu=2.5) + WhiteKernel(0.2)
    model = GaussianProcessRegressor(kernel, alpha=1e-4)
    model.fit(np.column_stack([x, y]), z - z.mean())
    return np.asarray(model.predict(np.column_stack([at_x, at_y])) + z.mean())


def pykrige(x: Floats, y: Floats, z: Floats, at_x: Floats, at_y: Floats) -> Floats:
    return np.asarray(
        OrdinaryKriging(x, y, z, variogram_model="spherical").execute("points", at_x, at_y)[0]
    )


@pytest.fixture(scope="module")
def judged() -> tuple[dict[str, float], Floats, Floats]:
    """Squared errors of ours, scikit-learn's and PyKrige's at places held out; ours in sds too."""
    errors: dict[Any, Any] = {"ours": [], "scikit": [], "pykrige": []}
    standard, loo = [], []
    for seed, window in enumerate(WINDOWS):
        x, y, z = surface(*window)
        order = np.random.default_rng(seed).permutation(len(x))
        shots, rest = order[:SHOTS], order[SHOTS : SHOTS + PLACES]
        given = x[shots], y[shots], z[shots]
        model = floor_model().fit(*given, 0.01)
        mean, sd = model.predict(x[rest], y[rest], nugget=True)
        errors["ours"].append(np.mean((mean - z[rest]) ** 2))
        standard.append((mean - z[rest]) / sd)
        residual, doubt = model.loo()
        loo.append(residual / doubt)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            for name, other in (("scikit", scikit), ("pykrige", pykrige)):
                errors[name].append(np.mean((other(*given, x[rest], y[rest]) - z[rest]) ** 2))
    return {k: np.sqrt(np.mean(v)) for k, v in errors.items()}, np.array(standard), np.array(loo)


def test_held_out_places_are_told_as_well_as_the_better_reference_does(
    judged: tuple[dict[str, float], Floats, Floats],
) -> None:
    error, _, _ = judged
    assert error["ours"] <= 1.03 * min(error["scikit"], error["pykrige"])


def test_the_doubt_told_covers_held_out_places(
    judged: tuple[dict[str, float], Floats, Floats],
) -> None:
    """Terrain is not a stationary field, so the share may stray from 95 %, but not far."""
    _, standard, _ = judged
    assert 0.91 <= np.mean(np.abs(standard) < 1.96) <= 0.985


def test_leave_one_out_says_the_same_as_the_places_held_out(
    judged: tuple[dict[str, float], Floats, Floats],
) -> None:
    _, standard, loo = judged
    assert np.mean(np.abs(loo) < 1.96) == pytest.approx(np.mean(np.abs(standard) < 1.96), abs=0.03)
