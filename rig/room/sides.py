"""Names walls as an installer does, seen from the first door looking in."""

import math
from collections.abc import Sequence
from typing import NamedTuple

import shapely

from rig.room.doors import Door, wall_of
from rig.room.geometry import ON_WALL_MM, Point, Ring, cross, segments, towards


class Side(NamedTuple):
    """A wall ready for measuring from: its name, start, unit vector and length."""

    name: str
    rank: int
    start: Point
    along: Point
    length_mm: float


def named_sides(walls: Ring, doors: Sequence[Door]) -> tuple[Side, ...]:
    """
    Walls with the names an installer uses, seen from the first door looking in.

    A wall that faces as the door wall does but stands back from it is the 'near wall'; it is
    used only where nothing else serves, as it would be taken for the door wall.
    """
    parts = list(segments(walls))
    units = [towards(a, b) for a, b in parts]
    turn = 1.0 if shapely.is_ccw(shapely.LinearRing(walls)) else -1.0
    out = [(turn * u[1], -turn * u[0]) for u in units]
    names = [(f"wall {n}", n) for n in range(1, len(parts) + 1)]
    if doors:
        home = wall_of(walls, doors[0])
        look = (-out[home][0], -out[home][1])
        for k, (a, _) in enumerate(parts):
            ahead = out[k][0] * look[0] + out[k][1] * look[1]
            left = cross(look, out[k])
            if abs(ahead) < abs(left) - 1e-9:
                names[k] = ("left wall", 2) if left > 0 else ("right wall", 3)
            elif ahead > 0:
                names[k] = ("far wall", 1)
            else:
                start = parts[home][0]
                back = abs(cross(units[home], (a[0] - start[0], a[1] - start[1])))
                in_line = back <= ON_WALL_MM and abs(left) < math.sin(math.radians(5))
                names[k] = ("door wall", 0) if k == home or in_line else ("near wall", 1)
    return tuple(
        Side(*name, a, way, math.dist(a, b))
        for name, way, (a, b) in zip(names, units, parts, strict=True)
    )
