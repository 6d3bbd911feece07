"""A room's outline: walls, openings and doors, checked by name before anything stands on them.

Seen from above, x runs along the first wall and y to its left; all lengths are mm.
"""

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import numpy.typing as npt
import shapely

from rig.errors import BadInput
from rig.language import say
from rig.room.doors import Door, check_door, door_on
from rig.room.geometry import ON_WALL_MM, SAME_MM, Point, Ring, at_words, pieces, segments
from rig.room.sides import Side, named_sides
from rig.units import Units

_CRUMB_MM2 = 100.0  # a piece under 1 cm² beside the floor is rounding, not a second room
_FARTHEST_MM = 1e7


@dataclass(frozen=True)
class Outline:
    """
    A room's plan; made by `from_rings` and its kin, which check it.

    Attributes
    ----------
    walls : ring
        Corners in the order given, the first not repeated at the end.
    openings : tuple of rings
        Holes: ducts, posts, flanges. What reaches past a wall is cut off in `polygon` only.
    doors : tuple of Door
        The first is the one that walls are named from.
    wall_names : mapping of int to str
        The user's own names of walls, by their index.
    """

    walls: Ring
    openings: tuple[Ring, ...] = ()
    doors: tuple[Door, ...] = ()
    wall_names: Mapping[int, str] = field(default_factory=dict, compare=False)

    @cached_property
    def polygon(self) -> shapely.Polygon:
        """Floor as a shapely polygon, openings cut out."""
        floor = shapely.Polygon(self.walls)
        for opening in self.openings:
            floor = max(pieces(floor.difference(shapely.Polygon(opening))), key=shapely.area)
        return floor

    @property
    def area_m2(self) -> float:
        """Area of the floor, openings cut out."""
        return float(self.polygon.area) / 1e6

    @property
    def edge_mm(self) -> float:
        """Length of the walls and of the rims of openings."""
        return float(self.polygon.length)

    def part_at(self, x_mm: float, y_mm: float) -> "tuple[str, Outline]":
        """Return the room that a place is in, and its name; a single room has none."""
        return "", self

    @property
    def perimeter_mm(self) -> float:
        """Length of the walls; the rims of openings don't count."""
        return sum(math.dist(a, b) for a, b in segments(self.walls))

    @cached_property
    def sides(self) -> tuple[Side, ...]:
        """Walls ready for measuring from, with their names."""
        return named_sides(self.walls, self.doors, self.wall_names)

    @cached_property
    def sight(self) -> shapely.Polygon:
        """Where a tape can run: inside the walls, with a hair's breadth for rounding."""
        room = shapely.Polygon(self.walls).buffer(1.0, join_style="mitre")
        shapely.prepare(room)
        return room

    @cached_property
    def _obstacles(self) -> tuple[shapely.Polygon, ...]:
        """Openings, a hair's breadth smaller; a tape is not led over or round them."""
        small = [shapely.Polygon(ring).buffer(-1.0) for ring in self.openings]
        return tuple(one for one in small if not one.is_empty)

    @property
    def polygon_text(self) -> str:
        """Walls and openings as WKT, in mm."""
        return str(shapely.to_wkt(shapely.Polygon(self.walls, self.openings), trim=True))

    def is_in_the_way(self, tape: shapely.LineString) -> bool:
        """Whether an opening lies under a line, other than the one that it begins in."""
        start = shapely.get_point(tape, 0)
        return any(
            shapely.intersects(one, tape) and not shapely.intersects(one, start)
            for one in self._obstacles
        )


def room(width_mm: float, length_mm: float) -> Outline:
    """Rectangle with its corner at (0, 0) and its first length along x."""
    for name, side in (("first", width_mm), ("second", length_mm)):
        if not (math.isfinite(side) and side > 0):
            raise BadInput(say("the {name} length of the room must be more than 0.", name=name))
    return from_rings([(0, 0), (width_mm, 0), (width_mm, length_mm), (0, length_mm)])


def from_rings(
    walls: Iterable[Sequence[float]],
    openings: Iterable[Iterable[Sequence[float]]] = (),
    doors: Iterable[Door | Sequence[float]] = (),
    wall_names: Mapping[int, str] | None = None,
    units: Units | None = None,
) -> Outline:
    """
    Outline from corners, checked.

    Parameters
    ----------
    walls : sequence of (x, y)
        Corners in mm, either way round; a last corner that repeats the first is dropped.
    openings : sequence of rings
        Each may touch a wall or reach a little past it: it is cut off there.
    doors : sequence of Door or (x, y, end_x, end_y)
        Each must lie on one wall.
    wall_names : mapping of int to str, optional
        The user's own names of walls, by their index; those of walls that are not there go.
    units : Units, optional
        What is wrong is told in these.

    Raises
    ------
    BadInput
        Naming what is wrong: the walls cross themselves, opening 2 lies outside, ...
    """
    ring = _checked_ring(walls, None, units)
    holes = tuple(_checked_ring(hole, n, units) for n, hole in enumerate(openings, 1))
    _check_openings(shapely.Polygon(ring), holes)
    placed = tuple(door if isinstance(door, Door) else Door(*map(float, door)) for door in doors)
    for n, door in enumerate(placed, 1):
        check_door(ring, door, n, units)
    names = {k: name for k, name in (wall_names or {}).items() if 0 <= k < len(ring)}
    return Outline(ring, holes, placed, names)


def with_opening(
    outline: Outline, x_mm: float, y_mm: float, width_mm: float, height_mm: float
) -> Outline:
    """Outline with one more rectangular opening: its lowest x and y, its size along each."""
    n = len(outline.openings) + 1
    if not (width_mm > 0 and height_mm > 0):
        raise BadInput(say("width and height of opening {n} must be more than 0.", n=n))
    right, top = x_mm + width_mm, y_mm + height_mm
    box = ((x_mm, y_mm), (right, y_mm), (right, top), (x_mm, top))
    return from_rings(outline.walls, (*outline.openings, box), outline.doors, outline.wall_names)


