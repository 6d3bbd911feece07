"""Looks out for what the model does not explain: a shot that its neighbours contradict, a floor
that breaks the model.
"""  # noqa: D205

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from rig.surface.covariance import Floats
from rig.surface.gaussian_process import GaussianProcess

# A shot this many standard deviations off what the others say is named: 1 in 16 000 by chance.
UNEXPLAINED_SDS = 4.0
# One as far off as this is suspected, and judged by a model that never saw it.
_SUSPECT_SDS = 2.2
_MOST_NAMED = 5
# A floor is said to break the model where heavy tails like its own come by chance this seldom.
_BY_CHANCE = 0.005
_FEWEST = 20
_FAR_SDS = 2.0


@dataclass(frozen=True)
class Unexplained:
    """A shot (its number among those given) and how far it stands over what the others say."""

    shot: int
    above_mm: float
    sds: float


def unexplained_shots(
    model: GaussianProcess, x_mm: Floats, y_mm: Floats, z_mm: Floats, stderr_mm: Floats
) -> list[Unexplained]:
    """Shots that the others do not explain, worst first; at most five.

    A wrong shot widens the doubt of a model that is fitted to it, and so hides itself. Each
    suspect is therefore left out, the model fitted anew, and the shot held against that
    (externally studentised: Cook and Weisberg, Residuals and Influence in Regression, 1982).

    Parameters
    ----------
    model : GaussianProcess
        Fitted to these very shots; it is not changed.
    x_mm, y_mm, z_mm, stderr_mm : arrays, shape (n,)
    """
    if len(x_mm) != len(model.x_mm):  # a dense scan: its means hide single shots
        return []
    keep = np.ones(len(x_mm), dtype=bool)
    found: list[Unexplained] = []
    residual, sd = model.loo()
    # A wrong shot casts doubt on its neighbours too; they are judged once it is out.
    while len(found) < _MOST_NAMED and keep.sum() > 5:
        far = np.where(np.isfinite(sd), np.abs(np.nan_to_num(residual)) / sd, 0.0)
        local = int(np.argmax(far))
        if far[local] < _SUSPECT_SDS:
            break
        worst = int(np.flatnonzero(keep)[local])
        keep[worst] = False
        rest = model.like().fit(x_mm[keep], y_mm[keep], z_mm[keep], stderr_mm[keep])
        off, doubt = surprise(rest, x_mm[worst], y_mm[worst], z_mm[worst], stderr_mm[worst])
        if abs(off) < UNEXPLAINED_SDS * doubt:
            break
        found.append(Unexplained(worst, off, abs(off) / doubt))
        residual, sd = rest.loo()
    return found


def surprise(
    model: GaussianProcess, x_mm: float, y_mm: float, z_mm: float, stderr_mm: float
) -> tuple[float, float]:
    """How far a shot stands over what the model expects there, and the doubt of that, in mm."""
    mean, sd = model.predict([x_mm], [y_mm], nugget=True)
    return float(z_mm - mean[0]), float(np.hypot(sd[0], stderr_mm))


def breaks_the_model(model: GaussianProcess) -> NDArray[np.intp]:
    """Shots that stand out on a floor which the model does not fit; none where it fits.

    A floor that kinks or steps between shots, as at a ridge, a joint or a patch, leaves residuals
    with heavy tails: most small, some far off. Their kurtosis is tested (Anscombe and Glynn,
    Biometrika 70 (1983) 227–234). The doubt told may then be too small near such a place.
    """
    residual, sd = model.loo()
    sound = np.isfinite(sd)
    if sound.sum() < _FEWEST:
        return np.empty(0, dtype=np.intp)
    off = np.zeros(len(sd))
    off[sound] = residual[sound] / sd[sound]
    if heavy_tails(off[sound]) > _BY_CHANCE:
        return np.empty(0, dtype=np.intp)
    far = np.flatnonzero(np.abs(off) > _FAR_SDS)
    return far[np.argsort(-np.abs(off[far]))].astype(np.intp)


def heavy_tails(values: Floats) -> float:
    """Chance that normal values have a kurtosis as high as these, for 20 values or more.

    Anscombe and Glynn, Biometrika 70 (1983) 227–234.
    """
    n = len(values)
    away = values - values.mean()
    if not np.any(away):
        return 1.0
    kurtosis = float(np.mean(away**4) / np.mean(away**2) ** 2)
    expected = 3.0 * (n - 1) / (n + 1)
    variance = 24.0 * n * (n - 2) * (n - 3) / ((n + 1) ** 2 * (n + 3) * (n + 5))
    standard = (kurtosis - expected) / np.sqrt(variance)
    skew = 6.0 * (n * n - 5 * n + 2) / ((n + 7) * (n + 9))
    skew *= np.sqrt(6.0 * (n + 3) * (n + 5) / (n * (n - 2) * (n - 3)))
    a = 6.0 + 8.0 / skew * (2.0 / skew + np.sqrt(1.0 + 4.0 / skew**2))
    below = 1.0 + standard * np.sqrt(2.0 / (a - 4.0))
    root = np.sign(below) * np.cbrt((1.0 - 2.0 / a) / abs(below))
    return float(ndtr(-(1.0 - 2.0 / (9.0 * a) - root) / np.sqrt(2.0 / (9.0 * a))))
