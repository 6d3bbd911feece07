"""Surfaces whose worst gap is known in closed form, and the slow ways to find any gap."""

import numpy as np
from scipy.spatial import ConvexHull

from rig.flatness.field import Field, field_of
from rig.room import Outline
from tests.kinds import Floats


def dish(outline: Outline, radius_mm: float, step_mm: float = 50.0) -> Field:
    """A bowl of revolution z = r²/2R: under an edge of length L the gap is L²/8R, anywhere."""
    return field_of(outline, step_mm, lambda x, y: (x**2 + y**2) / (2 * radius_mm))


def cap(outline: Outline, radius_mm: float, step_mm: float = 50.0) -> Field:
    """A spherical hollow: the sagitta of a chord of length L is R - sqrt(R² - L²/4) at its foot."""
    left, low, right, high = outline.polygon.bounds
    mid = ((left + right) / 2, (low + high) / 2)

    def z(x: Floats, y: Floats) -> Floats:
        r2 = (x - mid[0]) ** 2 + (y - mid[1]) ** 2
        return np.asarray(radius_mm - np.sqrt(radius_mm**2 - r2))

    return field_of(outline, step_mm, z)


def by_hull(z: Floats, steps: int) -> float:
    """Worst gap of a profile by scipy's convex hull of every stretch."""
    worst = 0.0
    n = len(z)
    for start in range(max(1, n - steps)):
        part = z[start : start + steps + 1]
        t = np.arange(len(part), dtype=float)
        below = np.column_stack([[t[0], t[-1]], [part.min() - 1e3] * 2])  # closes it from below
        hull = ConvexHull(np.vstack([np.column_stack([t, part]), below]))
        top = np.sort([v for v in hull.vertices if v < len(part)])
        worst = max(worst, float(np.max(np.interp(t, t[top], part[top]) - part)))
    return worst


def by_triples(z: Floats, steps: int) -> float:
    """Worst gap of a profile over all triples a < c < b."""
    worst = 0.0
    for a in range(len(z)):
        for b in range(a + 2, min(len(z), a + steps + 1)):
            c = np.arange(a + 1, b)
            worst = max(worst, float(np.max(z[a] + (z[b] - z[a]) * (c - a) / (b - a) - z[c])))
    return worst
