"""Plane geometry of rings of corners, and words for places and lengths in no job's units."""

import math
from collections.abc import Iterator

import numpy as np
import numpy.typing as npt
import shapely

from rig.language import numeral, put, say
from rig.units import Units

Point = tuple[float, float]
Ring = tuple[Point, ...]
Floats = npt.NDArray[np.float64]

ON_WALL_MM = 25.0  # a door or place this near to a wall is on it
SAME_MM = 0.01  # corners nearer than this are one

_METRIC, _IMPERIAL = Units("mm"), Units("in")


def pieces(shape: shapely.Geometry) -> list[shapely.Polygon]:
    """Polygons that a shape is made of."""
    return [part for part in shapely.get_parts(shape) if part.geom_type == "Polygon"]


def segments(ring: Ring) -> Iterator[tuple[Point, Point]]:
    """Sides of a ring, each with both ends, in their order."""
    return zip(ring, ring[1:] + ring[:1], strict=True)


def towards(a: Point, b: Point) -> Point:
    """Unit vector from a to b."""
    length = math.dist(a, b)
    return (b[0] - a[0]) / length, (b[1] - a[1]) / length


def cross(a: Point, b: Point) -> float:
    """Cross product: above 0 where b points to the left of a."""
    return a[0] * b[1] - a[1] * b[0]


def along(at: Point, a: Point, b: Point) -> float:
    """How far along the line a-b the foot of the perpendicular from `at` is."""
    way = towards(a, b)
    return (at[0] - a[0]) * way[0] + (at[1] - a[1]) * way[1]


def distance(at: Point, a: Point, b: Point) -> float:
    """Distance of a point from the segment a-b."""
    way, t = towards(a, b), min(max(along(at, a, b), 0.0), math.dist(a, b))
    return math.dist(at, (a[0] + t * way[0], a[1] + t * way[1]))


def at_words(point: Point, units: Units | None = None) -> str:
    """Write a place by its coordinates, in mm where no units are known."""
    if units is not None:
        return put("({x}, {y})", x=units.place(point[0]), y=units.place(point[1]))
    return say(
        "({point}, {point_2}) mm", point=numeral(point[0], ".0f"), point_2=numeral(point[1], ".0f")
    )


def told(mm: float, units: Units | None = None) -> str:
    """Write a length, in both systems where no units are known."""
    if units is not None:
        return units.place(mm)
    return put("{mm} ({inches})", mm=_METRIC.length(mm, step_mm=1.0), inches=_IMPERIAL.place(mm))
