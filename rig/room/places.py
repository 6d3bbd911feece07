"""Tells places by offsets from two walls: `6 ft from the door wall, 4 ft from the left wall`."""

import math
from collections.abc import Sequence
from typing import NamedTuple

import shapely

from rig.errors import BadInput
from rig.language import Worded, join, put, say
from rig.room.geometry import SAME_MM, Point, at_words, cross, segments, towards
from rig.room.outline import Outline, is_within
from rig.units import Units

_CLEAR_SINE = 0.5  # measures less than 30° apart place a point badly
_STRAIGHT = math.cos(math.radians(25.0))  # so near to square on, a way leads to that wall
_SQUARE, _VAGUE, _CORNER, _BLOCKED = range(4)


def wall_offsets(
    outline: Outline, x_mm: float, y_mm: float
) -> tuple[tuple[str, float], tuple[str, float]]:
    """
    Square distances from two walls that together fix a place on the floor.

    Parameters
    ----------
    outline : Outline
        With a door its walls are 'door wall', 'left wall', 'right wall' and 'far wall', as seen
        from the (first) door looking in, told apart as `Outline.sides` does; without one
        'wall 1', 'wall 2', ... as given.
    x_mm, y_mm : float
        A place inside the walls.

    Returns
    -------
    pair of (name, distance_mm)
        The nearest walls with the foot of the perpendicular on them and nothing between, no wall
        and no opening, and not parallel to each other: door or far wall first, then left or
        right. Where a crooked room has no such pair, 'corner of the left wall and the far wall'
        stands for one of them, and the distance is that from the corner.

    Raises
    ------
    BadInput
        Where the place is outside the walls.
    """
    one, other = _offsets(outline, x_mm, y_mm)
    return (one.name, one.distance_mm), (other.name, other.distance_mm)


def _offsets(outline: Outline, x_mm: float, y_mm: float) -> "tuple[_Offer, _Offer]":
    return _two_offers(outline.part_at(x_mm, y_mm)[1], x_mm, y_mm)[1]


def named_walls(outline: Outline) -> list[tuple[str, Point, Point]]:
    """Walls in their order: name as `wall_offsets` tells it, and both ends."""
    return [
        (side.name, a, b)
        for side, (a, b) in zip(outline.sides, segments(outline.walls), strict=True)
    ]


def wall_towards(outline: Outline, bearing_deg: float) -> str:
    """Name the wall that lies in a direction, or the corner of two.

    Parameters
    ----------
    outline : Outline
    bearing_deg : float
        0 along x, 90 along y.
    """
    way = math.cos(math.radians(bearing_deg)), math.sin(math.radians(bearing_deg))
    turn = 1.0 if shapely.is_ccw(shapely.LinearRing(outline.walls)) else -1.0
    faces = sorted(
        (
            (turn * cross(way, side.along), not side.vague, side.length_mm, side.name)
            for side in outline.sides
        ),
        reverse=True,
    )
    first = faces[0]
    if first[0] >= _STRAIGHT:
        return _the(first[3])
    beside = next((one for one in faces if one[3] != first[3] and one[0] < first[0] - 1e-6), first)
    return _the_corner((first[3], beside[3]))


def wall_feet(outline: Outline, x_mm: float, y_mm: float) -> list[tuple[Point, float]]:
    """Where the two measures of `wall_offsets` meet their walls, each with its distance in mm."""
    _, offers = _two_offers(outline.part_at(x_mm, y_mm)[1], x_mm, y_mm)
    return [(offer.foot, offer.distance_mm) for offer in offers]


def where(outline: Outline, x_mm: float, y_mm: float, units: Units | str = "in") -> str:
    """Tell where a place is: `6 ft from the door wall, 4 ft from the left wall`.

    A place beyond the walls (a benchmark in the hall, or walls that were mended) is told by its
    coordinates.
    """
    name, outline = outline.part_at(x_mm, y_mm)
    if name:
        return put("{name}, {where}", name=name, where=where(outline, x_mm, y_mm, units))
    of = units if isinstance(units, Units) else Units("mm" if units == "mm" else "in")
    if math.isfinite(x_mm + y_mm) and not is_within(outline, x_mm, y_mm):
        return say("outside the walls, x {x}, y {y}", x=of.place(x_mm), y=of.place(y_mm))
    return join(
        ", ",
        (
            _from(offer.walls, of.place(offer.distance_mm))
            for offer in _offsets(outline, x_mm, y_mm)
        ),
    )


class _Offer(NamedTuple):
    """What a wall or a corner offers a place: a tape's length, and how good it is to measure."""

    walls: tuple[str, ...]  # one, or the two of a corner
    distance_mm: float
    tier: int
    rank: int
    foot: Point
    way: Point  # that the tape runs from the place

    @property
    def name(self) -> str:
        """The wall's, or what the corner is called."""
        return self.walls[0] if len(self.walls) == 1 else _corner(self.walls)


