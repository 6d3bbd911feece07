"""Draws many places together: dense scans to means, fine rasters to lumps, looks to a lattice."""

from __future__ import annotations

import numpy as np

from rig.surface.covariance import Floats, Smoothness

# More shots than this are drawn together to the mean of neighbours: a dense scan.
MOST_EXACT = 1_600
_MOST_LUMPS = 2_000
# The rougher kernel bends at its shots, and takes a finer lattice.
_PER_LENGTH = {1.5: 16.0, 2.5: 9.0}


def lattice_for(
    x: Floats, y: Floats, length_mm: float, smoothness: Smoothness
) -> tuple[Floats, Floats] | None:
    """Columns and rows of a lattice that is good for these places, where it saves work."""
    if len(x) == 0:
        return None
    columns, rows = (lattice_nodes(at, length_mm, smoothness) for at in (x, y))
    if len(columns) * len(rows) > 0.6 * len(x) or np.ptp(x) <= 0 or np.ptp(y) <= 0:
        return None
    return columns, rows


def lattice_nodes(at: Floats, length_mm: float, smoothness: Smoothness) -> Floats:
    """Places along one direction from which a floor of a length may be interpolated."""
    step = length_mm / _PER_LENGTH[smoothness]
    return np.linspace(at.min(), at.max(), max(int(np.ceil(np.ptp(at) / step)), 4) + 1)


def lumped(x: Floats, y: Floats, weight: Floats) -> tuple[Floats, Floats, Floats]:
    """Draw many weighted places together to some 2 000 middles: a sum over a fine raster."""
    if len(x) <= _MOST_LUMPS or np.any(weight <= 0):
        return x, y, weight
    width, length = max(float(np.ptp(x)), 1.0), max(float(np.ptp(y)), 1.0)
    side = np.sqrt(width * length / _MOST_LUMPS)
    column, row = (x - x.min()) // side, (y - y.min()) // side
    _, owner = np.unique(column * (length // side + 2) + row, return_inverse=True)
    lump: Floats = np.bincount(owner, weight).astype(np.float64)
    return np.bincount(owner, x * weight) / lump, np.bincount(owner, y * weight) / lump, lump


def binned(
    x: Floats, y: Floats, z: Floats, noise_mm2: Floats, most: int = MOST_EXACT
) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    """Draw a dense scan together to at most so many means of neighbours.

    Returns places, heights, the known variance of each mean, and how many shots are in it: its
    roughness is the nugget over that count.
    """
    if len(x) <= most:
        return x, y, z, noise_mm2, np.ones(len(x))
    width, length = max(float(np.ptp(x)), 1.0), max(float(np.ptp(y)), 1.0)
    side = np.sqrt(width * length / most)
    while True:
        column, row = (x - x.min()) // side, (y - y.min()) // side
        _, owner = np.unique(column * (length // side + 2) + row, return_inverse=True)
        count = np.bincount(owner).astype(np.float64)
        if len(count) <= most:
            break
        side *= 1.02
    means = [np.bincount(owner, values) / count for values in (x, y, z, noise_mm2)]
    return means[0], means[1], means[2], means[3] / count, count
