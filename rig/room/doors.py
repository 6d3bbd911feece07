"""Doorways: each on a wall, found from one of its ends and its width."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import shapely

from rig.errors import BadInput
from rig.language import say
from rig.room.geometry import (
    ON_WALL_MM,
    SAME_MM,
    Point,
    Ring,
    along,
    at_words,
    distance,
    segments,
    told,
    towards,
)
from rig.units import MM_PER_IN, Units

_Ranked = tuple[float, int, Point, Point]  # how far off a wall is, its number and its ends


@dataclass(frozen=True)
class Door:
    """A doorway on a wall: the end that was given, nearer the start of that wall, and the other."""

    x_mm: float
    y_mm: float
    end_x_mm: float
    end_y_mm: float

    @property
    def width_mm(self) -> float:
        """Clear width."""
        return math.hypot(self.end_x_mm - self.x_mm, self.end_y_mm - self.y_mm)

    @property
    def middle(self) -> Point:
        """Middle of the doorway."""
        return (self.x_mm + self.end_x_mm) / 2, (self.y_mm + self.end_y_mm) / 2

    @property
    def line(self) -> shapely.LineString:
        """Doorway from end to end."""
        return shapely.LineString([(self.x_mm, self.y_mm), (self.end_x_mm, self.end_y_mm)])


def door_on(
    walls: Ring,
    doors: Sequence[Door],
    x_mm: float,
    y_mm: float,
    width_mm: float,
    units: Units | None = None,
) -> Door:
    """Find the doorway that `with_door` adds; see there."""
    n = len(doors) + 1
    if not (math.isfinite(x_mm) and math.isfinite(y_mm)):
        raise BadInput(say("door {n}: its place is not a number.", n=n))
    if not (math.isfinite(width_mm) and width_mm > 0):
        raise BadInput(say("door {n}: its width must be more than 0.", n=n))
    at = (x_mm, y_mm)
    ranked = sorted((distance(at, a, b), k, a, b) for k, (a, b) in enumerate(segments(walls), 1))
    nearest, wall, *_ = ranked[0]
    if nearest > ON_WALL_MM:
        raise BadInput(
            say(
                "door {n} at {at_words} is not on a wall: the nearest, wall {wall}, is {told} "
                "away. Give the end of the doorway nearer the start of its wall.",
                n=n,
                at_words=at_words(at, units),
                wall=wall,
                told=told(nearest, units),
            )
        )
    # at a corner two walls are equally near; the one that the door fits on forwards is meant
    here = [r for r in ranked if r[0] <= nearest + 1.0]
    near = [r for r in ranked if nearest + 1.0 < r[0] <= ON_WALL_MM]
    for tier in (here, near):
        for _, _, a, b in tier:
            if door := _fitted(at, a, b, width_mm):
                _refuse_overlap(n, door, doors, units)
                return door
    raise _misfit(n, at, width_mm, here, near, units)


def _misfit(
    n: int,
    at: Point,
    width_mm: float,
    here: Sequence[_Ranked],
    near: Sequence[_Ranked],
    units: Units | None,
) -> BadInput:
    """What to say of doorway n, which fits on none of the walls `here` and `near`."""
    for _, wall, a, b in (*here, *near):
        if back := _fitted(at, a, b, -width_mm):
            other = f"{_plain(back.end_x_mm, units)},{_plain(back.end_y_mm, units)}"
            return BadInput(
                say(
                    "door {n}, {told} wide, would run past the end of wall {wall}: from "
                    "{at_words} that wall goes on for {told_2}. If that is the doorway's other "
                    "end, give --door {other},{plain}",
                    n=n,
                    told=told(width_mm, units),
                    wall=wall,
                    at_words=at_words(at, units),
                    told_2=told(max(math.dist(a, b) - along(at, a, b), 0.0), units),
                    other=other,
                    plain=_plain(width_mm, units),
                )
            )
    _, wall, a, b = here[0]
    start = min(max(along(at, a, b), 0.0), math.dist(a, b))
    return BadInput(
        say(
            "door {n}, {told} wide, does not fit on wall {wall}: from {at_words} that wall "
            "runs {told_2} one way and {told_3} the other.",
            n=n,
            told=told(width_mm, units),
            wall=wall,
            at_words=at_words(at, units),
            told_2=told(math.dist(a, b) - start, units),
            told_3=told(start, units),
        )
    )


def _plain(mm: float, units: Units | None) -> str:
    """Write a length as an option takes it, without blanks."""
    return f"{mm:.0f}mm" if units is None or units.is_metric else f"{mm / MM_PER_IN:.6g}in"


def _refuse_overlap(n: int, door: Door, others: Sequence[Door], units: Units | None) -> None:
    """Refuse a doorway that shares its opening with another."""
    opening = shapely.buffer(door.line, 1.0, cap_style="flat")
    for k, other in enumerate(others, 1):
        shared_mm = shapely.length(shapely.intersection(opening, other.line))
        if shared_mm > 1.0:
            raise BadInput(
                say(
                    "door {n} at {at_words} overlaps door {k} by {told}. Give each door once, "
                    "and its own width.",
                    n=n,
                    at_words=at_words((door.x_mm, door.y_mm), units),
                    k=k,
                    told=told(shared_mm, units),
                )
            )


def check_door(walls: Ring, door: Door, n: int, units: Units | None = None) -> None:
    """Refuse door number n where it does not lie on one wall."""
    ends = ((door.x_mm, door.y_mm), (door.end_x_mm, door.end_y_mm))
    if not all(math.isfinite(value) for end in ends for value in end):
        raise BadInput(say("door {n}: its place is not a number.", n=n))
    if door.width_mm <= SAME_MM:
        raise BadInput(say("door {n}: its width must be more than 0.", n=n))
    a, b = list(segments(walls))[wall_of(walls, door)]
    off = max(distance(end, a, b) for end in ends)
    if off > ON_WALL_MM:
        raise BadInput(
            say(
                "door {n}, from {at_words} to {at_words_2}, does not lie on one wall: it is "
                "{told} off the nearest. Give the door again to suit the walls.",
                n=n,
                at_words=at_words(ends[0], units),
                at_words_2=at_words(ends[1], units),
                told=told(off, units),
            )
        )


def wall_of(walls: Ring, door: Door) -> int:
    """Index of the wall that a door fits best."""
    ends = ((door.x_mm, door.y_mm), (door.end_x_mm, door.end_y_mm))
    off = [max(distance(end, a, b) for end in ends) for a, b in segments(walls)]
    return off.index(min(off))


def _fitted(at: Point, a: Point, b: Point, width_mm: float) -> Door | None:
    """Door from the point of wall a-b nearest `at`, backwards where the width is negative."""
    length, way = math.dist(a, b), towards(a, b)
    start = min(max(along(at, a, b), 0.0), length)
    end = start + width_mm
    if not -1.0 <= end <= length + 1.0:
        return None
    end = min(max(end, 0.0), length)
    return Door(
        a[0] + start * way[0], a[1] + start * way[1], a[0] + end * way[0], a[1] + end * way[1]
    )
