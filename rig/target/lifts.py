"""Chooses the lifts of a pour that is deeper than the compound takes in one.

All tops are parallel to the finished plane. The last lift covers the whole floor and is as thick as
it may be, and so is each below it: what is left for a lower lift are the deep spots alone, which is
the least area that must be primed and poured a second time.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from rig.errors import BadInput
from rig.language import say
from rig.target.level import Floats, Plane, lifts

MOST_LIFTS = 20
_NONE_MM = 1e-6  # less is rounding, not compound


@dataclass(frozen=True)
class Lift:
    """A layer of a pour.

    Attributes
    ----------
    top : Plane
    min_mm, max_mm : float
        Its thickness where it is poured; it runs out to nothing at the rim of a deep spot.
    area_mm2, volume_mm3 : float
    """

    top: Plane
    min_mm: float
    max_mm: float
    area_mm2: float
    volume_mm3: float


def tops_below(deepest_mm: float, max_lift_mm: float | None, least_mm: float) -> list[float]:
    """Return how far under the finished plane each lift's top lies, the first lift first.

    Parameters
    ----------
    deepest_mm : float
        Deepest cover.
    max_lift_mm : float or None
        Most that a lift takes.
    least_mm : float
        A first lift thinner than this at its deepest is made so thick, at the cost of the next.

    Raises
    ------
    BadInput
        More lifts than anybody pours.
    """
    count = lifts(deepest_mm, max_lift_mm)
    if max_lift_mm is None or count == 1:
        return [0.0]
    if count > MOST_LIFTS:
        raise BadInput(
            say(
                "This floor would take {count} lifts, which nobody pours: is the maximum cover "
                "right?",
                count=count,
            )
        )
    least = min(least_mm, max_lift_mm / 2.0)
    tops = [max_lift_mm * (count - n) for n in range(1, count + 1)]
    tops[0] = min(tops[0], deepest_mm - least)
    return tops


def choose_lifts(
    plane: Plane,
    x_mm: ArrayLike,
    y_mm: ArrayLike,
    floor_mm: ArrayLike,
    area_mm2: ArrayLike,
    max_lift_mm: float | None,
    least_mm: float,
) -> tuple[Lift, ...]:
    """Choose the fewest lifts, and of those the ones that are poured on the least area.

    Parameters
    ----------
    plane : Plane
        Finished.
    x_mm, y_mm, floor_mm, area_mm2 : arrays, shape (m,)
        Best estimate of the floor by cells.
    max_lift_mm : float or None
    least_mm : float
        See `tops_below`.

    Returns
    -------
    tuple of Lift
        The first is poured first; the last one's top is the finished plane.
    """
    x, y = np.asarray(x_mm, dtype=float), np.asarray(y_mm, dtype=float)
    area = np.asarray(area_mm2, dtype=float)
    deep = plane.at(x, y) - np.asarray(floor_mm, dtype=float)
    found = []
    before = math.inf
    for below in tops_below(float(deep.max()), max_lift_mm, least_mm):
        thick = thickness(deep, below, before)
        there = thick > _NONE_MM
        found.append(
            Lift(
                top=Plane(plane.a - below, plane.b, plane.c),
                min_mm=float(thick[there].min()),
                max_mm=float(thick.max()),
                area_mm2=float(area[there].sum()),
                volume_mm3=float(area @ thick),
            )
        )
        before = below
    return tuple(found)


def thickness(deep_mm: Floats, below_mm: float, before_mm: float) -> Floats:
    """Return how thick a lift lies where the finished cover is so deep.

    Parameters
    ----------
    deep_mm : array
        Cover of the finished plane.
    below_mm, before_mm : float
        How far the tops of this lift and of the one before lie under it; infinite for none.
    """
    thick: Floats = np.maximum(np.minimum(deep_mm, before_mm) - below_mm, 0.0)
    return thick


def shared_bags(bags: int, volumes: Sequence[float]) -> list[int]:
    """Share whole bags out to lifts: each has begun ones opened, together they are all of them."""
    total = sum(volumes)
    ends = [math.ceil(bags * sum(volumes[: n + 1]) / total - 1e-9) for n in range(len(volumes))]
    return [end - start for start, end in zip([0, *ends], ends, strict=False)]
