r"""Draws the small humps and dips that no shot has seen.

Between shots a floor holds patches, blobs and nail pops that a smooth surface knows nothing of.
How many and how high is common practice, no source: so many a square metre, as high as the floor
is uneven from one shot to the next, exponentially. One that a shot would have shown is drawn as
seldom as that shot's reading allows.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from rig.surface.covariance import NARROW, Floats
from rig.surface.draws import Singles
from rig.surface.gaussian_process import GaussianProcess
from rig.surface.looked import Looked, bell, passed

PER_M2 = 0.1
# Mean height over what the floor is uneven by from one shot to the next (roughness and lines).
SIZE_SHARE = 2.0
NARROWEST_MM, WIDEST_MM = 150.0, 600.0
"""Radius of the smallest and largest, each as likely as any between."""


def uneven_mm(model: GaussianProcess) -> float:
    """What a floor is uneven by from one shot to the next: its roughness and narrow lines."""
    return float(np.sqrt(model.nugget_mm2 + sum(model.lines_mm2[:NARROW])))


def unseen_bells(
    model: GaussianProcess,
    x_mm: Floats,
    y_mm: Floats,
    area_mm2: Floats,
    draws: int,
    rng: np.random.Generator,
    looks: Sequence[Looked] = (),
) -> Floats:
    """What unseen humps and dips add to draws of a floor at places, shape (m, draws), in mm.

    Parameters
    ----------
    model : GaussianProcess
        Fitted.
    x_mm, y_mm, area_mm2 : arrays, shape (m,)
        Places, and the floor that each stands for.
    draws : int
    rng : numpy.random.Generator
    looks : sequence of Looked
    """
    added = np.zeros((len(x_mm), draws))
    for dips in (False, True):
        found = _unseen(model, x_mm, y_mm, area_mm2, draws, rng, looks, dips)
        for draw, cell, height, radius in zip(*found, strict=True):
            away = np.hypot(x_mm - x_mm[cell], y_mm - y_mm[cell])
            added[:, draw] += (-height if dips else height) * bell(away, radius)
    return added


def unseen_humps(
    model: GaussianProcess,
    x_mm: Floats,
    y_mm: Floats,
    area_mm2: Floats,
    draws: int,
    rng: np.random.Generator,
    looks: Sequence[Looked] = (),
    *,
    dips: bool = False,
) -> tuple[NDArray[np.intp], NDArray[np.intp], Singles]:
    r"""Tops of unseen humps over a raster: their draw, their cell and their height.

    Parameters
    ----------
    model : GaussianProcess
        Fitted.
    x_mm, y_mm, area_mm2 : arrays, shape (m,)
        Cells of the raster.
    draws : int
    rng : numpy.random.Generator
    looks : sequence of Looked
        What was laid over the floor between the shots.
    dips : bool
        Dips are drawn.

    Returns
    -------
    draw, cell : arrays of int, shape (k,)
    height_mm : array, shape (k,)

    Notes
    -----
    Humps are a Poisson field of bells (`rig.surface.looked.bell`). One is kept with
    probability :math:`\exp(-\tfrac12 \sum_i b_i^2 / s_i^2)`, where :math:`b_i` is what it would
    have added to shot i and :math:`s_i` the doubt of that shot, roughness included, and with that
    of what the looks found (`rig.surface.looked`).
    """
    draw, cell, height, _ = _unseen(model, x_mm, y_mm, area_mm2, draws, rng, looks, dips)
    return draw, cell, height.astype(np.float32)


def _unseen(
    model: GaussianProcess,
    x_mm: Floats,
    y_mm: Floats,
    area_mm2: Floats,
    draws: int,
    rng: np.random.Generator,
    looks: Sequence[Looked],
    dips: bool,
) -> tuple[NDArray[np.intp], NDArray[np.intp], Floats, Floats]:
    """Draw, cell, height and radius of each, shape (k,)."""
    total = float(area_mm2.sum())
    count = rng.poisson(PER_M2 * total * 1e-6, draws)
    draw = np.repeat(np.arange(draws), count)
    cell = rng.choice(len(x_mm), len(draw), p=area_mm2 / total)
    height = rng.exponential(SIZE_SHARE * uneven_mm(model), len(draw))
    radius = rng.uniform(NARROWEST_MM, WIDEST_MM, len(draw))
    away = np.hypot(
        np.subtract.outer(x_mm[cell], model.x_mm), np.subtract.outer(y_mm[cell], model.y_mm)
    )
    shown = height[:, None] * bell(away, radius[:, None])
    unseen = np.exp(-0.5 * np.sum(shown**2 / model.shot_variance_mm2, axis=1))
    unseen *= passed(looks, x_mm[cell], y_mm[cell], radius, height, dips=dips)
    kept = rng.random(len(draw)) < unseen
    return draw[kept], cell[kept], height[kept], radius[kept]
