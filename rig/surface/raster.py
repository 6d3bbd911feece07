r"""Looks at a surface over a raster of places at a small part of the cost of one place at a time.

What the shots say at a place is a sum of a part that is smooth over the room (undulation, trend),
one that depends on x alone and one on y alone (lines along the walls). The first is found on a
lattice and carried over by cubic splines, the others once for each column and row; the doubt is a
square of the sum, and so a sum of products of the three.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import make_interp_spline

from rig.surface.binning import lattice_nodes
from rig.surface.covariance import Floats, Smoothness

# A column or row of fewer places than this is not worth its own work.
_FEWEST = 5


@dataclass(frozen=True, eq=False)
class Raster:
    """Columns and rows (mm) that many of a list of places lie on.

    `inside` numbers the places that do, `column` and `row` say where each of these lies; `outside`
    numbers the rest.
    """

    columns: Floats
    rows: Floats
    inside: NDArray[np.intp]
    column: NDArray[np.intp]
    row: NDArray[np.intp]
    outside: NDArray[np.intp]


def raster_of(x_mm: Floats, y_mm: Floats) -> Raster | None:
    """Columns and rows that places lie on; None where they are no raster, or a small one."""
    kept = np.ones(len(x_mm), dtype=bool)
    for at in (x_mm, y_mm):
        _, index, count = np.unique(np.round(at, 6), return_inverse=True, return_counts=True)
        kept &= count[index] >= _FEWEST
    inside = np.flatnonzero(kept)
    if len(inside) < 0.5 * len(x_mm) or len(inside) < 100:
        return None
    columns, column = np.unique(np.round(x_mm[inside], 6), return_inverse=True)
    rows, row = np.unique(np.round(y_mm[inside], 6), return_inverse=True)
    if min(len(columns), len(rows)) < _FEWEST or len(columns) * len(rows) > 3 * len(inside):
        return None
    return Raster(columns, rows, inside, column, row, np.flatnonzero(~kept))


@dataclass(frozen=True, eq=False)
class Lattice:
    """Nodes of a lattice under a raster, and how values there spread to its columns and rows."""

    x_mm: Floats
    y_mm: Floats
    across: Floats
    along: Floats

    @classmethod
    def under(cls, raster: Raster, length_mm: float, smoothness: Smoothness) -> Lattice:
        """Fine enough for a floor of that length."""
        x, across = _nodes(raster.columns, length_mm, smoothness)
        y, along = _nodes(raster.rows, length_mm, smoothness)
        return cls(x, y, across, along)

    def places(self) -> tuple[Floats, Floats]:
        """Return the nodes as a list, rows within columns."""
        x, y = np.meshgrid(self.x_mm, self.y_mm, indexing="ij")
        return x.ravel(), y.ravel()

    def spread(self, values: Floats) -> Floats:
        """Carry values at the nodes, shape (..., nodes), over the raster, (..., columns, rows)."""
        shape = (*values.shape[:-1], len(self.x_mm), len(self.y_mm))
        result: Floats = self.across @ values.reshape(shape) @ self.along.T
        return result


def square(lattice: Lattice, smooth: Floats, across: Floats, along: Floats) -> Floats:
    """Sum over k of the square of what is smooth and what depends on x and on y alone.

    Parameters
    ----------
    lattice : Lattice
    smooth : array, shape (k, nodes)
    across : array, shape (k, columns)
    along : array, shape (k, rows)

    Returns
    -------
    array, shape (columns, rows)
    """
    result = lattice.spread(np.einsum("ij,ij->j", smooth, smooth))
    nodes = len(lattice.x_mm), len(lattice.y_mm)
    beside = (across.T @ smooth).reshape(-1, *nodes)
    result += 2.0 * np.einsum("ci,cij->cj", lattice.across, beside) @ lattice.along.T
    beside = (along.T @ smooth).reshape(-1, *nodes)
    result += 2.0 * lattice.across @ np.einsum("rj,rij->ir", lattice.along, beside)
    result += np.einsum("ij,ij->j", across, across)[:, None]
    result += np.einsum("ij,ij->j", along, along)
    result += 2.0 * across.T @ along
    return result


def _nodes(at: Floats, length_mm: float, smoothness: Smoothness) -> tuple[Floats, Floats]:
    nodes = lattice_nodes(at, length_mm, smoothness)
    if len(nodes) >= len(at):
        return at, np.eye(len(at))
    spread: Floats = make_interp_spline(nodes, np.eye(len(nodes)), k=3)(at)
    return nodes, spread
