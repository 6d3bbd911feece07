r"""Chooses a finished plane within a slope limit and through held heights, at the least volume.

A linear programme (HiGHS) over the floor's bound, mean + k·sd, with k found on joint draws so that
the minimum cover is kept everywhere with the confidence. Wishes that fight are explained.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import linprog

from rig.errors import BadInput
from rig.target.level import Floats, Plane, check_cover_limits
from rig.units import format_length, format_slope

# The magnitude of the slope is held by a polygon inscribed in its circle: at most 0.5 % less.
_SIDES = 32
_SAME_MM = 1e-6
_M = 1000.0  # the programme's lengths on plan are in metres, so that its numbers are alike
_BLOCKS = 8  # cells added a round: the worst of each of so many squares each way
_ROUNDS = 60
_LARGEST_FACTOR = 8.0


@dataclass(frozen=True)
class Hold:
    """A height that the plane must have at a place: a threshold, an existing floor."""

    x_mm: float
    y_mm: float
    height_mm: float
    name: str


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
class Chosen:
    """A plane, the factor k of the bound that it keeps, and the chance to keep the cover."""

    plane: Plane
    factor: float
    chance: float


def choose_plane(
    wishes: Wishes,
    confidence: float,
    say_place: Callable[[float, float], str],
    units: str = "mm",
    denominator: int = 32,
) -> Chosen:
    """Plane of least volume that keeps the minimum cover everywhere with the confidence.

    Parameters
    ----------
    wishes : Wishes
    confidence : float
    say_place : function of x and y in mm
        Words for a place, for the refusal.
    units, denominator
        What the refusal is worded in.

    Returns
    -------
    Chosen
        Where held heights leave the plane no room, its chance may be below the confidence.

    Raises
    ------
    BadInput
        Where no plane keeps all wishes even by the best estimate; it names the two that fight and
        the least change that would reconcile them.
    """
    check_cover_limits(wishes.min_cover_mm, None)
    if not 0.0 < confidence < 1.0:
        raise BadInput(f"Confidence {confidence:g} is out of range: give above 0 and below 1.")
    if not (math.isfinite(wishes.max_slope) and wishes.max_slope >= 0):
        raise BadInput("The largest slope must be 0 or more.")
    spread = np.sqrt(np.mean((wishes.draws_mm - wishes.floor_mm) ** 2, axis=0)).astype(float)

    def at_factor(factor: float) -> tuple[Plane, float] | None:
        bound = wishes.floor_mm + factor * spread + wishes.min_cover_mm
        plane = lowest_plane(
            wishes.x_mm, wishes.y_mm, bound, wishes.area_mm2, wishes.max_slope, wishes.holds
        )
        return None if plane is None else (plane, _chance(plane, wishes))

    found = at_factor(0.0)
    if found is None:
        raise BadInput(_why_not(wishes, say_place, units, denominator))
    low, high, best = 0.0, _LARGEST_FACTOR, (found[0], found[1], 0.0)
    for _ in range(14):
        if best[1] >= confidence and best[2] == 0.0:
            break
        middle = 0.5 * (low + high)
        tried = at_factor(middle)
        if tried is None or tried[1] >= confidence:
            high = middle
        else:
            low = middle
        # The lowest that is sure enough, or else the surest that the holds allow.
        if tried is not None:
            sure, was_sure = tried[1] >= confidence, best[1] >= confidence
            if (sure and (not was_sure or middle < best[2])) or (
                not sure and not was_sure and tried[1] >= best[1]
            ):
                best = (*tried, middle)
    plane, chance, factor = best
    if not wishes.holds:
        # Its slopes chosen, the height is the quantile itself, as for a level plane.
        tilted = plane.at(wishes.x_mm, wishes.y_mm) - plane.a
        tops = (wishes.draws_mm - tilted.astype(np.float32)).max(axis=1).astype(float)
        height = float(np.quantile(tops, confidence, method="higher")) + wishes.min_cover_mm
        plane = Plane(height + _SAME_MM, plane.b, plane.c)
        chance = _chance(plane, wishes)
    return Chosen(plane, factor, chance)


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
    programme is solved over a few cells, those most above its plane
    join, until none is.

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
    solved = _least(x, y, bound, area, max_slope, holds, _Give())
    return None if solved is None else solved[0]


@dataclass(frozen=True)
class _Give:
    """What may give way, each by its factor times one amount that is made least."""

    cover: float = 0.0
    slope: float = 0.0
    hold: int = -1
    up: float = 1.0

    @property
    def any(self) -> bool:
        return bool(self.cover or self.slope or self.hold >= 0)


def _least(
    x: Floats,
    y: Floats,
    bound: Floats,
    area: Floats,
    max_slope: float,
    holds: Sequence[Hold],
    give: _Give,
) -> tuple[Plane, float] | None:
    """Solve for the plane, or where something gives, for the least amount by which it must."""
    cells = len(x) > 0
    middle = (holds[0].x_mm, holds[0].y_mm) if holds else (0.0, 0.0)
    if cells:
        middle = float(np.average(x, weights=area)), float(np.average(y, weights=area))
    right, up = (x - middle[0]) / _M, (y - middle[1]) / _M
    level = float(bound.max()) if cells else 0.0
    cost = [0.0, 0.0, 0.0, 1.0] if give.any else [1.0, 0.0, 0.0, 0.0]
    turn = 2.0 * np.pi * (np.arange(_SIDES) + 0.5) / _SIDES
    sides = np.column_stack(
        [np.zeros(_SIDES), np.cos(turn), np.sin(turn), np.full(_SIDES, -give.slope)]
    )
    limit = np.full(_SIDES, max_slope * _M * np.cos(np.pi / _SIDES))
    equal = np.array(
        [
            [1.0, (h.x_mm - middle[0]) / _M, (h.y_mm - middle[1]) / _M, -give.up * (n == give.hold)]
            for n, h in enumerate(holds)
        ]
    ).reshape(len(holds), 4)
    heights = np.array([h.height_mm - level for h in holds])
    blocks = _Blocks(right, up) if cells else None
    active = blocks.tops(bound, -np.inf) if blocks else np.empty(0, dtype=np.intp)
    for _ in range(_ROUNDS):
        rows = np.column_stack(
            [
                -np.ones(len(active)),
                -right[active],
                -up[active],
                np.full(len(active), -give.cover),
            ]
        )
        solved = linprog(
            cost,
            np.vstack([rows, sides]),
            np.concatenate([level - bound[active], limit]),
            equal if len(holds) else None,
            heights if len(holds) else None,
            [(None, None)] * 3 + [(0.0, None)],
            method="highs",
        )
        if solved.status == 3 and give.any:  # unbounded only where nothing ties the plane
            return None
        if solved.status != 0:
            return None
        a, b, c, amount = (float(value) for value in solved.x)
        above = bound - level - a - b * right - c * up - give.cover * amount
        if blocks is None or above.max() <= _SAME_MM:
            plane = Plane(a + level - (b * middle[0] + c * middle[1]) / _M, b / _M, c / _M)
            return plane, amount
        active = np.union1d(active, blocks.tops(above, _SAME_MM))
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


def _chance(plane: Plane, wishes: Wishes) -> float:
    """Probability that the minimum cover is kept at all cells at once."""
    limit = plane.at(wishes.x_mm, wishes.y_mm) - wishes.min_cover_mm
    over = (wishes.draws_mm - limit.astype(np.float32)).max(axis=1)
    return float(np.mean(over <= 2e-4))  # single floats of a metre are no finer


def _why_not(
    wishes: Wishes, say_place: Callable[[float, float], str], units: str, denominator: int
) -> str:
    """Name the two wishes that fight, and the least change of each that would reconcile them."""

    def length(mm: float) -> str:
        # Rounded up, so that the change said is enough.
        step = 25.4 / denominator if units == "in" else 0.1
        return format_length(math.ceil(mm / step - 1e-6) * step, units, denominator)

    nothing = np.empty(0)
    bound = wishes.floor_mm + wishes.min_cover_mm
    limit = (
        "a level plane"
        if wishes.max_slope == 0
        else (f"a slope of at most {format_slope(wishes.max_slope, units)}")
    )

    def feasible(holds: Sequence[Hold], cover: bool) -> bool:
        cells = (wishes.x_mm, wishes.y_mm, bound, wishes.area_mm2)
        if not cover:
            cells = (nothing, nothing, nothing, nothing)
        # Without cells nothing ties the plane down but the holds, so its height is made no matter.
        return _least(*cells, wishes.max_slope, holds, _Give(slope=0.0)) is not None

    def changes(holds: Sequence[Hold], cover: bool) -> list[str]:
        cells = (wishes.x_mm, wishes.y_mm, bound, wishes.area_mm2)
        if not cover:
            cells = (nothing, nothing, nothing, nothing)
        told: list[tuple[float, str]] = []
        for n, hold in enumerate(holds):
            moves = []
            for up, word in ((1.0, "raise"), (-1.0, "lower")):
                solved = _least(*cells, wishes.max_slope, holds, _Give(hold=n, up=up))
                if solved is not None:
                    moves.append((solved[1], f"{word} {hold.name} by {length(solved[1])}"))
            told += [min(moves)] if moves else []
        options = [text for _, text in sorted(told)]
        if wishes.max_slope > 0 or len(holds) > 1:
            solved = _least(*cells, 0.0, holds, _Give(slope=1.0))
            if solved is not None:
                ratio = solved[1] / _M / math.cos(math.pi / _SIDES)
                options.append(f"allow a slope of {format_slope(ratio, units, up=True)}")
        if cover:
            solved = _least(*cells, wishes.max_slope, holds, _Give(cover=1.0))
            if solved is not None and solved[1] <= wishes.min_cover_mm:
                options.append(f"lower the minimum cover by {length(solved[1])}")
        return options

    def advice(options: list[str]) -> str:
        if not options:
            return "No single change reconciles them: leave out one of the held heights."
        text = options[0][0].upper() + options[0][1:]
        return ", or ".join([text, *options[1:]]) + "."

    holds = list(wishes.holds)
    for n, one in enumerate(holds):
        for two in holds[n + 1 :]:
            if not feasible([one, two], cover=False):
                apart = math.dist((one.x_mm, one.y_mm), (two.x_mm, two.y_mm))
                off = abs(one.height_mm - two.height_mm)
                if apart < 1.0:
                    return (
                        f"{_cap(one.name)} and {two.name} are one place with two heights, "
                        f"{length(off)} apart; leave one out."
                    )
                return (
                    f"{_cap(one.name)} and {two.name} fight: between them the plane would slope "
                    f"{format_slope(off / apart, units)}, and it must keep {limit}. "
                    + advice(changes([one, two], cover=False))
                )
    if len(holds) > 2 and not feasible(holds, cover=False):
        names = ", ".join(hold.name for hold in holds[:-1])
        return (
            f"{_cap(names)} and {holds[-1].name} cannot all lie on one plane with {limit}. "
            + advice(changes(holds, cover=False))
        )
    for hold in holds:
        if not feasible([hold], cover=True):
            place = _worst_place(wishes, [hold], say_place)
            return (
                f"{_cap(hold.name)} and the minimum cover fight: with {limit} too little cover is "
                f"left {place}. " + advice(changes([hold], cover=True))
            )
    names = " and ".join(hold.name for hold in holds)
    place = _worst_place(wishes, holds, say_place)
    return (
        f"{_cap(names)} together and the minimum cover fight: with {limit} too little cover is "
        f"left {place}. " + advice(changes(holds, cover=True))
    )


def _worst_place(
    wishes: Wishes, holds: Sequence[Hold], say_place: Callable[[float, float], str]
) -> str:
    """Where the cover is least on the plane that comes closest to keeping it."""
    bound = wishes.floor_mm + wishes.min_cover_mm
    solved = _least(
        wishes.x_mm,
        wishes.y_mm,
        bound,
        wishes.area_mm2,
        wishes.max_slope,
        holds,
        _Give(cover=1.0),
    )
    if solved is None:
        return "somewhere"
    worst = int(np.argmax(bound - solved[0].at(wishes.x_mm, wishes.y_mm)))
    return say_place(float(wishes.x_mm[worst]), float(wishes.y_mm[worst]))


def _cap(text: str) -> str:
    return text[:1].upper() + text[1:]
