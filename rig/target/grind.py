r"""Weighs grinding high spots against filling over them: which spots, how deep, at what plane.

Money a litre for both; the sum is convex in the plane, so the cheapest is found by cutting planes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rig.errors import BadInput
from rig.language import numeral, say
from rig.target.level import Floats, Plane
from rig.target.programme import Hold, Programme

_L_PER_MM3 = 1e-6
_ROUNDS = 200
# Shallower than this is not ground: a pass of the machine takes more (common practice, no source).
LEAST_DEPTH_MM = 0.3


@dataclass(frozen=True)
class Spot:
    """A high spot to grind: its deepest place, depth there, area and volume to take off."""

    x_mm: float
    y_mm: float
    depth_mm: float
    area_m2: float
    volume_l: float


@dataclass(frozen=True, eq=False)
class Grinding:
    """The plane that costs least, and how deep each cell is to be ground for it (0 for most)."""

    plane: Plane
    depth_mm: Floats
    spots: tuple[Spot, ...]
    volume_l: float


def cheapest_plane(
    x_mm: Floats,
    y_mm: Floats,
    area_mm2: Floats,
    floor_mm: Floats,
    bound_mm: Floats,
    min_cover_mm: float,
    grind_cost: float,
    fill_cost: float,
    max_slope: float = 0.0,
    holds: Sequence[Hold] = (),
) -> Grinding:
    r"""Plane at which filling and grinding together cost least.

    With cover :math:`c`, best estimate :math:`m` and bound :math:`u` (mean + k·sd) of the floor in
    each cell of area :math:`w`, the plane :math:`p` costs

    .. math:: \sum_i w_i\,\bigl(f\,(p_i - m_i) + (f + g)\,\max(u_i + c - p_i, 0)\bigr),

    for what is ground off is filled again to the minimum cover. What stands out only by doubt is
    counted as ground: the machine follows the rod, and stops where the floor is low enough.

    Parameters
    ----------
    x_mm, y_mm, area_mm2, floor_mm, bound_mm : arrays, shape (m,)
    min_cover_mm : float
    grind_cost, fill_cost : float
        Money a litre.
    max_slope : float
        0 for a level plane.
    holds : sequence of Hold
        The plane passes through them.

    Raises
    ------
    BadInput
        A cost that is not above 0, or holds that no plane passes through.
    """
    for name, cost in (("grinding", grind_cost), ("filling", fill_cost)):
        if not (np.isfinite(cost) and cost > 0):
            raise BadInput(
                say(
                    "The price of {name} must be more than 0 a litre, not {cost}.",
                    name=name,
                    cost=numeral(cost, "g"),
                )
            )
    need = bound_mm + min_cover_mm
    level = float(need.max())
    programme = Programme(x_mm, y_mm, area_mm2, level, max_slope, holds)
    costs = _Costs(
        need - level,
        programme.right,
        programme.up,
        area_mm2 / area_mm2.sum(),
        fill_cost,
        fill_cost + grind_cost,
    )
    lowest = float(need.min()) - level
    steep = programme.steepest
    bounds: list[tuple[float | None, float | None]] = [
        (None if holds else lowest, None if holds else 0.0),
        (-steep, steep),
        (-steep, steep),
        (None, None),
    ]
    plane = programme.plane(*_cheapest(programme, costs, bounds, passes=not holds))
    lacking = need - plane.at(x_mm, y_mm)
    if not holds:
        # What is hardly worth the machine is left: the plane rises by it instead.
        depths = lacking[lacking > 1e-9]
        if len(depths) and depths.max() < LEAST_DEPTH_MM:
            plane = Plane(plane.a + float(depths.max()), plane.b, plane.c)
            lacking = need - plane.at(x_mm, y_mm)
    depth = np.where(lacking > 1e-6, lacking, 0.0)
    spots = _spots(x_mm, y_mm, area_mm2, depth)
    return Grinding(plane, depth, spots, float(area_mm2 @ depth) * _L_PER_MM3)


@dataclass(frozen=True, eq=False)
class _Costs:
    """Money that a mm of the whole floor costs: to fill, and what stands out to grind and fill."""

    need_mm: Floats
    right: Floats
    up: Floats
    weight: Floats
    fill: float
    both: float

    def of(self, a: float, b: float, c: float) -> tuple[float, Floats]:
        """Cost of a plane, and its slope with a, b and c."""
        lacking = self.need_mm - a - b * self.right - c * self.up
        deep = lacking > 0
        own = self.weight[deep]
        value = self.fill * a + self.both * float(own @ lacking[deep])
        slope = [
            self.fill - self.both * float(own.sum()),
            -self.both * float(own @ self.right[deep]),
            -self.both * float(own @ self.up[deep]),
        ]
        return value, np.array(slope)


def _cheapest(
    programme: Programme,
    costs: _Costs,
    bounds: Sequence[tuple[float | None, float | None]],
    passes: bool,
) -> tuple[float, float, float]:
    """Cut the cost from below by its slopes until its least is known.

    Parameters
    ----------
    programme, costs, bounds
    passes : bool
        Whether the first guess, level at the top, is a plane that may be chosen.
    """
    at = np.zeros(3)
    rows, values = [], []
    best, best_value = None, np.inf
    for _ in range(_ROUNDS):
        value, slope = costs.of(*at)
        if value < best_value and (passes or best is not None):
            best, best_value = at.copy(), value
        rows.append([*slope, -1.0])
        values.append(float(slope @ at) - value)
        solved = programme.solve(
            [0.0, 0.0, 0.0, 1.0], np.array(rows), np.array(values), bounds=bounds
        )
        if solved is None:
            raise BadInput(say("No plane within the slope limit passes through the held heights."))
        at = solved[:3]
        if best is None:  # the first guess did not pass through the holds
            best, best_value = at, costs.of(*at)[0]
        if best_value - float(solved[3]) < 1e-6 * costs.fill:
            break
    assert best is not None
    return float(best[0]), float(best[1]), float(best[2])


def _spots(x: Floats, y: Floats, area: Floats, depth: Floats) -> tuple[Spot, ...]:
    """Cells to grind that touch, taken together; deepest first."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import cKDTree

    cells = np.flatnonzero(depth > 0)
    if len(cells) == 0:
        return ()
    step = float(np.sqrt(area.max()))
    pairs = cKDTree(np.column_stack([x[cells], y[cells]])).query_pairs(
        1.6 * step, output_type="ndarray"
    )
    links = coo_array(
        (np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(cells), len(cells))
    )
    count, owner = connected_components(links, directed=False)
    spots = [_spot(x, y, area, depth, cells[owner == n]) for n in range(count)]
    return tuple(sorted(spots, key=lambda spot: -spot.depth_mm))


def _spot(x: Floats, y: Floats, area: Floats, depth: Floats, cells: NDArray[np.intp]) -> Spot:
    deepest = cells[int(np.argmax(depth[cells]))]
    return Spot(
        float(x[deepest]),
        float(y[deepest]),
        float(depth[deepest]),
        float(area[cells].sum()) * 1e-6,
        float(area[cells] @ depth[cells]) * _L_PER_MM3,
    )
