r"""Names the places between shots where a hump may hide that would break the cover.

A straightedge laid there shows in a minute what no shot stands on.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rig.surface.added import explained_by
from rig.surface.covariance import Floats
from rig.surface.gaussian_process import GaussianProcess
from rig.surface.high_point import Extremes
from rig.surface.humps import unseen_humps
from rig.surface.looked import HUMP_RADIUS_MM, Looked, bell
from rig.surface.looked import shown as edge_shows

# What shots would let pass once in twenty hides; more than this is seen with bare eyes.
_PASSES, _SEEN_MM = 1.0 / 20.0, 12.7
_LIKELIER = 100.0
# Humps are drawn so many times over for each drawn floor; places that hide little are left out.
_TIMES = 8
_LEAST_SHARE = 0.01


@dataclass(frozen=True)
class Look:
    """Where to lay a straightedge, and how high a hump could hide there.

    `plane_mm` is by how much a level plane would come down were all such places known to hold no
    hump, times this place's share in it.
    """

    x_mm: float
    y_mm: float
    hides_mm: float
    plane_mm: float


def suggest_looks(
    model: GaussianProcess,
    extremes: Extremes,
    area_mm2: Floats,
    n: int,
    looks: Sequence[Looked] = (),
) -> list[Look]:
    r"""Places whose unseen humps would most often stand over the bound, worst first.

    Parameters
    ----------
    model : GaussianProcess
    extremes : Extremes
        Of that model.
    area_mm2 : array, shape (m,)
        Of the cells of the extremes' raster.
    n : int
        At most so many.
    looks : sequence of Looked
        What was laid over the floor already; the extremes know of it.
    """
    rng = np.random.default_rng(len(extremes.x_mm))
    draws = len(extremes.highest_mm)
    draw, cell, height = unseen_humps(
        model, extremes.x_mm, extremes.y_mm, area_mm2, _TIMES * draws, rng, looks
    )
    over = extremes.highest_mm[draw % draws, cell] + height > extremes.even_mm
    x, y = extremes.x_mm[cell[over]], extremes.y_mm[cell[over]]
    cost = max(extremes.high.upper_mm - extremes.even_mm, 0.0)
    found: list[Look] = []
    left = np.ones(len(x), dtype=bool)
    while left.any() and len(found) < n:
        here = np.flatnonzero(left)
        away = np.hypot(np.subtract.outer(x[here], x[here]), np.subtract.outer(y[here], y[here]))
        near = away <= HUMP_RADIUS_MM
        best = int(np.argmax(near.sum(axis=1)))
        share = float(near[best].sum()) / len(x)
        if share < _LEAST_SHARE:
            break
        at_x, at_y = float(x[here[best]]), float(y[here[best]])
        found.append(Look(at_x, at_y, hides_mm(model, at_x, at_y, looks), share * cost))
        left[here[near[best]]] = False
    return found


def hides_mm(
    model: GaussianProcess, x_mm: float, y_mm: float, looks: Sequence[Looked] = ()
) -> float:
    """Height of a hump 3 ft across that shots and looks would let pass once in twenty."""
    return float(hidden_mm(model, np.array([x_mm]), np.array([y_mm]), looks)[0])


def hidden_mm(
    model: GaussianProcess, x_mm: Floats, y_mm: Floats, looks: Sequence[Looked] = ()
) -> Floats:
    """`hides_mm` of many places, (m,), whatever the shots read there."""
    away = np.hypot(np.subtract.outer(x_mm, model.x_mm), np.subtract.outer(y_mm, model.y_mm))
    seen = np.sum(bell(away, HUMP_RADIUS_MM) ** 2 / model.shot_variance_mm2, axis=1)
    for look in looks:
        if not look.rocks:
            seen += (edge_shows(look, x_mm, y_mm, HUMP_RADIUS_MM) / look.seen_mm) ** 2
    hidden: Floats = np.sqrt(-2.0 * np.log(_PASSES) / np.maximum(seen, 1e-12))
    return np.minimum(hidden, _SEEN_MM)


def standing_mm(
    model: GaussianProcess, x_mm: Floats, y_mm: Floats, looks: Sequence[Looked] = ()
) -> tuple[Floats, NDArray[np.bool_]]:
    r"""Height of the highest hump or deepest dip 3 ft across that may stand at places, (m,).

    By what the shots read: the greatest for which they are at least a twentieth as likely as
    without it, a with :math:`a\,b^T P z - \tfrac12 a^2\,b^T P b = -\log 20`
    (`rig.surface.added.explained_by`). A look that showed none holds it down.

    Returns
    -------
    height_mm : array, shape (m,)
    spoken_for : array of bool, shape (m,)
        Where the shots are a hundred times likelier with one.
    """
    away = np.hypot(np.subtract.outer(model.x_mm, x_mm), np.subtract.outer(model.y_mm, y_mm))
    towards, precision = explained_by(model, bell(away, HUMP_RADIUS_MM))
    for look in looks:
        if not look.rocks:
            precision += (edge_shows(look, x_mm, y_mm, HUMP_RADIUS_MM) / look.seen_mm) ** 2
    precision, size = np.maximum(precision, 1e-12), np.abs(towards)
    standing = (size + np.sqrt(size**2 - 2.0 * np.log(_PASSES) * precision)) / precision
    return np.minimum(standing, _SEEN_MM), size**2 / precision > 2.0 * np.log(_LIKELIER)
