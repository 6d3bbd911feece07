r"""Chooses a finished plane within a slope limit and through held heights, at the least volume.

A linear programme (HiGHS) over the floor's bound, mean + k·sd, with k found on joint draws so that
the minimum cover is kept everywhere with the confidence. Wishes that fight are explained.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from rig.errors import BadInput
from rig.language import numeral, say
from rig.target.fights import why_not
from rig.target.level import Floats, Plane, chance_min_cover, check_cover_limits
from rig.target.lowest import SAME_MM, Wishes, lowest_plane
from rig.units import Units

_LARGEST_FACTOR = 8.0


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
    units: Units,
) -> Chosen:
    """Plane of least volume that keeps the minimum cover everywhere with the confidence.

    Parameters
    ----------
    wishes : Wishes
    confidence : float
    say_place : function of x and y in mm
        Words for a place, for the refusal.
    units : Units
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
        raise BadInput(
            say(
                "Confidence {confidence} is out of range: give above 0 and below 1.",
                confidence=numeral(confidence, "g"),
            )
        )
    if not (math.isfinite(wishes.max_slope) and wishes.max_slope >= 0):
        raise BadInput(say("The largest slope must be 0 or more."))
    spread = np.sqrt(np.mean((wishes.draws_mm - wishes.floor_mm) ** 2, axis=0)).astype(float)
    first = _at_factor(wishes, spread, 0.0)
    if first is None:
        raise BadInput(why_not(wishes, say_place, units))
    best = first if first.chance >= confidence else _surest(wishes, spread, first, confidence)
    return best if wishes.holds else _at_quantile(wishes, best, confidence)


def _at_factor(wishes: Wishes, spread: Floats, factor: float) -> Chosen | None:
    """Lowest plane over the best estimate and so many standard deviations."""
    bound = wishes.floor_mm + factor * spread + wishes.min_cover_mm
    plane = lowest_plane(
        wishes.x_mm, wishes.y_mm, bound, wishes.area_mm2, wishes.max_slope, wishes.holds
    )
    return None if plane is None else Chosen(plane, factor, _chance(plane, wishes))


def _surest(wishes: Wishes, spread: Floats, best: Chosen, confidence: float) -> Chosen:
    """Find the lowest plane that is sure enough, or else the surest that the holds allow."""
    low, high = 0.0, _LARGEST_FACTOR
    for _ in range(14):
        middle = 0.5 * (low + high)
        tried = _at_factor(wishes, spread, middle)
        if tried is None or tried.chance >= confidence:
            high = middle
        else:
            low = middle
        if tried is None:
            continue
        sure, was_sure = tried.chance >= confidence, best.chance >= confidence
        if (sure and (not was_sure or middle < best.factor)) or (
            not sure and not was_sure and tried.chance >= best.chance
        ):
            best = tried
    return best


def _at_quantile(wishes: Wishes, best: Chosen, confidence: float) -> Chosen:
    """Slopes chosen, take the quantile itself for the height, as for a level plane."""
    plane = best.plane
    tilted = plane.at(wishes.x_mm, wishes.y_mm) - plane.a
    tops = (wishes.draws_mm - tilted).max(axis=1)
    height = float(np.quantile(tops, confidence, method="higher")) + wishes.min_cover_mm
    plane = Plane(height + SAME_MM, plane.b, plane.c)
    chance = chance_min_cover(plane, wishes.draws_mm, wishes.x_mm, wishes.y_mm, wishes.min_cover_mm)
    return Chosen(plane, best.factor, chance)


def _chance(plane: Plane, wishes: Wishes) -> float:
    """Probability that the minimum cover is kept at all cells at once, never more than it is."""
    limit = plane.at(wishes.x_mm, wishes.y_mm) - wishes.min_cover_mm
    over = (wishes.draws_mm - limit.astype(np.float32)).max(axis=1)
    return float(np.mean(over <= -2e-4))  # single floats of a metre are no finer
