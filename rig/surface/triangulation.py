"""Joins the shots by flat triangles: the surface and the volumes that a handbook would get.

Nothing is smoothed and no doubt is told; it stands beside the Gaussian process as a check.
"""

from __future__ import annotations

from typing import Self

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import Delaunay

from rig.errors import BadInput
from rig.language import say
from rig.surface.covariance import Floats
from rig.surface.places import checked_places, checked_values, refuse_poor_layout

# A triangle lower than this share of its longest side is not trusted beyond the shots.
_SLIVER = 0.05
_BLOCK = 256


class Triangulation:
    """Exact piecewise-linear surface through the shots (Delaunay).

    Beyond the outermost shots the nearest triangle's own plane is carried on; slivers are passed
    over for that, since their slope is all error. Several shots at one place count as their mean.

    Attributes
    ----------
    x_mm, y_mm, z_mm : arrays, shape (k,)
        After `fit`: the corners, one for each place.
    corners : int array, shape (t, 3)
        After `fit`: corner numbers of each triangle.
    """

    def fit(self, x_mm: ArrayLike, y_mm: ArrayLike, z_mm: ArrayLike) -> Self:
        """Take in the shots, each array of shape (n,).

        Raises
        ------
        CannotAnswer
            Fewer than four places, or all on one line.
        BadInput
            Something that is not a number, or arrays of different length.
        """
        x, y = checked_places(x_mm, y_mm)
        z = checked_values(z_mm, x, "height")
        refuse_poor_layout(x, y)
        places, owner = np.unique(np.column_stack([x, y]), axis=0, return_inverse=True)
        owner = owner.ravel()
        self.x_mm, self.y_mm = places[:, 0].copy(), places[:, 1].copy()
        self.z_mm: Floats = np.bincount(owner, z) / np.bincount(owner)
        # Qhull's own precision is relative to the coordinates, so the origin is moved to the floor.
        self._middle = places.mean(axis=0)
        self._mesh = Delaunay(places - self._middle)
        self.corners: NDArray[np.intp] = self._mesh.simplices.astype(np.intp)
        self._planes, self._sound = self._facets()
        return self

    def predict(self, x_mm: ArrayLike, y_mm: ArrayLike) -> Floats:
        """Heights in mm at places, shape (m,)."""
        x, y = checked_places(x_mm, y_mm)
        at = np.column_stack([x, y]) - self._middle
        facet = np.asarray(self._mesh.find_simplex(at))
        outside = np.flatnonzero(facet < 0)
        for start in range(0, len(outside), _BLOCK):
            part = outside[start : start + _BLOCK]
            facet[part] = self._nearest_facet(at[part])
        planes = self._planes[facet]
        heights: Floats = planes[:, 0] + planes[:, 1] * at[:, 0] + planes[:, 2] * at[:, 1]
        return heights

    def inside(self, x_mm: ArrayLike, y_mm: ArrayLike) -> NDArray[np.bool_]:
        """Whether places lie between the shots, not beyond the outermost; shape (m,)."""
        x, y = checked_places(x_mm, y_mm)
        facets = self._mesh.find_simplex(np.column_stack([x, y]) - self._middle)
        return np.asarray(facets >= 0)

    def prism_volume(self, depth_mm: ArrayLike) -> float:
        """Volume in mm³ over the triangles: sum of area times the mean of the corners' depths.

        Parameters
        ----------
        depth_mm : array, shape (k,)
            Depth at each corner (`x_mm`, `y_mm`), as target height less `z_mm`.
        """
        depth = checked_values(depth_mm, self.x_mm, "depth")
        return float(self._areas() @ depth[self.corners].mean(axis=1))

    def _areas(self) -> Floats:
        a, b, c = (self._mesh.points[self.corners[:, n]] for n in range(3))
        u, v = b - a, c - a
        areas: Floats = 0.5 * np.abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0])
        return areas

    def _facets(self) -> tuple[Floats, NDArray[np.intp]]:
        """Plane of each triangle (t, 3), and the numbers of those that are no slivers."""
        points = self._mesh.points[self.corners]
        longest = np.max(np.linalg.norm(points - np.roll(points, 1, axis=1), axis=2), axis=1)
        height = 2.0 * self._areas() / longest
        sound = np.flatnonzero(height > _SLIVER * longest)
        if len(sound) == 0:
            sound = np.array([np.argmax(height / longest)])
        planes = np.zeros((len(points), 3))
        flat = height > 0
        system = np.concatenate([np.ones((*points.shape[:2], 1)), points], axis=2)[flat]
        planes[flat] = np.linalg.solve(system, self.z_mm[self.corners[flat]][..., None])[..., 0]
        return planes, sound.astype(np.intp)

    def _nearest_facet(self, at: Floats) -> NDArray[np.intp]:
        """Nearest triangle that is no sliver, for places outside all of them."""
        best = np.full(len(at), np.inf)
        owner = np.zeros(len(at), dtype=np.intp)
        for side in range(3):
            a = self._mesh.points[self.corners[self._sound, side]]
            along = self._mesh.points[self.corners[self._sound, (side + 1) % 3]] - a
            to = at[:, None, :] - a[None]
            share = np.clip(np.sum(to * along, axis=2) / np.sum(along**2, axis=1), 0.0, 1.0)
            distance = np.linalg.norm(to - share[..., None] * along, axis=2)
            nearest = np.argmin(distance, axis=1)
            found = distance[np.arange(len(at)), nearest]
            closer = found < best
            best[closer], owner[closer] = found[closer], self._sound[nearest[closer]]
        return owner


def grid_volume(depth: ArrayLike, cell_area: float) -> float:
    r"""Volume over a grid of equal squares by the grid method of surveying handbooks.

    .. math:: V = \tfrac{A}{4} \left(\sum h_1 + 2 \sum h_2 + 3 \sum h_3 + 4 \sum h_4\right)

    where each corner is counted by the squares it touches; the exact integral of the bilinear
    surface. Squares with a corner that is NaN are left out, so the outline may be stepped.

    Parameters
    ----------
    depth : array, shape (rows, columns)
        At the corners, in any unit.
    cell_area : float
        Of one square, in that unit squared.
    """
    h = np.asarray(depth, dtype=np.float64)
    if h.ndim != 2 or min(h.shape) < 2:
        raise BadInput(say("A grid of depths needs at least two rows and two columns."))
    present = np.isfinite(h)
    whole = present[:-1, :-1] & present[1:, :-1] & present[:-1, 1:] & present[1:, 1:]
    touched = np.zeros(h.shape)
    for rows in (slice(None, -1), slice(1, None)):
        for columns in (slice(None, -1), slice(1, None)):
            touched[rows, columns] += whole
    return float(cell_area / 4.0 * np.sum(touched * np.where(present, h, 0.0)))
