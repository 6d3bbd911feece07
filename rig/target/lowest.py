"""Finds the lowest plane over a floor's bound, or by how much a wish must give way for one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rig.target.level import Floats, Plane
from rig.target.programme import Hold, Programme

SAME_MM = 1e-6
_BLOCKS = 8  # cells added a round: the worst of each of so many squares each way
_ROUNDS = 60


@dataclass(frozen=True, eq=False)
class Wishes:
    """What a plane must keep: cells of the floor, least cover over them, slope limit, holds.

    `floor_mm` is the best estimate and `draws_mm` (n, m) joint draws of the highest spot of each
    cell; `area_mm2` weighs the volume.
    """

    x_mm: Floats
    y_mm: Floats
    area_mm2: Floats
    floor_mm: Floats
    draws_mm: NDArray[np.floating]
    min_cover_mm: float
    max_slope: float
    holds: Sequence[Hold] = ()


@dataclass(frozen=True)
class Give:
    """What may give way, each by its factor times one amount that is made least."""

    cover: float = 0.0
    slope: float = 0.0
    hold: int = -1
    up: float = 1.0

    @property
    def any(self) -> bool:
        """Whether anything may."""
        return bool(self.cover or self.slope or self.hold >= 0)


NOTHING = Give()


def lowest_plane(
    x_mm: ArrayLike,
    y_mm: ArrayLike,
    bound_mm: ArrayLike,
    area_mm2: ArrayLike,
    max_slope: float,
    holds: Sequence[Hold] = (),
) -> Plane | None:
    """Plane of least volume over a bound, within a slope limit and through holds; None if none is.

    Only cells of the bound's upper hull can carry a plane. They are found as they are needed: the
    programme is solved over a few cells, those most above its plane join, until none is.

    Parameters
    ----------
    x_mm, y_mm, bound_mm : arrays, shape (m,)
        The plane must be no lower than the bound at each cell.
    area_mm2 : array, shape (m,), or float
    max_slope : float
        As a ratio: 0.005 is 5 mm a metre.
    holds : sequence of Hold
    """
    x, y, bound = (np.asarray(values, dtype=np.float64) for values in (x_mm, y_mm, bound_mm))
    area = np.broadcast_to(np.asarray(area_mm2, dtype=np.float64), x.shape)
    solved = least(x, y, bound, area, max_slope, holds)
    return None if solved is None else solved[0]


def least(
    x_mm: Floats,
    y_mm: Floats,
    bound_mm: Floats,
    area_mm2: Floats,
    max_slope: float,
    holds: Sequence[Hold],
    give: Give = NOTHING,
) -> tuple[Plane, float] | None:
    """Solve for the plane, or where something gives, for the least amount by which it must.

    Parameters are those of `lowest_plane`; without cells only the holds tie the plane.

    Returns
    -------
    plane, amount
        Or None where there is none, or nothing ties it.
    """
    cells = len(x_mm) > 0
    level = float(bound_mm.max()) if cells else 0.0
    gives = [give.up * (n == give.hold) for n in range(len(holds))]
    programme = Programme(x_mm, y_mm, area_mm2, level, max_slope, holds, give.slope, gives)
    right, up = programme.right, programme.up
    cost = [0.0, 0.0, 0.0, 1.0] if give.any else [1.0, 0.0, 0.0, 0.0]
    blocks = _Blocks(right, up) if cells else None
    active = blocks.tops(bound_mm, -np.inf) if blocks else np.empty(0, dtype=np.intp)
    for _ in range(_ROUNDS):
        cover = np.full(len(active), -give.cover)
        rows = np.column_stack([-np.ones(len(active)), -right[active], -up[active], cover])
        solved = programme.solve(cost, rows, level - bound_mm[active])
        if solved is None:
            return None
        a, b, c, amount = (float(value) for value in solved)
        above = bound_mm - level - a - b * right - c * up - give.cover * amount
        if blocks is None or above.max() <= SAME_MM:
            return programme.plane(a, b, c), amount
        active = np.union1d(active, blocks.tops(above, SAME_MM))
    return None


class _Blocks:
    """Cells by squares of the plan, so that the highest of each square is found at a glance."""

    def __init__(self, right: Floats, up: Floats) -> None:
        block = np.zeros(len(right), dtype=np.int16)
        for along in (right, up):
            span = max(float(np.ptp(along)), 1e-12) * (1.0 + 1e-9)
            block = block * _BLOCKS + ((along - along.min()) * (_BLOCKS / span)).astype(np.int16)
        self._order = np.argsort(block, kind="stable")
        self._starts = np.flatnonzero(np.diff(block[self._order], prepend=-1))
        self._ends = np.append(self._starts[1:], len(right))

    def tops(self, values: Floats, over: float) -> NDArray[np.intp]:
        """The highest cell of each square where that is over a limit."""
        sorted_values = values[self._order]
        highest = np.maximum.reduceat(sorted_values, self._starts)
        cells = [
            self._order[start + np.argmax(sorted_values[start:end])]
            for start, end in zip(
                self._starts[highest > over], self._ends[highest > over], strict=True
            )
        ]
        return np.array(cells, dtype=np.intp)
