"""Turns a dense scan, up to millions of points, into a surface that can be judged.

Points are averaged over square bins; the doubt of a bin is what its points scatter by. Nothing
is smoothed beyond that, and bins without points take their nearest neighbour's height.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike
from scipy import ndimage

from rig.errors import CannotAnswer
from rig.flatness.field import Field, Floats, lattice, step_for
from rig.flatness.model import DRAW_STEP_MM, Model, spacing_of
from rig.room import Outline
from rig.surface.places import checked_places, checked_values

BIN_MM = 25.4
MOST_BINS = 160_000
MOST_DRAWN_BINS = 6_000
_POINTS_A_BIN = 4.0
# What all points of a bin may be wrong by together (common practice, no source).
COMMON_MM = 0.2


def scan_model(
    outline: Outline,
    x_mm: ArrayLike,
    y_mm: ArrayLike,
    z_mm: ArrayLike,
    rng: np.random.Generator,
    draws: int = 60,
) -> Model:
    """Bin a scan's points over a room.

    Raises
    ------
    CannotAnswer
        When no point lies on the floor.
    """
    x, y = checked_places(x_mm, y_mm)
    z = checked_values(z_mm, x, "height")
    # Wide enough for a few points each, so that few bins are empty.
    few = math.sqrt(_POINTS_A_BIN * outline.polygon.area / max(len(x), 1))
    fine = step_for(outline, max(BIN_MM, few), MOST_BINS)
    mean, _, seen_x, seen_y = _binned(outline, x, y, z, fine)
    step = max(step_for(outline, DRAW_STEP_MM, MOST_DRAWN_BINS), fine)
    coarse, stderr, *_ = _binned(outline, x, y, z, step)
    noise = rng.standard_normal((*coarse.z_mm.shape, draws))
    drawn = coarse.z_mm[..., None] + np.hypot(stderr, COMMON_MM)[..., None] * noise
    return Model(
        mean,
        Field(coarse.x0_mm, coarse.y0_mm, step, drawn),
        coarse,
        max(spacing_of(outline, seen_x, seen_y), mean.step_mm),
        COMMON_MM,
    )


def _binned(
    outline: Outline, x: Floats, y: Floats, z: Floats, step_mm: float
) -> tuple[Field, Floats, Floats, Floats]:
    """Mean of each node's bin, its standard error, and the places of the bins with points."""
    xs, ys = lattice(outline, step_mm)
    column = np.rint((x - xs[0]) / step_mm).astype(np.intp)
    row = np.rint((y - ys[0]) / step_mm).astype(np.intp)
    inside = (column >= 0) & (column < len(xs)) & (row >= 0) & (row < len(ys))
    cell = row[inside] * len(xs) + column[inside]
    middle = float(np.mean(z))
    height = z[inside] - middle
    shape = (len(ys), len(xs))
    count = np.bincount(cell, minlength=len(ys) * len(xs)).reshape(shape)
    if not count.any():
        raise CannotAnswer("No point of the scan lies on the floor; is the unit right?")
    some = np.maximum(count, 1)
    mean = np.bincount(cell, height, count.size).reshape(shape) / some
    square = np.bincount(cell, height**2, count.size).reshape(shape) / some
    spread = np.sqrt(np.maximum(square - mean**2, 0.0))
    typical = float(np.median(spread[count > 2])) if np.any(count > 2) else 0.0
    stderr = np.where(count > 2, spread, typical) / np.sqrt(some)
    empty = count == 0
    if empty.any():
        nearest = ndimage.distance_transform_edt(empty, return_distances=False, return_indices=True)
        mean, stderr = mean[tuple(nearest)], stderr[tuple(nearest)]
    j, i = np.nonzero(~empty)
    field = Field(float(xs[0]), float(ys[0]), step_mm, mean + middle)
    return field, stderr, xs[i], ys[j]
