r"""The linear programme that finished planes are chosen by: slope limit, held heights, HiGHS.

A plane is a + b·right + c·up over the cells' middle, and beside it stands one amount: what a wish
must give way by, or what a plane costs.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import linprog

from rig.target.level import Floats, Plane

# The magnitude of the slope is held by a polygon inscribed in its circle: at most 0.5 % less.
_SIDES = 32
_M = 1000.0  # the programme's lengths on plan are in metres, so that its numbers are alike
_FREE = [(None, None)] * 3 + [(0.0, None)]


@dataclass(frozen=True)
class Hold:
    """A height that the plane must have at a place: a threshold, an existing floor."""

    x_mm: float
    y_mm: float
    height_mm: float
    name: str


class Programme:
    """What every plane over some cells must keep; `solve` adds what it is chosen by.

    Parameters
    ----------
    x_mm, y_mm, area_mm2 : arrays, shape (m,)
        The cells; the plane is reckoned from their middle. May be none.
    level_mm : float
        Height that the plane's is counted from.
    max_slope : float
        As a ratio.
    holds : sequence of Hold
    slope_gives, hold_gives : float, sequence of float
        How much the slope limit and each hold give way for each unit of the amount.
    """

    def __init__(
        self,
        x_mm: Floats,
        y_mm: Floats,
        area_mm2: Floats,
        level_mm: float,
        max_slope: float,
        holds: Sequence[Hold],
        slope_gives: float = 0.0,
        hold_gives: Sequence[float] = (),
    ) -> None:
        middle = (holds[0].x_mm, holds[0].y_mm) if holds else (0.0, 0.0)
        if len(x_mm):
            middle = (
                float(np.average(x_mm, weights=area_mm2)),
                float(np.average(y_mm, weights=area_mm2)),
            )
        self._middle, self._level = middle, level_mm
        self.right, self.up = (x_mm - middle[0]) / _M, (y_mm - middle[1]) / _M
        self.steepest = max_slope * _M
        turn = 2.0 * np.pi * (np.arange(_SIDES) + 0.5) / _SIDES
        self._sides = np.column_stack(
            [np.zeros(_SIDES), np.cos(turn), np.sin(turn), np.full(_SIDES, -slope_gives)]
        )
        self._limit = np.full(_SIDES, self.steepest * np.cos(np.pi / _SIDES))
        gives = hold_gives or [0.0] * len(holds)
        self._equal = [
            [1.0, (hold.x_mm - middle[0]) / _M, (hold.y_mm - middle[1]) / _M, -give]
            for hold, give in zip(holds, gives, strict=True)
        ]
        self._heights = [hold.height_mm - level_mm for hold in holds]

    def solve(
        self,
        cost: Sequence[float],
        rows: Floats,
        values: Floats,
        bounds: Sequence[tuple[float | None, float | None]] = _FREE,
    ) -> Floats | None:
        """Least cost of (a, b, c, amount), shape (4,), where rows · it <= values; None if none is.

        Parameters
        ----------
        cost : four floats
        rows, values : arrays, shapes (n, 4) and (n,)
        bounds : four pairs
        """
        solved = linprog(
            cost,
            np.vstack([rows, self._sides]),
            np.concatenate([values, self._limit]),
            self._equal or None,
            self._heights or None,
            bounds,
            method="highs",
        )
        return solved.x if solved.status == 0 else None

    def plane(self, a: float, b: float, c: float) -> Plane:
        """Plane in mm of the room that stands for a solution."""
        middle = self._middle
        return Plane(a + self._level - (b * middle[0] + c * middle[1]) / _M, b / _M, c / _M)


def slope_of(amount: float) -> float:
    """Slope, as a ratio, that a polygon's side so much wider would allow."""
    return float(amount / _M / np.cos(np.pi / _SIDES))
