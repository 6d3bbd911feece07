"""What a floor is before it undulates: a plane with unknown coefficients, bent as a whole.

Humps and dips that were found, and measured, stand on it, so that one alone makes no floor uneven
that is even elsewhere.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, Self

import numpy as np

from rig.surface.covariance import Floats
from rig.surface.looked import bell

TrendKind = Literal["plane", "constant", "none"]
Bells = tuple[tuple[float, float, float], ...]
"""Humps and dips that were found: x, y and radius of each (`rig.surface.looked.bell`), in mm."""
BELL_MM = 25.0
"""How high one may be before it is measured, one standard deviation: all that floors have."""


@dataclass(frozen=True)
class Trend:
    """Trend of the shots of one floor.

    Coordinates are centred at `x_mm`, `y_mm` and divided by `scale_mm`, so that its normal matrix
    is tame. `bowl_mm` is the sd of the bend of the whole floor, 0 for none; `bells` go with a
    plane.
    """

    kind: TrendKind
    bowl_mm: float
    x_mm: float
    y_mm: float
    scale_mm: float
    bells: Bells = ()

    @classmethod
    def under(
        cls, kind: TrendKind, bowl_mm: float, x_mm: Floats, y_mm: Floats, bells: Bells = ()
    ) -> Self:
        """Trend of a floor shot at these places."""
        scale = max(float(np.ptp(x_mm)), float(np.ptp(y_mm)), 1.0)
        middle = float(x_mm.mean()), float(y_mm.mean())
        return cls(kind, bowl_mm, *middle, scale, bells if kind == "plane" else ())

    @property
    def precision(self) -> Floats:
        """What is believed of each coefficient: 1/sd², 0 where nothing is, shape (p,)."""
        flat = {"none": 0, "constant": 1, "plane": 3}[self.kind]
        bend = [1.0 / self.bowl_mm**2] * 3 if self.bowl_mm > 0 else []
        return np.array([0.0] * flat + bend + [1.0 / BELL_MM**2] * len(self.bells))

    def at(self, x_mm: Floats, y_mm: Floats) -> Floats:
        """Trend functions at places, shape (m, p)."""
        if self.kind == "none":
            return np.empty((len(x_mm), 0))
        if self.kind == "constant":
            return np.ones((len(x_mm), 1))
        right = (x_mm - self.x_mm) / self.scale_mm
        up = (y_mm - self.y_mm) / self.scale_mm
        columns = [np.ones(len(x_mm)), right, up]
        if self.bowl_mm > 0:
            # 1 at half the longer side from the middle, so that a coefficient is a height there.
            columns += [4.0 * right**2, 4.0 * right * up, 4.0 * up**2]
        for at_x, at_y, radius in self.bells:
            columns.append(bell(np.hypot(x_mm - at_x, y_mm - at_y), radius))
        return np.column_stack(columns)

    def finest_mm(self, length_mm: float) -> float:
        """Length of the narrowest part of a floor whose undulation has a length."""
        return min([length_mm, *(radius / 2.0 for *_, radius in self.bells)])

    def bend(self, x_mm: Floats, y_mm: Floats) -> Floats:
        """What one sd of each coefficient of which something is believed adds at places, (m, q)."""
        believed = self.precision > 0
        told: Floats = self.at(x_mm, y_mm)[:, believed] / np.sqrt(self.precision[believed])
        return told

    def plane_of(self, beta: Floats) -> tuple[float, float, float]:
        """Plane (a, b, c) of the coefficients, z = a + b·x + c·y in mm."""
        if self.kind == "none":
            return 0.0, 0.0, 0.0
        if self.kind == "constant":
            return float(beta[0]), 0.0, 0.0
        b, c = float(beta[1]) / self.scale_mm, float(beta[2]) / self.scale_mm
        return float(beta[0]) - b * self.x_mm - c * self.y_mm, b, c
