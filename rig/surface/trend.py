"""What a floor is before it undulates: a plane with unknown coefficients, bent as a whole."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, Self

import numpy as np

from rig.surface.covariance import Floats

TrendKind = Literal["plane", "constant", "none"]


@dataclass(frozen=True)
class Trend:
    """Trend of the shots of one floor.

    Coordinates are centred at `x_mm`, `y_mm` and divided by `scale_mm`, so that its normal matrix
    is tame. `bowl_mm` is the sd of the bend of the whole floor, 0 for none.
    """

    kind: TrendKind
    bowl_mm: float
    x_mm: float
    y_mm: float
    scale_mm: float

    @classmethod
    def under(cls, kind: TrendKind, bowl_mm: float, x_mm: Floats, y_mm: Floats) -> Self:
        """Trend of a floor shot at these places."""
        scale = max(float(np.ptp(x_mm)), float(np.ptp(y_mm)), 1.0)
        return cls(kind, bowl_mm, float(x_mm.mean()), float(y_mm.mean()), scale)

    @property
    def precision(self) -> Floats:
        """What is believed of each coefficient: 1/sd², 0 where nothing is, shape (p,)."""
        flat = {"none": 0, "constant": 1, "plane": 3}[self.kind]
        bend = [1.0 / self.bowl_mm**2] * 3 if self.bowl_mm > 0 else []
        return np.array([0.0] * flat + bend)

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
        return np.column_stack(columns)

    def bend(self, x_mm: Floats, y_mm: Floats) -> Floats:
        """What one standard deviation of each believed bend adds at places, shape (m, 3)."""
        if self.bowl_mm <= 0:
            return np.zeros((len(x_mm), 3))
        return self.bowl_mm * self.at(x_mm, y_mm)[:, 3:]

    def plane_of(self, beta: Floats) -> tuple[float, float, float]:
        """Plane (a, b, c) of the coefficients, z = a + b·x + c·y in mm."""
        if self.kind == "none":
            return 0.0, 0.0, 0.0
        if self.kind == "constant":
            return float(beta[0]), 0.0, 0.0
        b, c = float(beta[1]) / self.scale_mm, float(beta[2]) / self.scale_mm
        return float(beta[0]) - b * self.x_mm - c * self.y_mm, b, c
