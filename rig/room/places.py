"""Tells places by offsets from two walls: `6 ft from the door wall, 4 ft from the left wall`."""

import math
from typing import NamedTuple

import shapely

from rig.errors import BadInput
from rig.room.geometry import SAME_MM, Point, at_words, cross, segments
from rig.room.outline import Outline, is_within
from rig.room.sides import Side
from rig.units import Units

_CLEAR_SINE = 0.5  # offsets from walls less than 30° apart place a point badly


def wall_offsets(
    outline: Outline, x_mm: float, y_mm: float
) -> tuple[tuple[str, float], tuple[str, float]]:
    """
    Square distances from two walls that together fix a place on the floor.

    Parameters
    ----------
    outline : Outline
        With a door its walls are 'door wall', 'left wall', 'right wall' and 'far wall', as seen
        from the (first) door looking in; without one 'wall 1', 'wall 2', ... as given.
    x_mm, y_mm : float
        A place inside the walls.

    Returns
    -------
    pair of (name, distance_mm)
        The nearest walls with the foot of the perpendicular on them and nothing between, not
        parallel to each other: door or far wall first, then left or right. Where a crooked room
        has no such pair, 'line of the left wall' stands for the wall carried on straight.

    Raises
    ------
    BadInput
        Where the place is outside the walls.
    """
    _, (one, other) = _two_offers(outline, x_mm, y_mm)
    return (one.name, one.distance_mm), (other.name, other.distance_mm)


def named_walls(outline: Outline) -> list[tuple[str, Point, Point]]:
    """Walls in their order: name as `wall_offsets` tells it, and both ends."""
    return [
        (side.name, a, b)
        for side, (a, b) in zip(outline.sides, segments(outline.walls), strict=True)
    ]


def wall_feet(outline: Outline, x_mm: float, y_mm: float) -> list[tuple[Point, float]]:
    """Where the two measures of `wall_offsets` meet their walls, each with its distance in mm."""
    at, offers = _two_offers(outline, x_mm, y_mm)
    feet = []
    for offer in offers:
        (x, y), (dx, dy) = offer.side.start, offer.side.along
        along = (at[0] - x) * dx + (at[1] - y) * dy
        feet.append(((x + along * dx, y + along * dy), offer.distance_mm))
    return feet


def where(outline: Outline, x_mm: float, y_mm: float, units: Units | str = "in") -> str:
    """Tell where a place is: `6 ft from the door wall, 4 ft from the left wall`.

    A place beyond the walls (a benchmark in the hall, or walls that were mended) is told by its
    coordinates.
    """
    of = units if isinstance(units, Units) else Units("mm" if units == "mm" else "in")
    if math.isfinite(x_mm + y_mm) and not is_within(outline, x_mm, y_mm):
        return f"outside the walls, x {of.place(x_mm)}, y {of.place(y_mm)}"
    return ", ".join(
        f"{of.place(distance)} from {_the(name)}"
        for name, distance in wall_offsets(outline, x_mm, y_mm)
    )


class _Offer(NamedTuple):
    """What one side offers a place: the square distance, and how good it is to measure."""

    name: str
    distance_mm: float
    tier: int  # 0 a wall in sight, 1 the same under a vague name, 2 a wall carried on
    reach_mm: float
    side: Side


def _two_offers(outline: Outline, x_mm: float, y_mm: float) -> tuple[Point, tuple[_Offer, _Offer]]:
    """The two sides that a place is measured from, and the place itself."""
    at = (float(x_mm), float(y_mm))
    spot = shapely.Point(at)
    if not is_within(outline, *at):
        raise BadInput(f"the place {at_words(at)} lies outside the walls.")
    if not shapely.covers(outline.sight, spot):  # in a doorway, say: told as if on its wall
        rim = shapely.shortest_line(shapely.Polygon(outline.walls), spot)
        at = (float(rim.coords[0][0]), float(rim.coords[0][1]))
    offers = sorted((_offer(side, at, outline.sight) for side in outline.sides), key=_usefulness)
    first = offers[0]

    def sine(other: _Offer) -> float:
        return abs(cross(first.side.along, other.side.along))

    clear = [offer for offer in offers if sine(offer) >= _CLEAR_SINE]
    told_apart = [offer for offer in clear if offer.side.name != first.side.name]
    second = (told_apart or clear or [max(offers, key=sine)])[0]
    one, other = sorted((first, second), key=lambda offer: offer.side.rank)
    return at, (one, other)


def _offer(side: Side, at: Point, sight: shapely.Polygon) -> _Offer:
    away = (at[0] - side.start[0], at[1] - side.start[1])
    t = away[0] * side.along[0] + away[1] * side.along[1]
    square = abs(cross(side.along, away))
    held = min(max(t, 0.0), side.length_mm)
    foot = (side.start[0] + held * side.along[0], side.start[1] + held * side.along[1])
    reach = math.dist(at, foot)
    in_sight = reach < SAME_MM or bool(shapely.covers(sight, shapely.LineString([at, foot])))
    if abs(t - held) <= SAME_MM and in_sight:
        return _Offer(side.name, square, 1 if side.name == "near wall" else 0, reach, side)
    return _Offer(f"line of {_the(side.name)}", square, 2, reach, side)


def _usefulness(offer: _Offer) -> tuple[int, float, int]:
    return offer.tier, offer.reach_mm, offer.side.rank


def _the(name: str) -> str:
    """Name as it stands in a sentence: `wall 1`, but `the left wall`."""
    return name if name.startswith("wall ") else f"the {name}"