def with_door(
    outline: Outline, x_mm: float, y_mm: float, width_mm: float, units: Units | None = None
) -> Outline:
    """
    Outline with one more door.

    Parameters
    ----------
    outline : Outline
        The room.
    x_mm, y_mm : float
        End of the doorway nearer the start of its wall; it runs from there the way the wall
        runs.
    width_mm : float
        Clear width.
    units : Units, optional
        What is wrong is told in these.

    Raises
    ------
    BadInput
        Where no wall is within 25 mm, the door runs past the end of all that are, or another door
        is there.
    """
    door = door_on(outline.walls, outline.doors, x_mm, y_mm, width_mm, units)
    doors = (*outline.doors, door)
    return from_rings(outline.walls, outline.openings, doors, outline.wall_names)


def contains(outline: Outline, x_mm: npt.ArrayLike, y_mm: npt.ArrayLike) -> npt.NDArray[np.bool_]:
    """Whether each point is on the floor, its border included; same shape as x and y."""
    x, y = np.broadcast_arrays(np.asarray(x_mm, dtype=float), np.asarray(y_mm, dtype=float))
    shapely.prepare(outline.polygon)
    inside = np.array(shapely.intersects_xy(outline.polygon, x, y), dtype=bool)
    unsure = ~inside & np.isfinite(x) & np.isfinite(y)
    if unsure.any():  # a point on a slanted wall is a rounding error off it
        rim = shapely.boundary(outline.polygon)
        inside[unsure] = shapely.dwithin(rim, shapely.points(x[unsure], y[unsure]), SAME_MM)
    return inside


def is_within(outline: Outline, x_mm: float, y_mm: float) -> bool:
    """Say whether a place lies within the walls or on them, be it in an opening."""
    at = (float(x_mm), float(y_mm))
    if not all(map(math.isfinite, at)):
        return False
    return bool(shapely.distance(outline.sight, shapely.Point(at)) <= ON_WALL_MM)


def _checked_ring(
    points: Iterable[Sequence[float]], opening: int | None, units: Units | None
) -> Ring:
    """Corners as floats without repeats, refused where they make no sound ring."""
    corners = _corners(points, opening)
    name = say("the walls") if opening is None else say("opening {n}", n=opening)
    if len(corners) < 3:
        raise BadInput(say("{name}: fewer than three different corners.", name=name))
    if shapely.MultiPoint(corners).convex_hull.area < 1.0:
        raise BadInput(say("{name}: no area, all corners are on one line.", name=name))
    reason = str(shapely.is_valid_reason(shapely.Polygon(corners)))
    if reason != "Valid Geometry":
        found = re.search(r"\[(\S+) (\S+)", reason)
        if found is None:
            raise BadInput(
                say(
                    "{name}: the rim crosses itself; give the corners in order along it.",
                    name=name,
                )
            )
        raise BadInput(
            say(
                "{name}: the rim crosses itself near {place}; give the corners in order along it.",
                name=name,
                place=at_words((float(found[1]), float(found[2].rstrip("]"))), units),
            )
        )
    return tuple(corners)


def _corners(points: Iterable[Sequence[float]], opening: int | None) -> list[Point]:
    """Corners as floats, each once."""
    corners: list[Point] = []
    for n, point in enumerate(points, 1):
        corner = (
            say("wall corner {n}", n=n)
            if opening is None
            else say("opening {opening}, corner {n}", opening=opening, n=n)
        )
        try:
            x, y = (float(value) for value in point)
        except (TypeError, ValueError):
            raise BadInput(say("{corner} is not a pair of numbers.", corner=corner)) from None
        if not (math.isfinite(x) and math.isfinite(y)):
            raise BadInput(say("{corner} is not a finite number.", corner=corner))
        if max(abs(x), abs(y)) > _FARTHEST_MM:
            raise BadInput(
                say("{corner} is over 10 km from (0, 0); is the unit right?", corner=corner)
            )
        if not corners or math.dist(corners[-1], (x, y)) > SAME_MM:
            corners.append((x, y))
    if len(corners) > 1 and math.dist(corners[0], corners[-1]) <= SAME_MM:
        corners.pop()
    return corners


def _check_openings(walls: shapely.Polygon, openings: Sequence[Ring]) -> None:
    floor = walls
    earlier: list[shapely.Polygon] = []
    for n, ring in enumerate(openings, 1):
        opening = shapely.Polygon(ring)
        inside = opening.intersection(walls).area / opening.area
        if inside <= 0.5:
            if inside > 1e-6:
                text = say(
                    "opening {n} lies mostly outside the walls; check its place and size.", n=n
                )
            else:
                text = say("opening {n} lies outside the walls; check its place and size.", n=n)
            raise BadInput(text)
        for m, other in enumerate(earlier, 1):
            slack = min(_CRUMB_MM2, 0.01 * min(opening.area, other.area))
            if opening.intersection(other).area > slack:
                raise BadInput(
                    say("openings {m} and {n} overlap; give them as one, or mend one.", m=m, n=n)
                )
        earlier.append(opening)
        left = [part for part in pieces(floor.difference(opening)) if part.area > _CRUMB_MM2]
        if not left:
            raise BadInput(say("opening {n} leaves no floor; check its size.", n=n))
        if len(left) > 1:
            raise BadInput(
                say("opening {n} cuts the room in two; level each part as a room of its own.", n=n)
            )
        floor = left[0]
