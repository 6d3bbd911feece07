"""The running picture of a survey: follows each shot in place, refits only when it must.

A shot adds a row to the model's Cholesky factor and one to what the raster knows; parameters are
found anew when they stop explaining what comes, or when half as many shots again are there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import solve_triangular
from scipy.special import chdtri

from rig.errors import CannotAnswer
from rig.surface.covariance import Floats
from rig.surface.draws import conditional_draws
from rig.surface.floor_model import floor_model
from rig.surface.gaussian_process import GaussianProcess
from rig.surface.look_out import surprise
from rig.surface.new_shot import NewShot

# Below so many shots everything is fitted anew: that costs nothing, and each shot tells much.
_FEW = 12
_MORE_BY = 1.5
# Shots whose surprise is judged together, and by how little chance they must be this surprising.
_JUDGED = 8
_BY_CHANCE = 0.005
_DRAWS = 300
# A picture of more shots stands on means of neighbours: it takes no more memory and time, and shows
# what a screen can. The answers after the survey know every shot.
_MOST = 400


@dataclass(frozen=True)
class Glance:
    """What the floor looks like after a shot.

    `off_mm` is how far the shot stood above what those before it said, with `off_sds` its size in
    standard deviations; None while too few were there. `bound_mm` lies over the highest place with
    95 %, by the factor found at the last fit. `mean_mm` is the floor's mean height.
    """

    shots: int
    x_mm: float
    y_mm: float
    high_mm: float
    bound_mm: float
    mean_mm: float
    low_mm: float
    off_mm: float | None
    off_sds: float | None
    refitted: bool


class RunningPicture:
    """Surface over a raster that grows with the survey.

    Parameters
    ----------
    x_mm, y_mm : arrays, shape (m,)
        A place in each cell.
    share : array, shape (m,)
        Covered share of each cell.
    step_mm : float
        Side of a cell.
    """

    def __init__(self, x_mm: Floats, y_mm: Floats, share: Floats, step_mm: float) -> None:
        self._x, self._y, self._step = x_mm, y_mm, step_mm
        self._weight = share / share.sum()
        self._shots: list[tuple[float, float, float, float]] = []
        self.model: GaussianProcess | None = None
        self._fitted_at = 0
        self._surprises: list[float] = []
        self._factor = 3.0

    def start(self, shots: list[tuple[float, float, float, float]]) -> None:
        """Take in shots (x, y, z, stderr; mm) all at once, as when a survey is taken up again."""
        self._shots = list(shots)
        self._fit()

    def add(self, x_mm: float, y_mm: float, z_mm: float, stderr_mm: float) -> Glance | None:
        """Take in one more shot; None while they are too few for a surface."""
        off = sds = None
        self._shots.append((x_mm, y_mm, z_mm, stderr_mm))
        refitted = False
        if self.model is not None:
            off, sds = self.judge(x_mm, y_mm, z_mm, stderr_mm) or (0.0, 0.0)
            self._surprises.append(sds)
            self._follow(self.model.add(x_mm, y_mm, z_mm, stderr_mm))
        if self.model is None or self._must_refit():
            refitted = self._fit()
        return self._glance(off, sds, refitted)

    def judge(
        self, x_mm: float, y_mm: float, z_mm: float, stderr_mm: float
    ) -> tuple[float, float] | None:
        """How far a shot would stand above what those so far say, in mm and in sds; no change."""
        if self.model is None:
            return None
        off, doubt = surprise(self.model, x_mm, y_mm, z_mm, stderr_mm)
        return off, abs(off) / max(doubt, 1e-9)

    def undo(self) -> None:
        """Take the last shot back."""
        self._shots.pop()
        self._fit()

    def _must_refit(self) -> bool:
        count = len(self._shots)
        if count <= _FEW or count >= _MORE_BY * self._fitted_at:
            return True
        if self.model is not None and len(self.model.x_mm) >= _MORE_BY * _MOST:
            return True
        recent = self._surprises[-_JUDGED:]
        if len(recent) < 3:
            return False
        square = float(np.sum(np.square(recent)))
        low, high = chdtri(len(recent), [1.0 - _BY_CHANCE, _BY_CHANCE])
        return not low <= square <= high

    def _fit(self) -> bool:
        self.model, self._surprises = None, []
        if len(self._shots) < 4:
            return False
        x, y, z, stderr = (np.array(column) for column in zip(*self._shots, strict=True))
        model = floor_model()
        try:
            model.fit(x, y, z, stderr, most=_MOST)
        except CannotAnswer:  # all on one line so far
            return False
        self.model, self._fitted_at = model, len(self._shots)
        self._reach = model.reach(self._x, self._y)
        mean, sd = self._surface()
        rng = np.random.default_rng(len(x))
        smooth = conditional_draws(model, self._x, self._y, self._step, _DRAWS, rng)
        top = float(np.quantile(smooth.max(axis=1), 0.95))
        # The factor k for which the highest mean + k·sd is the bound: found by bisection.
        low, high = 0.0, 10.0
        for _ in range(30):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if np.max(mean + middle * sd) < top else (low, middle)
        self._factor = high
        return True

    def _follow(self, shot: NewShot) -> None:
        """Give the raster's whitened reach its row for the new shot."""
        assert self.model is not None
        white, gap = self._reach
        model = self.model
        alike = model.alike(np.array([shot.x_mm]), np.array([shot.y_mm]), self._x, self._y)
        row = (alike[0] - shot.row @ white) / shot.pivot
        self._reach = np.vstack([white, row]), gap - np.outer(shot.trend, row)

    def _surface(self) -> tuple[Floats, Floats]:
        assert self.model is not None
        white, gap = self._reach
        mean = self.model.mean_from(self._x, self._y, white)
        trend = solve_triangular(self.model.trend_lower, gap, lower=True, check_finite=False)
        variance = self.model.floor_mm2 - np.einsum("ij,ij->j", white, white)
        variance += np.einsum("ij,ij->j", trend, trend)
        return mean, np.sqrt(np.maximum(variance, 0.0))

    def _glance(self, off: float | None, sds: float | None, refitted: bool) -> Glance | None:
        if self.model is None:
            return None
        mean, sd = self._surface()
        top = int(np.argmax(mean))
        return Glance(
            len(self._shots),
            float(self._x[top]),
            float(self._y[top]),
            float(mean[top]),
            float(np.max(mean + self._factor * sd)),
            float(self._weight @ mean),
            float(mean.min()),
            off,
            sds,
            refitted,
        )