def _two_offers(outline: Outline, x_mm: float, y_mm: float) -> tuple[Point, tuple[_Offer, _Offer]]:
    """The two measures that tell a place, and the place itself."""
    at = (float(x_mm), float(y_mm))
    spot = shapely.Point(at)
    if not is_within(outline, *at):
        raise BadInput(say("the place {at_words} lies outside the walls.", at_words=at_words(at)))
    if not shapely.covers(outline.sight, spot):  # in a doorway, say: told as if on its wall
        rim = shapely.shortest_line(shapely.Polygon(outline.walls), spot)
        at = (float(rim.coords[0][0]), float(rim.coords[0][1]))
    offers = sorted(_wall_offers(outline, at), key=_usefulness)
    pair = _clear_pair(outline, at, offers)
    if pair is None or pair[1].tier == _BLOCKED:
        offers = sorted([*offers, *_corner_offers(outline, at)], key=_usefulness)
        pair = _clear_pair(outline, at, offers) or pair
    if pair is None:
        pair = offers[0], max(offers[1:], key=lambda one: _sine(offers[0], one))
    one, other = sorted(pair, key=lambda offer: offer.rank)
    return at, (one, other)


def _wall_offers(outline: Outline, at: Point) -> list[_Offer]:
    """Square measures from walls with nothing but openings between."""
    offers = []
    for side in outline.sides:
        away = (at[0] - side.start[0], at[1] - side.start[1])
        t = away[0] * side.along[0] + away[1] * side.along[1]
        if not -SAME_MM <= t <= side.length_mm + SAME_MM:
            continue
        foot = (side.start[0] + t * side.along[0], side.start[1] + t * side.along[1])
        distance = math.dist(at, foot)
        if distance >= SAME_MM:
            tape = shapely.LineString([at, foot])
            if not shapely.covers(outline.sight, tape):
                continue
            tier = _VAGUE if side.vague else _SQUARE
            tier = _BLOCKED if outline.is_in_the_way(tape) else tier
        else:
            tier = _VAGUE if side.vague else _SQUARE
        way = (-side.along[1], side.along[0])
        offers.append(_Offer((side.name,), distance, tier, side.rank, foot, way))
    return offers


def _corner_offers(outline: Outline, at: Point) -> list[_Offer]:
    """Straight measures from corners that are in sight."""
    offers = []
    sides = outline.sides
    for k, side in enumerate(sides):
        foot, distance = side.start, math.dist(at, side.start)
        if distance < SAME_MM:
            continue
        tape = shapely.LineString([at, foot])
        if not shapely.covers(outline.sight, tape):
            continue
        before, after = sorted((sides[k - 1], side), key=lambda one: one.rank)
        walls = (before.name, after.name)
        tier = _BLOCKED if outline.is_in_the_way(tape) else _CORNER
        offers.append(_Offer(walls, distance, tier, before.rank, foot, towards(at, foot)))
    return offers


def _clear_pair(outline: Outline, at: Point, offers: list[_Offer]) -> tuple[_Offer, _Offer] | None:
    """The most useful offer with the next that places the point with it, and only there."""
    if not offers:
        return None
    first = offers[0]
    for other in offers[1:]:
        if _sine(first, other) >= _CLEAR_SINE and not _places_another(outline, at, first, other):
            return first, other
    return None


def _sine(one: _Offer, other: _Offer) -> float:
    return abs(cross(one.way, other.way))


def _places_another(outline: Outline, at: Point, first: _Offer, other: _Offer) -> bool:
    """Whether the same two measures lead to a second place of the room."""
    if other.tier < _CORNER or len(other.walls) == 1:
        return False
    way = (-first.way[1], first.way[0])
    past = (at[0] - other.foot[0]) * way[0] + (at[1] - other.foot[1]) * way[1]
    mirrored = (at[0] - 2.0 * past * way[0], at[1] - 2.0 * past * way[1])
    return bool(shapely.covers(outline.sight, shapely.Point(mirrored)))


def _usefulness(offer: _Offer) -> tuple[int, float, int]:
    return offer.tier, offer.distance_mm, offer.rank


_FROM = {
    "door wall": say("{distance} from the door wall"),
    "left wall": say("{distance} from the left wall"),
    "right wall": say("{distance} from the right wall"),
    "far wall": say("{distance} from the far wall"),
    "near wall": say("{distance} from the near wall"),
}


def _from(walls: Sequence[str], distance: str) -> str:
    """Say how far a place is from a wall, or from the corner of two."""
    if len(walls) == 2:
        return say("{distance} from {corner}", distance=distance, corner=_the_corner(walls))
    (name,) = walls
    if name.startswith("wall "):
        return say("{distance} from {wall}", distance=distance, wall=name)
    if not _is_ours(name):
        return say("{distance} from the {named}", distance=distance, named=name)
    if name in _FROM:
        return say(_FROM[name], distance=distance)
    return say("{distance} from the {wall}", distance=distance, wall=name)


def _corner(walls: Sequence[str]) -> str:
    one, other = walls
    if all(map(_is_ours, walls)) and not one.startswith("wall "):
        return say("corner of the {one} and the {other}", one=one, other=other)
    return say("corner of {one} and {other}", one=_the(one), other=_the(other))


def _the_corner(walls: Sequence[str]) -> str:
    one, other = walls
    if all(map(_is_ours, walls)) and not one.startswith("wall "):
        return say("the corner of the {one} and the {other}", one=one, other=other)
    return say("the corner of {one} and {other}", one=_the(one), other=_the(other))


def _the(name: str) -> str:
    """Name as it stands in a sentence: `wall 1`, but `the left wall`."""
    if name.startswith("wall "):
        return name
    return say("the {wall}", wall=name) if _is_ours(name) else say("the {named}", named=name)


def _is_ours(name: str) -> bool:
    """Tell a name of `named_sides`, whose gender is known, from one that a user gave."""
    return isinstance(name, Worded)
