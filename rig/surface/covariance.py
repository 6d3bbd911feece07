r"""Matérn covariance of floor heights with distance, and its slope with respect to the length.

Smoothness 1.5 is a floor that may bend anywhere but has a slope everywhere, 2.5 one whose
curvature is continuous too.
"""

from __future__ import annotations

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
