r"""Matérn covariance of floor heights with distance, and its slope with respect to the length.

Smoothness 1.5 is a floor that may bend anywhere but has a slope everywhere, 2.5 one whose
curvature is continuous too. Lines are what a floor has along its walls: joists, rails, joints.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Smoothness = float  # 1.5 or 2.5


def distances(x_mm: Floats, y_mm: Floats, other_x_mm: Floats, other_y_mm: Floats) -> Floats:
    """Plan distances in mm between two lists of places, shape (n, m)."""
    square = np.subtract.outer(x_mm, other_x_mm)
    square *= square
    across = np.subtract.outer(y_mm, other_y_mm)
    across *= across
    square += across
    np.sqrt(square, out=square)
    result: Floats = square
    return result


def correlation(distance_mm: Floats, length_mm: float, smoothness: Smoothness) -> Floats:
    r"""Matérn correlation at given distances.

    With :math:`d = \sqrt{2\nu}\, r / \ell`: :math:`(1 + d)\,e^{-d}` for :math:`\nu = 3/2` and
    :math:`(1 + d + d^2/3)\,e^{-d}` for :math:`\nu = 5/2` (Rasmussen and Williams, Gaussian
    Processes for Machine Learning, 2006, eq. 4.17).

    Parameters
    ----------
    distance_mm : array of any shape
    length_mm : float
        The length :math:`\ell`.
    smoothness : 1.5 or 2.5
        :math:`\nu`.

    Returns
    -------
    array of the same shape, in (0, 1]
    """
    d: Floats = distance_mm * (np.sqrt(2.0 * smoothness) / length_mm)
    fall = np.exp(-d)
    if smoothness == 1.5:
        d += 1.0
    else:
        d *= 1.0 + d / 3.0
        d += 1.0
    d *= fall
    return d


def correlation_and_slope(
    distance_mm: Floats, length_mm: float, smoothness: Smoothness
) -> tuple[Floats, Floats]:
    r"""Matérn correlation and its derivative with respect to :math:`\log \ell`.

    The derivative is :math:`d^2 e^{-d}` for 3/2 and :math:`d^2 (1 + d)\,e^{-d} / 3` for 5/2.
    """
    d = distance_mm * (np.sqrt(2.0 * smoothness) / length_mm)
    fall = np.exp(-d)
    if smoothness == 1.5:
        return (1.0 + d) * fall, d * d * fall
    square = d * d / 3.0
    return (1.0 + d + square) * fall, square * (1.0 + d) * fall


@dataclass(frozen=True)
class Line:
    """What runs along a wall, from one to the other: correlation of heights across it.

    `axis` is 0 for lines along y (heights differ with x), 1 for lines along x.
    """

    axis: int
    across_mm: float
    smoothness: Smoothness

    def alike(self, at_mm: Floats, other_mm: Floats) -> Floats:
        """Correlation of what it adds, by places across it, shape (n, m)."""
        # A raster has few columns and rows: the dear exponentials are taken of these alone.
        own, index = np.unique(np.round(other_mm, 6), return_inverse=True)
        apart = np.abs(np.subtract.outer(at_mm, own))
        alike: Floats = correlation(apart, self.across_mm, self.smoothness)
        return alike if np.array_equal(own, other_mm) else alike[:, index]


# Joists, rails and joints: what one adds changes within a foot or so across it; spans that sag and
# slabs struck off one way: within some feet (common practice, no source).
LINES = (Line(0, 350.0, 1.5), Line(1, 350.0, 1.5), Line(0, 1200.0, 2.5), Line(1, 1200.0, 2.5))
NARROW = 2
"""So many of them are narrow; the others are wide waves."""
NO_LINES = (0.0, 0.0, 0.0, 0.0)
_BLOCK = 1_024


def lines_alike(axis: int, at_mm: Floats, other_mm: Floats, lines_mm2: tuple[float, ...]) -> Floats:
    """Covariance of what all lines of an axis add, by places across them, mm², (n, m)."""
    total = np.zeros((len(at_mm), len(other_mm)))
    for line, variance in zip(LINES, lines_mm2, strict=True):
        if line.axis == axis and variance:
            total += variance * line.alike(at_mm, other_mm)
    return total


def floor_covariance(
    x_mm: Floats,
    y_mm: Floats,
    other_x_mm: Floats,
    other_y_mm: Floats,
    variance_mm2: float,
    length_mm: float,
    smoothness: Smoothness,
    lines_mm2: tuple[float, ...],
) -> Floats:
    """Covariance of a floor's undulation and lines between two lists of places, mm², (n, m).

    `lines_mm2` are the variances of `LINES`.
    """
    alike = correlation(distances(x_mm, y_mm, other_x_mm, other_y_mm), length_mm, smoothness)
    alike *= variance_mm2
    if any(lines_mm2):
        alike += lines_alike(0, x_mm, other_x_mm, lines_mm2)
        alike += lines_alike(1, y_mm, other_y_mm, lines_mm2)
    return alike


def variance_of_sum(
    x_mm: Floats,
    y_mm: Floats,
    weight: Floats,
    variance_mm2: float,
    length_mm: float,
    smoothness: Smoothness,
    lines_mm2: tuple[float, ...],
) -> float:
    """Variance of a weighted sum of a floor's heights, worked off in blocks, in mm²."""
    total = 0.0
    for start in range(0, len(x_mm), _BLOCK):
        part = slice(start, start + _BLOCK)
        for other in range(start, len(x_mm), _BLOCK):
            rest = slice(other, other + _BLOCK)
            apart = distances(x_mm[part], y_mm[part], x_mm[rest], y_mm[rest])
            alike = correlation(apart, length_mm, smoothness)
            twice = 1.0 if other == start else 2.0
            total += twice * variance_mm2 * float(weight[part] @ alike @ weight[rest])
    for axis, at in enumerate((x_mm, y_mm)):
        own, index = np.unique(np.round(at, 3), return_inverse=True)
        each = np.bincount(index, weight)
        total += float(each @ lines_alike(axis, own, own, lines_mm2) @ each)
    return total
