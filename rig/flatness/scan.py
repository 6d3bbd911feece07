"""Turns a dense scan, up to millions of points, into a surface that can be judged.

Points are averaged over square bins; the doubt of a bin is what its points scatter by, and bins
without points take their nearest neighbour's height. What of the bins' unevenness is the scanner's
noise is taken out once: by a Wiener filter over the cosines of the room (Wiener, Extrapolation,
Interpolation and Smoothing of Stationary Time Series, 1949), so that draws are as uneven as the
floor is, not as floor and noise are.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike
from scipy import fft, ndimage

from rig.errors import CannotAnswer
from rig.flatness.field import Field, Floats, lattice, step_for
from rig.flatness.model import DRAW_STEP_MM, Model, spacing_of
from rig.language import say
from rig.room import Outline
from rig.surface.places import checked_places, checked_values

BIN_MM = 25.4
MOST_BINS = 160_000
MOST_DRAWN_BINS = 6_000
_POINTS_A_BIN = 4.0
# What neighbouring points may be wrong by together, and over how wide a place (common practice, no
# source).
COMMON_MM, COMMON_OVER_MM = 0.2, 500.0
# Cosines are taken to be as strong as their neighbours, so many to each side; those that are no
# stronger than noise is by chance (two standard deviations) are noise.
_ALIKE = 4
_BY_CHANCE = 1.0 + 2.0 * math.sqrt(2.0) / (2 * _ALIKE + 1)


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
    mean, stderr, seen_x, seen_y = _binned(outline, x, y, z, fine)
    step = max(step_for(outline, DRAW_STEP_MM, MOST_DRAWN_BINS), fine)
    coarse, doubt, *_ = _binned(outline, x, y, z, step)
    best, left = _filtered(coarse.z_mm, doubt)
    size = (*best.shape, draws)
    left = left + _common(best.shape, step)
    noise = np.sqrt(left)[..., None] * rng.standard_normal(size)
    drawn = best[..., None] + fft.idctn(noise, axes=(0, 1), norm="ortho")
    return Model(
        replace(mean, z_mm=_filtered(mean.z_mm, stderr)[0]),
        Field(coarse.x0_mm, coarse.y0_mm, step, drawn),
        replace(coarse, z_mm=best),
        max(spacing_of(outline, seen_x, seen_y), mean.step_mm),
        COMMON_MM,
    )


def _filtered(z_mm: Floats, stderr_mm: Floats) -> tuple[Floats, Floats]:
    """Best estimate of heights known with an error, and the variance left of each cosine."""
    rows, columns = (np.linspace(-1.0, 1.0, n) for n in z_mm.shape)
    plane = np.column_stack(
        [np.ones(z_mm.size), np.repeat(rows, len(columns)), np.tile(columns, len(rows))]
    )
    flat = (plane @ np.linalg.lstsq(plane, z_mm.ravel(), rcond=None)[0]).reshape(z_mm.shape)
    waves = fft.dctn(z_mm - flat, norm="ortho")
    noise = float(np.mean(stderr_mm**2))
    power = ndimage.uniform_filter(waves**2, 2 * _ALIKE + 1, mode="nearest")
    floor = np.where(power > _BY_CHANCE * noise, power - noise, 0.0)
    share = floor / np.maximum(floor + noise, 1e-12)
    return flat + fft.idctn(share * waves, norm="ortho"), share * noise


def _common(shape: tuple[int, ...], step_mm: float) -> Floats:
    """Variance of each cosine of what neighbouring points are wrong by together."""
    across = [np.pi * np.arange(n) / (n * step_mm) for n in shape]
    square = np.add.outer(across[0] ** 2, across[1] ** 2)
    power = np.exp(-0.5 * COMMON_OVER_MM**2 * square)
    result: Floats = COMMON_MM**2 * power * power.size / power.sum()
    return result


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
        raise CannotAnswer(say("No point of the scan lies on the floor; is the unit right?"))
    some = np.maximum(count, 1)
    mean = np.bincount(cell, height, count.size).reshape(shape) / some
    square = np.bincount(cell, height**2, count.size).reshape(shape) / some
    scatter = np.maximum(square - mean**2, 0.0) * some / np.maximum(some - 1, 1)
    typical = float(np.mean(scatter[count > 2])) if np.any(count > 2) else 0.0
    stderr = np.sqrt(np.where(count > 2, scatter, typical) / some)
    empty = count == 0
    if empty.any():
        nearest = ndimage.distance_transform_edt(empty, return_distances=False, return_indices=True)
        mean, stderr = mean[tuple(nearest)], stderr[tuple(nearest)]
    j, i = np.nonzero(~empty)
    field = Field(float(xs[0]), float(ys[0]), step_mm, mean + middle)
    return field, stderr, xs[i], ys[j]
