"""Chooses the height of a level finished plane so that the minimum cover is kept everywhere.

The doubt of the floor comes in as joint draws of its highest spots (`rig.surface.high_point`).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rig.errors import BadInput
from rig.language import numeral, say
from rig.units import MM_PER_IN, Units

Floats = NDArray[np.float64]

# Covers that differ by less than this are the same: rounding, not floor.
_SAME_MM = 1e-6


@dataclass(frozen=True)
class Plane:
    """Finished plane z = a + b·x + c·y in mm, relative to the line of set-up 1."""

    a: float
    b: float = 0.0
    c: float = 0.0

    def at(self, x_mm: ArrayLike, y_mm: ArrayLike) -> Floats:
        """Heights in mm at places, in the shape of the places."""
        x, y = np.asarray(x_mm, dtype=np.float64), np.asarray(y_mm, dtype=np.float64)
        heights: Floats = np.asarray(self.a + self.b * x + self.c * y)
        return heights


@dataclass(frozen=True)
class Cover:
    """Best-estimate thickness of compound over a floor, and where it is least."""

    min_mm: float
    mean_mm: float
    max_mm: float
    min_x_mm: float
    min_y_mm: float


def level_plane(draws_mm: ArrayLike, min_cover_mm: float, confidence: float = 0.95) -> Plane:
    """Lowest level plane that keeps the minimum cover everywhere with the confidence.

    Its height is the quantile of the highest spot over the draws, and the minimum cover on top.

    Parameters
    ----------
    draws_mm : array, shape (n, m)
        Joint draws of the floor's height at m places, as `Extremes.highest_mm`.
    min_cover_mm : float
    confidence : float
        The quantile is taken to the upper draw, so that no smaller share of draws is covered.

    Raises
    ------
    BadInput
        A negative minimum cover, a confidence outside 0 to 1, or no draws.
    """
    check_cover_limits(min_cover_mm, None)
    if not 0.0 < confidence < 1.0:
        raise BadInput(
            say(
                "Confidence {confidence} is out of range: give above 0 and below 1.",
                confidence=numeral(confidence, "g"),
            )
        )
    tops = _draws(draws_mm).max(axis=1)
    return Plane(float(np.quantile(tops, confidence, method="higher")) + min_cover_mm)


def hold_level(
    height_mm: float,
    x_mm: ArrayLike,
    y_mm: ArrayLike,
    floor_mm: ArrayLike,
    min_cover_mm: float,
    units: Units,
    say_place: Callable[[float, float], str] | None = None,
) -> Plane:
    """Level plane at a height that is given, as by a threshold.

    Parameters
    ----------
    height_mm : float
        Relative to the line of set-up 1, negative below it.
    x_mm, y_mm, floor_mm : arrays, shape (m,)
        Best estimate of the floor over the outline.
    min_cover_mm : float
    units : Units
        What the refusal is worded in.
    say_place : function of x and y in mm, optional
        Words for a place, as `rig.room.where` gives them.

    Raises
    ------
    BadInput
        Where the best estimate of the cover is less than the minimum somewhere; it names place
        and cover and by how much the height must be raised (rounded up).
    """
    check_cover_limits(min_cover_mm, None)
    if not math.isfinite(height_mm):
        raise BadInput(say("The held height is not a number; give a length such as -45mm."))
    plane = Plane(height_mm)
    cover = cover_of(plane, x_mm, y_mm, floor_mm)
    lacking = min_cover_mm - cover.min_mm
    if lacking <= _SAME_MM:
        return plane
    step = 0.1 if units.is_metric else MM_PER_IN / units.denominator
    raise_by = units.length(math.ceil(lacking / step - _SAME_MM) * step)
    least = units.length(min_cover_mm)
    if say_place is not None:
        place = say_place(cover.min_x_mm, cover.min_y_mm)
    else:
        across, along = cover.min_x_mm, cover.min_y_mm
        place = say(
            "at x {across}, y {along}", across=units.place(across), along=units.place(along)
        )
    if cover.min_mm >= 0:
        there = say("leaves {min} of cover", min=units.length(cover.min_mm))
    else:
        there = say("lies {min} under the floor", min=units.length(-cover.min_mm))
    raise BadInput(
        say(
            "The held height {there} {place}, and the minimum cover is {least}. Raise it by "
            "{raise_by}, or lower the floor there by as much.",
            there=there,
            place=place,
            least=least,
            raise_by=raise_by,
        )
    )


def chance_min_cover(
    plane: Plane, draws_mm: ArrayLike, x_mm: ArrayLike, y_mm: ArrayLike, min_cover_mm: float
) -> float:
    """Probability that the minimum cover is kept at all places at once.

    Parameters
    ----------
    plane : Plane
    draws_mm : array, shape (n, m)
    x_mm, y_mm : arrays, shape (m,)
    min_cover_mm : float
    """
    draws = _draws(draws_mm)
    least = np.min(plane.at(x_mm, y_mm) - draws, axis=1)
    return float(np.mean(least >= min_cover_mm - _SAME_MM))


def cover_of(
    plane: Plane,
    x_mm: ArrayLike,
    y_mm: ArrayLike,
    floor_mm: ArrayLike,
    area_mm2: ArrayLike = 1.0,
) -> Cover:
    """Least, mean (weighted by area) and greatest cover over the best estimate of a floor.

    Parameters
    ----------
    plane : Plane
    x_mm, y_mm, floor_mm : arrays, shape (m,)
    area_mm2 : array, shape (m,), or float
        Covered area of each cell.
    """
    x, y = np.asarray(x_mm, dtype=np.float64), np.asarray(y_mm, dtype=np.float64)
    cover = plane.at(x, y) - np.asarray(floor_mm, dtype=np.float64)
    if cover.size == 0 or not np.all(np.isfinite(cover)):
        raise BadInput(say("The floor under the plane is not known at every place."))
    area = np.broadcast_to(np.asarray(area_mm2, dtype=np.float64), cover.shape)
    least = int(np.argmin(cover))
    return Cover(
        float(cover[least]),
        float(np.average(cover, weights=area)),
        float(cover.max()),
        float(x[least]),
        float(y[least]),
    )


def check_cover_limits(min_cover_mm: float, max_cover_mm: float | None) -> None:
    """Refuse a negative minimum cover, or one above the maximum cover of a lift."""
    if not (math.isfinite(min_cover_mm) and min_cover_mm >= 0):
        raise BadInput(
            say(
                "The minimum cover ({min_cover} mm) must be 0 or more.",
                min_cover=numeral(min_cover_mm, "g"),
            )
        )
    if max_cover_mm is None:
        return
    if not (math.isfinite(max_cover_mm) and max_cover_mm > 0):
        raise BadInput(
            say(
                "The maximum cover ({max_cover} mm) must be more than 0.",
                max_cover=numeral(max_cover_mm, "g"),
            )
        )
    if min_cover_mm > max_cover_mm:
        raise BadInput(
            say(
                "The minimum cover ({min_cover} mm) is above the maximum cover ({max_cover} "
                "mm); give a smaller minimum or a larger maximum.",
                min_cover=numeral(min_cover_mm, "g"),
                max_cover=numeral(max_cover_mm, "g"),
            )
        )


def lifts(deepest_mm: float, max_cover_mm: float | None) -> int:
    """Layers that the deepest cover takes, each at most the maximum cover; 1 where none is set."""
    if max_cover_mm is None or deepest_mm <= 0:
        return 1
    check_cover_limits(0.0, max_cover_mm)
    return max(1, math.ceil(deepest_mm / max_cover_mm - 1e-9))


def _draws(draws_mm: ArrayLike) -> Floats:
    draws = np.asarray(draws_mm, dtype=np.float64)
    if draws.ndim != 2 or draws.size == 0 or not np.all(np.isfinite(draws)):
        raise BadInput(
            say("The plane needs draws of the floor: one row a draw, one number a place.")
        )
    return draws
