"""Several rooms on one plan: what they are together, which doorways join them, the way out."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import combinations

import numpy as np
import shapely

from rig.errors import BadInput
from rig.language import numeral, say
from rig.room.doors import Door
from rig.room.geometry import Ring
from rig.room.outline import Outline, from_rings, with_door

WALL_MM = 500.0
"""No wall between two rooms is thicker (common practice, no source)."""
_CRUMB_MM2 = 100.0
_NEAR_MM = 1.0

NamedRoom = tuple[str, Outline]


@dataclass(frozen=True)
class House(Outline):
    """Rooms of one plan as one floor: its area and its edge are theirs together.

    Attributes
    ----------
    walls : ring
        Round all rooms, the walls between them filled, for drawings and for what is near.
    rooms : tuple of (name, Outline)
    """

    rooms: tuple[NamedRoom, ...] = ()

    @cached_property
    def polygon(self) -> shapely.Polygon:
        """Floor of all rooms; of several pieces where walls stand between them."""
        return shapely.union_all([outline.polygon for _, outline in self.rooms])

    @property
    def area_m2(self) -> float:
        """Floor of all rooms."""
        return sum(outline.area_m2 for _, outline in self.rooms)

    @property
    def edge_mm(self) -> float:
        """Walls and rims of all rooms."""
        return sum(outline.edge_mm for _, outline in self.rooms)

    @property
    def perimeter_mm(self) -> float:
        """Walls of all rooms."""
        return sum(outline.perimeter_mm for _, outline in self.rooms)

    def part_at(self, x_mm: float, y_mm: float) -> NamedRoom:
        """Return the room that a place is in, or nearest to, and its name."""
        spot = shapely.Point(x_mm, y_mm)
        return min(self.rooms, key=lambda one: shapely.distance(one[1].polygon, spot))


@dataclass(frozen=True)
class Doorway:
    """A doorway and the rooms it joins: two, or one where it leads out of the house."""

    door: Door
    rooms: tuple[str, ...]

    @property
    def middle(self) -> tuple[float, float]:
        """Where one goes through."""
        return self.door.middle


def house_of(rooms: Sequence[NamedRoom]) -> House:
    """Return rooms as one floor.

    Raises
    ------
    BadInput
        Rooms that overlap; a wall line that they share is no overlap.
    """
    for (name, one), (other, two) in combinations(rooms, 2):
        common = shapely.Polygon(one.walls).intersection(shapely.Polygon(two.walls)).area
        if common > _CRUMB_MM2:
            raise BadInput(
                say(
                    "{other} would overlap {name} by {common} m²: all rooms share one plan, so "
                    "give the place of its corner with --at X,Y.",
                    other=other,
                    name=name,
                    common=numeral(common / 1000000.0, ".2g"),
                )
            )
    doors = tuple(doorway.door for doorway in doorways(rooms) if len(doorway.rooms) == 1)
    openings = tuple(ring for _, outline in rooms for ring in outline.openings)
    return House(_round(rooms), openings, doors, rooms=tuple(rooms))


def doorways(rooms: Sequence[NamedRoom]) -> list[Doorway]:
    """Return each doorway once, with the rooms it joins."""
    found: list[Doorway] = []
    for name, outline in rooms:
        for door in outline.doors:
            line = door.line
            spot = shapely.Point(door.middle)
            twin = any(
                name in one.rooms
                and shapely.distance(spot, one.door.line) <= WALL_MM
                and _meet(line, one.door.line)
                for one in found
            )
            if twin:
                continue  # the other room has told the same doorway in its own wall
            beyond = [
                (shapely.distance(shapely.Polygon(two.walls), spot), other)
                for other, two in rooms
                if other != name
            ]
            near = min(beyond, default=(WALL_MM + 1.0, ""))
            joined = (
                (name, near[1]) if near[0] <= WALL_MM and _faces(rooms, near[1], line) else (name,)
            )
            found.append(Doorway(door, joined))
    return found


def way_out(rooms: Sequence[NamedRoom]) -> list[tuple[str, tuple[float, float] | None]]:
    """Return the rooms in the order to pour them, each with where the crew leaves it.

    A room comes before those that the way out of it leads through, so that nobody is walled in.
    The way out is by the first room's door to the outside, else any; None where there is none.
    """
    ways = doorways(rooms)
    steps: dict[str, tuple[int, tuple[float, float] | None]] = {}
    outside = [way for way in ways if len(way.rooms) == 1]
    edge: list[tuple[str, tuple[float, float] | None]] = [
        (way.rooms[0], way.middle) for way in outside
    ] or [(rooms[0][0], None)]
    for name, at in edge:
        steps.setdefault(name, (0, at))
    reached = list(steps)
    for name in reached:
        for way in ways:
            if name in way.rooms and len(way.rooms) == 2:
                (other,) = (one for one in way.rooms if one != name)
                if other not in steps:
                    steps[other] = (steps[name][0] + 1, way.middle)
                    reached.append(other)
    order = sorted(
        (name for name, _ in rooms), key=lambda name: -steps.get(name, (len(rooms), None))[0]
    )
    return [(name, steps.get(name, (0, None))[1]) for name in order]


def moved_to(outline: Outline, x_mm: float, y_mm: float) -> Outline:
    """Return an outline whose own corner (0, 0) lies at a place of the plan."""

    def shifted(ring: Iterable[tuple[float, float]]) -> Ring:
        return tuple((x + x_mm, y + y_mm) for x, y in ring)

    doors = tuple(
        Door(d.x_mm + x_mm, d.y_mm + y_mm, d.end_x_mm + x_mm, d.end_y_mm + y_mm)
        for d in outline.doors
    )
    return replace(
        outline,
        walls=shifted(outline.walls),
        openings=tuple(shifted(ring) for ring in outline.openings),
        doors=doors,
    )


def behind_door(
    outline: Outline, shape: Outline, door: Door, wall_mm: float, left_mm: float
) -> Outline:
    """Return a room placed behind a doorway of another, with that doorway in its own wall.

    Parameters
    ----------
    outline : Outline
        Whose doorway it is.
    shape : Outline
        The room as seen by who comes in: its corner (0, 0) is the one on the left of the wall
        with the doorway, its first wall runs from there to the right, the floor lies ahead.
    door : Door
    wall_mm : float
        How thick the wall between them is.
    left_mm : float
        From that corner to the doorway.

    Raises
    ------
    BadInput
        The doorway does not fit into the room's first wall.
    """
    along = np.array([door.end_x_mm - door.x_mm, door.end_y_mm - door.y_mm]) / door.width_mm
    ahead = np.array([along[1], -along[0]])
    middle = np.array(door.middle)
    if outline.polygon.contains(shapely.Point(middle + _NEAR_MM * 20 * ahead)):
        along, ahead = -along, -ahead
    right = -along
    ends = np.array([[door.x_mm, door.y_mm], [door.end_x_mm, door.end_y_mm]])
    left_end = min(ends, key=lambda end: float(end @ right))
    corner = left_end + wall_mm * ahead - left_mm * right

    def placed(ring: Iterable[tuple[float, float]]) -> Ring:
        made = (corner + x * right + y * ahead for x, y in ring)
        return tuple((float(x), float(y)) for x, y in made)

    room = from_rings(placed(shape.walls), map(placed, shape.openings))
    ((x, y),) = placed([(left_mm, 0.0)])
    return with_door(room, x, y, door.width_mm)


def _meet(one: shapely.LineString, other: shapely.LineString) -> bool:
    """Whether two doors face each other through a wall, by more than half of the narrower."""
    band = other.buffer(WALL_MM, cap_style="flat")
    return bool(one.intersection(band).length > 0.5 * min(one.length, other.length))


def _faces(rooms: Sequence[NamedRoom], name: str, line: shapely.LineString) -> bool:
    """Whether a room lies behind most of a doorway, across it."""
    (outline,) = (one for other, one in rooms if other == name)
    across = line.buffer(WALL_MM + _NEAR_MM, cap_style="flat")
    behind = shapely.intersection(across, shapely.Polygon(outline.walls))
    ends = shapely.get_coordinates(behind)
    if len(ends) == 0:
        return False
    along = shapely.line_locate_point(line, shapely.points(ends))
    return bool(along.max() - along.min() > 0.5 * line.length)


def _round(rooms: Sequence[NamedRoom]) -> Ring:
    """Ring round all rooms: their union where it is one piece, walls between them filled."""
    floors = [shapely.Polygon(outline.walls) for _, outline in rooms]
    together = shapely.union_all(floors)
    for wide in (0.0, 60.0, 150.0, WALL_MM / 2.0 + 10.0):
        closed = together
        if wide:
            closed = together.buffer(wide, join_style="mitre").buffer(-wide, join_style="mitre")
        if closed.geom_type == "Polygon" and closed.is_valid:
            return tuple(closed.exterior.coords)[:-1]
    return tuple(together.convex_hull.exterior.coords)[:-1]
