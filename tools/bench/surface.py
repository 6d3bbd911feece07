"""Fit and prediction of a floor against scikit-learn and PyKrige; updates; draws; sloped plane.

The same invented floors for all; each is timed as whole work: parameters found, then mean and
standard deviation at 10 000 places. Medians of a few rounds, linear
algebra on one thread for all, as `rig` has it.
"""

import time
import warnings
from typing import Any

import numpy as np
from pykrige.ok import OrdinaryKriging
from scipy.optimize import linprog
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import ConstantKernel, Matern, WhiteKernel

from rig.surface.draws import conditional_draws
from rig.surface.floor_model import floor_model
from rig.target.lowest import lowest_plane
from tests.surface.calibration import KINDS, LENGTH_MM, WIDTH_MM, make_floor

ERROR_MM = 0.5
Row = dict[str, object]


def run() -> list[Row]:
    warnings.filterwarnings("ignore")
    _ours(*_survey(30, 9)[:3], *_raster(20))  # what is loaded and compiled once is not timed
    rows = []
    for shots, aim in ((60, 2), (250, 4), (1000, 10)):
        rows += _against(shots, aim)
    return [*rows, _one_more(), _draws(), _sloped()]


def _survey(shots: int, seed: int) -> tuple[Any, Any, Any, Any]:
    """Shots on a grid over a made-up floor: smooth, ridged, crowned and dished ones in turn."""
    rng = np.random.default_rng(seed)
    floor = make_floor(KINDS[seed % len(KINDS)], rng)
    across = int(np.sqrt(shots * WIDTH_MM / LENGTH_MM))
    along = -(-shots // across)
    x, y = np.meshgrid(
        np.linspace(150, WIDTH_MM - 150, across), np.linspace(150, LENGTH_MM - 150, along)
    )
    kept = rng.permutation(across * along)[:shots]
    x, y = x.ravel()[kept], y.ravel()[kept]
    return x, y, floor.at(x, y) + ERROR_MM * rng.standard_normal(shots), floor.smooth


def _raster(across: int) -> tuple[Any, Any]:
    x, y = np.meshgrid(np.linspace(0, WIDTH_MM, across), np.linspace(0, LENGTH_MM, across))
    return x.ravel(), y.ravel()


def _ours(x: Any, y: Any, z: Any, at_x: Any, at_y: Any) -> Any:
    return floor_model().fit(x, y, z, ERROR_MM).predict(at_x, at_y, quick=True)[0]


def _scikit(x: Any, y: Any, z: Any, at_x: Any, at_y: Any) -> Any:
    kernel = ConstantKernel(9.0) * Matern(1500.0, (300.0, 1e4), nu=2.5) + WhiteKernel(0.2)
    model = GaussianProcessRegressor(kernel, alpha=ERROR_MM**2)
    middle = z.mean()
    model.fit(np.column_stack([x, y]), z - middle)
    return model.predict(np.column_stack([at_x, at_y]), return_std=True)[0] + middle


def _pykrige(x: Any, y: Any, z: Any, at_x: Any, at_y: Any) -> Any:
    return OrdinaryKriging(x, y, z, variogram_model="spherical").execute("points", at_x, at_y)[0]


def _against(shots: int, aim: int) -> list[Row]:
    at = _raster(100)
    seconds: dict[str, list[float]] = {"ours": [], "scikit": [], "pykrige": []}
    errors: dict[str, list[float]] = {"ours": [], "scikit": [], "pykrige": []}
    rounds = 12 if shots < 500 else 4
    for seed in range(rounds):
        x, y, z, floor = _survey(shots, seed)
        truth = floor(*at)
        for name, work in (("ours", _ours), ("scikit", _scikit), ("pykrige", _pykrige)):
            begun = time.perf_counter()
            found = work(x, y, z, *at)
            seconds[name].append(time.perf_counter() - begun)
            errors[name].append(float(np.sqrt(np.mean((found - truth) ** 2))))
    took = {name: float(np.median(values)) for name, values in seconds.items()}
    off = {name: float(np.mean(values)) for name, values in errors.items()}
    return [
        {
            "what": f"{shots} shots, fit and 10 000 places, ms",
            "value": round(1000 * took["ours"], 1),
            "against": f"scikit-learn {1000 * took['scikit']:.0f}, ratio "
            f"{took['scikit'] / took['ours']:.1f}, aim {aim} or more; PyKrige "
            f"{1000 * took['pykrige']:.0f}, ratio {took['pykrige'] / took['ours']:.1f}, aim 1",
        },
        {
            "what": f"{shots} shots, error against the truth, mm",
            "value": round(off["ours"], 3),
            "against": f"scikit-learn {off['scikit']:.3f}, PyKrige {off['pykrige']:.3f}; "
            "aim no more than the better",
        },
    ]


def _one_more() -> Row:
    x, y, z, _ = _survey(250, 3)
    adds, fits = [], []
    for _ in range(5):
        model = floor_model().fit(x[:-1], y[:-1], z[:-1], ERROR_MM)
        begun = time.perf_counter()
        model.add(x[-1], y[-1], z[-1], ERROR_MM)
        adds.append(time.perf_counter() - begun)
        begun = time.perf_counter()
        floor_model().fit(x, y, z, ERROR_MM)
        fits.append(time.perf_counter() - begun)
    return {
        "what": "one more shot at 250, ms",
        "value": round(1000 * min(adds), 3),
        "against": f"refit {1000 * min(fits):.1f} ms, ratio {min(fits) / min(adds):.0f}; "
        "aim 20 or more",
    }


def _draws() -> Row:
    x, y, z, _ = _survey(250, 4)
    x, y = x * (15 / 12), y * (20 / 15)  # over 300 ft²
    model = floor_model().fit(x, y, z, ERROR_MM)
    step = 50.8
    wide, long = 15 * 304.8, 20 * 304.8
    at = np.meshgrid(np.arange(step / 2, wide, step), np.arange(step / 2, long, step))
    cells = at[0].ravel(), at[1].ravel()
    seconds = []
    for seed in range(3):
        begun = time.perf_counter()
        conditional_draws(model, *cells, step, 1000, np.random.default_rng(seed))
        seconds.append(time.perf_counter() - begun)
    return {
        "what": f"1 000 conditional floors of {len(cells[0])} cells from 250 shots, s",
        "value": round(min(seconds), 2),
        "against": "aim 3 or less",
    }


def _sloped() -> Row:
    rng = np.random.default_rng(0)
    x, y = (a.ravel() for a in np.meshgrid(np.linspace(0, 6000, 400), np.linspace(0, 4500, 250)))
    z = 3e-3 * x - 2e-3 * y + 3 * np.sin(x / 900) * np.cos(y / 800)
    z += 0.3 * rng.standard_normal(len(x))
    limit = 0.002
    turn = 2 * np.pi * (np.arange(32) + 0.5) / 32
    right, up = (x - x.mean()) / 1000, (y - y.mean()) / 1000
    rows = np.vstack(
        [
            -np.column_stack([np.ones(len(x)), right, up]),
            np.column_stack([np.zeros(32), np.cos(turn), np.sin(turn)]),
        ]
    )
    limits = np.concatenate([-z, np.full(32, limit * 1000 * np.cos(np.pi / 32))])
    ours, whole = [], []
    for _ in range(3):
        begun = time.perf_counter()
        plane = lowest_plane(x, y, z, 1.0, limit)
        ours.append(time.perf_counter() - begun)
        begun = time.perf_counter()
        solved = linprog([1, 0, 0], rows, limits, bounds=[(None, None)] * 3, method="highs")
        whole.append(time.perf_counter() - begun)
    assert plane is not None
    apart = abs(float(plane.at(x.mean(), y.mean())) - solved.fun)
    return {
        "what": "sloped plane over 100 000 cells, ms",
        "value": round(1000 * min(ours), 1),
        "against": f"all cells to HiGHS {1000 * min(whole):.0f} ms, ratio "
        f"{min(whole) / min(ours):.0f}, aim 20 or more; same plane within {apart:.1e} mm",
    }
