"""Tells how much compound fills the room up to the finished plane, and how sure that is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from rig.errors import BadInput
from rig.language import numeral, say
from rig.surface.gaussian_process import GaussianProcess
from rig.surface.triangulation import Triangulation
from rig.target.level import Plane, cover_of

L_PER_MM3 = 1e-6
# Normal quantiles: 95 % one-sided, and half of the central 95 %.
ONE_SIDED_95 = 1.6448536269514722
CENTRAL_95 = 1.959963984540054


@dataclass(frozen=True)
class Volume:
    """Compound in litres, without waste.

    `p95_l` is not exceeded with 95 % probability; `low_l` to `high_l` is the central 95 %;
    `triangulated_l` is what flat triangles between the shots give, where they were asked for.
    """

    mean_l: float
    sd_l: float
    p95_l: float
    low_l: float
    high_l: float
    area_m2: float
    triangulated_l: float | None = None


def volume_under(
    plane: Plane,
    surface: GaussianProcess,
    x_mm: ArrayLike,
    y_mm: ArrayLike,
    area_mm2: ArrayLike,
    triangulation: Triangulation | None = None,
    taken_mm3: float = 0.0,
) -> Volume:
    """Volume between a floor and a finished plane over a raster.

    The standard deviation is that of the sum over all cells, from the joint posterior of the
    surface: errors of neighbouring cells do not average out as independent ones would.

    Parameters
    ----------
    plane : Plane
    surface : GaussianProcess
        Fitted.
    x_mm, y_mm : arrays, shape (m,)
        Centroids of the covered part of each cell.
    area_mm2 : array, shape (m,)
        Covered area of each cell: share times the square of the step.
    triangulation : Triangulation, optional
        Fitted to the same shots.
    taken_mm3 : float
        Ground off the floor before, to be filled too; with it the floor may stand above the plane.

    Raises
    ------
    BadInput
        Where the best estimate of the floor stands above the plane: that is no volume to pour.
    """
    x, y = np.asarray(x_mm, dtype=np.float64), np.asarray(y_mm, dtype=np.float64)
    area = np.broadcast_to(np.asarray(area_mm2, dtype=np.float64), x.shape)
    floor, _ = surface.predict(x, y, quick=True)
    cover = cover_of(plane, x, y, floor, area)
    if cover.min_mm < -1e-6 and taken_mm3 == 0:
        raise BadInput(
            say(
                "The floor stands {min} mm above the finished plane at x {min_x} mm, y {min_y} "
                "mm; raise the plane first.",
                min=numeral(-cover.min_mm, ".1f"),
                min_x=numeral(cover.min_x_mm, ".0f"),
                min_y=numeral(cover.min_y_mm, ".0f"),
            )
        )
    under, sd = surface.integral(x, y, area)
    whole = float(area @ plane.at(x, y)) + taken_mm3
    mean_l, sd_l = (whole - under) * L_PER_MM3, sd * L_PER_MM3
    flat_l = None
    if triangulation is not None:
        flat_l = (whole - float(area @ triangulation.predict(x, y))) * L_PER_MM3
    return volume_of(mean_l, sd_l, float(area.sum()) * 1e-6, flat_l)


def widened(volume: Volume, more_sd_l: float) -> Volume:
    """Return a volume with one more doubt, independent of the others (JCGM 100:2008, 5.1.2)."""
    sd_l = float(np.hypot(volume.sd_l, more_sd_l))
    return volume_of(volume.mean_l, sd_l, volume.area_m2, volume.triangulated_l)


def volume_of(mean_l: float, sd_l: float, area_m2: float, flat_l: float | None = None) -> Volume:
    """Return a volume by its mean and standard deviation, taken as normal."""
    return Volume(
        mean_l,
        sd_l,
        mean_l + ONE_SIDED_95 * sd_l,
        max(mean_l - CENTRAL_95 * sd_l, 0.0),
        mean_l + CENTRAL_95 * sd_l,
        area_m2,
        flat_l,
    )
