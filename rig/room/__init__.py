"""The plan of a room: walls, openings and doors, checked by name before anything stands on them.

Makes rasters of the floor and tells places by offsets from two walls. Seen from above, x runs
along the first wall and y to its left; all lengths are mm.
"""

import csv
import math
import os
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
import shapely

from rig.errors import BadInput
from rig.units import counted, format_length, format_place, parse_length

Point = tuple[float, float]
Ring = tuple[Point, ...]
Floats = npt.NDArray[np.float64]

ON_WALL_MM = 25.0  # a door or place this near to a wall is on it
MOST_CLOSING = 0.02  # of the perimeter; more is a wrong length, not tape error (common practice)

_SAME_MM = 0.01  # corners nearer than this are one
_CRUMB_MM2 = 100.0  # a piece under 1 cm² beside the floor is rounding, not a second room
_MOST_CELLS = 4_000_000
_FARTHEST_MM = 1e7
_CLEAR_SINE = 0.5  # offsets from walls less than 30° apart place a point badly


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
    """

    walls: Ring
    openings: tuple[Ring, ...] = ()
    doors: tuple[Door, ...] = ()

    @cached_property
    def polygon(self) -> Any:
        """Floor as a shapely polygon, openings cut out."""
        floor = shapely.Polygon(self.walls)
        for opening in self.openings:
            floor = max(_pieces(floor.difference(shapely.Polygon(opening))), key=shapely.area)
        return floor

    @property
    def area_m2(self) -> float:
        """Area of the floor, openings cut out."""
        return float(self.polygon.area) / 1e6

    @property
    def perimeter_mm(self) -> float:
        """Length of the walls; the rims of openings don't count."""
        return sum(math.dist(a, b) for a, b in _segments(self.walls))

    @cached_property
    def _sides(self) -> "tuple[_Side, ...]":
        return _named_sides(self)

    @cached_property
    def _sight(self) -> Any:
        """Where a tape can run: inside the walls, with a hair's breadth for rounding."""
        room = shapely.Polygon(self.walls).buffer(1.0, join_style="mitre")
        shapely.prepare(room)
        return room


@dataclass(frozen=True, eq=False)
class Raster:
    """
    Square cells that the floor covers wholly or in part, row by row.

    Attributes
    ----------
    x_mm, y_mm : (n,) array
        Centroid of each cell's covered part.
    share : (n,) array
        Covered part of the cell, in (0, 1].
    step_mm : float
        Side of a cell.
    """

    x_mm: Floats
    y_mm: Floats
    share: Floats
    step_mm: float

    @property
    def area_mm2(self) -> Floats:
        """Covered area of each cell, (n,); they add up to the floor's."""
        return self.share * self.step_mm**2


def room(width_mm: float, length_mm: float) -> Outline:
    """Rectangle with its corner at (0, 0) and its first length along x."""
    for name, side in (("first", width_mm), ("second", length_mm)):
        if not (math.isfinite(side) and side > 0):
            raise BadInput(f"the {name} length of the room must be more than 0.")
    return from_rings([(0, 0), (width_mm, 0), (width_mm, length_mm), (0, length_mm)])


def from_rings(
    walls: Iterable[Sequence[float]],
    openings: Iterable[Iterable[Sequence[float]]] = (),
    doors: Iterable[Door | Sequence[float]] = (),
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

    Raises
    ------
    BadInput
        Naming what is wrong: the walls cross themselves, opening 2 lies outside, ...
    """
    ring = _ring(walls, "the walls", "wall corner")
    holes = tuple(
        _ring(hole, f"opening {n}", f"opening {n}, corner") for n, hole in enumerate(openings, 1)
    )
    _check_openings(shapely.Polygon(ring), holes)
    placed = tuple(door if isinstance(door, Door) else Door(*map(float, door)) for door in doors)
    for n, door in enumerate(placed, 1):
        _check_door(ring, door, n)
    return Outline(ring, holes, placed)


def with_opening(
    outline: Outline, x_mm: float, y_mm: float, width_mm: float, height_mm: float
) -> Outline:
    """Outline with one more rectangular opening: its lowest x and y, its size along each."""
    n = len(outline.openings) + 1
    if not (width_mm > 0 and height_mm > 0):
        raise BadInput(f"width and height of opening {n} must be more than 0.")
    right, top = x_mm + width_mm, y_mm + height_mm
    box = ((x_mm, y_mm), (right, y_mm), (right, top), (x_mm, top))
    return from_rings(outline.walls, (*outline.openings, box), outline.doors)


def with_door(outline: Outline, x_mm: float, y_mm: float, width_mm: float) -> Outline:
    """
    Outline with one more door.

    Parameters
    ----------
    outline : Outline
        The room.
    x_mm, y_mm : float
        End of the doorway nearer the start of its wall; it runs from there the way the wall
        runs or, where it only fits so, the other way.
    width_mm : float
        Clear width.

    Raises
    ------
    BadInput
        Where no wall is within 25 mm, the door fits on none that is, or another door is there.
    """
    n = len(outline.doors) + 1
    if not (math.isfinite(x_mm) and math.isfinite(y_mm)):
        raise BadInput(f"door {n}: its place is not a number.")
    if not (math.isfinite(width_mm) and width_mm > 0):
        raise BadInput(f"door {n}: its width must be more than 0.")
    at = (x_mm, y_mm)
    ranked = sorted(
        (_distance(at, a, b), k, a, b) for k, (a, b) in enumerate(_segments(outline.walls), 1)
    )
    nearest, wall, *_ = ranked[0]
    if nearest > ON_WALL_MM:
        raise BadInput(
            f"door {n} at {_at(at)} is not on a wall: the nearest, wall {wall}, is "
            f"{_told(nearest)} away. Give the end of the doorway nearer the start of its wall."
        )
    # at a corner two walls are equally near; the one that the door fits on forwards is meant
    here = [r for r in ranked if r[0] <= nearest + 1.0]
    near = [r for r in ranked if nearest + 1.0 < r[0] <= ON_WALL_MM]
    for tier in (here, near):
        for way in (1.0, -1.0):
            for _, _, a, b in tier:
                if door := _fitted(at, a, b, way * width_mm):
                    _refuse_overlap(n, door, outline.doors)
                    return from_rings(outline.walls, outline.openings, (*outline.doors, door))
    _, wall, a, b = here[0]
    start = min(max(_along(at, a, b), 0.0), math.dist(a, b))
    raise BadInput(
        f"door {n}, {_told(width_mm)} wide, does not fit on wall {wall}: from {_at(at)} that wall "
        f"runs {_told(math.dist(a, b) - start)} one way and {_told(start)} the other."
    )


def _refuse_overlap(n: int, door: Door, others: tuple[Door, ...]) -> None:
    """Refuse a doorway that shares its opening with another."""
    opening = shapely.buffer(_opening(door), 1.0, cap_style="flat")
    for k, other in enumerate(others, 1):
        shared_mm = shapely.length(shapely.intersection(opening, _opening(other)))
        if shared_mm > 1.0:
            raise BadInput(
                f"door {n} at {_at((door.x_mm, door.y_mm))} overlaps door {k} by "
                f"{_told(shared_mm)}. Give each door once, and its own width."
            )


def _opening(door: Door) -> shapely.LineString:
    return shapely.LineString([(door.x_mm, door.y_mm), (door.end_x_mm, door.end_y_mm)])


def from_walls(text: str) -> tuple[Outline, float]:
    """
    Outline from a walk along the walls: `12ft right 5ft left 3ft ...`.

    The walk starts at (0, 0) along x and turns by 90° unless the turn says `right 45deg`; a turn
    after the last wall is allowed. What it misses its start by is spread over the corners in
    proportion to the length walked (Bowditch's compass rule of surveying).

    Returns
    -------
    outline : Outline
    closing_mm : float
        How far the walk ended from its start, for the caller to show.

    Raises
    ------
    BadInput
        Where a length or turn can't be read, or the walk misses by over 2 % of its length.
    """
    pieces = re.split(
        r"\b(left|right)\b(?:\s*([0-9]*\.?[0-9]+)\s*(?:degrees|degree|deg|°))?", text, flags=re.I
    )
    lengths = [piece.strip(" \t\r\n,;") for piece in pieces[0::3]]
    turns = list(zip(pieces[1::3], pieces[2::3], strict=True))
    if turns and not lengths[-1]:
        lengths.pop()
    if len(lengths) < 3:
        raise BadInput(
            "the walk has fewer than three walls; write each length with a turn after it: "
            "12ft right 10ft right 12ft right 10ft."
        )
    heading, walked = 0.0, 0.0
    ends: list[tuple[float, float, float]] = []  # x, y, walked so far
    x = y = 0.0
    for n, length in enumerate(lengths):
        if n:
            heading += _turn(*turns[n - 1], n)
        try:
            step = parse_length(length, what=f"wall {n + 1} of the walk", above=0.0)
        except BadInput as error:
            raise BadInput(f"{error} Between walls, turns are written left or right.") from None
        cos, sin = _direction(heading)
        x, y, walked = x + step * cos, y + step * sin, walked + step
        ends.append((x, y, walked))
    closing = math.hypot(x, y)
    if closing > MOST_CLOSING * walked:
        metric = all(length.lower().rstrip(" .").endswith("m") for length in lengths)
        raise BadInput(_missed(x, y, closing, walked, "mm" if metric else "in"))
    corners = [(0.0, 0.0)] + [(px - x * w / walked, py - y * w / walked) for px, py, w in ends[:-1]]
    return from_rings(corners), closing


def from_file(path: str | os.PathLike[str], unit: str) -> Outline:
    """
    Outline from a file.

    Parameters
    ----------
    path : path
        WKT `POLYGON ((...), (...))`, its holes being openings; or CSV with the header
        `ring,x,y`, where ring 0 (or else the first) is the walls, each other one an opening.
    unit : {'mm', 'cm', 'm', 'in', 'ft'}
        Of every coordinate.

    Raises
    ------
    BadInput
        Where the file can't be read, is neither, or holds no sound outline.
    """
    size = parse_length("1", unit=unit)
    name = Path(path).name
    try:
        text = Path(path).read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise BadInput(f"there is no file {path}.") from None
    except UnicodeDecodeError:
        raise BadInput(f"{name} is not a text file (UTF-8); give WKT or CSV.") from None
    except OSError as error:
        raise BadInput(f"{path} cannot be read: {error.strerror}.") from None
    if re.match(r"\s*(?:SRID=\d+;)?\s*[A-Za-z]+\s*(?:ZM?|M)?\s*(?:\(|EMPTY)", text):
        return _from_wkt(re.sub(r"^\s*SRID=\d+;", "", text), size, name)
    return _from_csv(text, unit, name)


def contains(outline: Outline, x_mm: npt.ArrayLike, y_mm: npt.ArrayLike) -> npt.NDArray[np.bool_]:
    """Whether each point is on the floor, its border included; same shape as x and y."""
    x, y = np.broadcast_arrays(np.asarray(x_mm, dtype=float), np.asarray(y_mm, dtype=float))
    shapely.prepare(outline.polygon)
    inside = np.array(shapely.intersects_xy(outline.polygon, x, y), dtype=bool)
    unsure = ~inside & np.isfinite(x) & np.isfinite(y)
    if unsure.any():  # a point on a slanted wall is a rounding error off it
        rim = shapely.boundary(outline.polygon)
        inside[unsure] = shapely.dwithin(rim, shapely.points(x[unsure], y[unsure]), _SAME_MM)
    return inside


def raster(outline: Outline, step_mm: float) -> Raster:
    """
    Cells of a square grid over the floor, those at the border counted by their covered part.

    Parameters
    ----------
    outline : Outline
        The room.
    step_mm : float
        Side of a cell; the grid starts at the lowest x and y of the walls.

    Returns
    -------
    Raster
        Its areas add up to the floor's, openings left out.
    """
    floor = outline.polygon
    left, low, right, high = shapely.bounds(floor)
    if not (math.isfinite(step_mm) and step_mm > 0):
        raise BadInput("the step of a raster must be more than 0.")
    if (right - left) / step_mm * ((high - low) / step_mm) > _MOST_CELLS:
        raise BadInput(f"a raster of {step_mm:g} mm is too fine for this room; take a larger step.")
    columns = max(1, math.ceil((right - left) / step_mm - 1e-9))
    rows = max(1, math.ceil((high - low) / step_mm - 1e-9))
    x0 = left + step_mm * np.tile(np.arange(columns, dtype=float), rows)
    y0 = low + step_mm * np.repeat(np.arange(rows, dtype=float), columns)
    cells = shapely.box(x0, y0, x0 + step_mm, y0 + step_mm)
    shapely.prepare(floor)
    whole = shapely.covers(floor, cells)
    border = np.flatnonzero(~whole & shapely.intersects(floor, cells))
    parts = shapely.intersection(cells[border], floor)
    share = whole.astype(float)
    share[border] = np.minimum(shapely.area(parts) / step_mm**2, 1.0)
    x, y = x0 + step_mm / 2, y0 + step_mm / 2
    middle = shapely.centroid(parts)
    # the centroid of a sliver may round to just outside its cell
    x[border] = np.clip(shapely.get_x(middle), x0[border], x0[border] + step_mm)
    y[border] = np.clip(shapely.get_y(middle), y0[border], y0[border] + step_mm)
    kept = share > 1e-9
    return Raster(x[kept], y[kept], share[kept], float(step_mm))


def raster_of(outline: Outline, max_cells: int) -> Raster:
    """Raster about as fine as `max_cells` cells allow, never more."""
    if max_cells < 1:
        raise BadInput("a raster needs at least one cell.")
    left, low, right, high = shapely.bounds(outline.polygon)
    area, rim = outline.polygon.area, outline.polygon.length
    # cells = area / step² + about half a cell more for each step along the rim
    step = (rim / 2 + math.sqrt(rim**2 / 4 + 4 * max_cells * area)) / (2 * max_cells)
    while True:
        made = raster(outline, min(step, max(right - left, high - low)))
        if made.share.size <= max_cells:
            return made
        step *= max(1.01, math.sqrt(made.share.size / max_cells))


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
        for side, (a, b) in zip(outline._sides, _segments(outline.walls), strict=True)
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


def where(outline: Outline, x_mm: float, y_mm: float, units: str = "in") -> str:
    """Tell where a place is: `6 ft from the door wall, 4 ft from the left wall`.

    A place beyond the walls (a benchmark in the hall, or walls that were mended) is told by its
    coordinates.
    """
    if math.isfinite(x_mm + y_mm) and not is_within(outline, x_mm, y_mm):
        return f"outside the walls, x {format_place(x_mm, units)}, y {format_place(y_mm, units)}"
    return ", ".join(
        f"{format_place(distance, units)} from {_the(name)}"
        for name, distance in wall_offsets(outline, x_mm, y_mm)
    )


def is_within(outline: Outline, x_mm: float, y_mm: float) -> bool:
    """Say whether a place lies within the walls or on them, be it in an opening."""
    at = (float(x_mm), float(y_mm))
    if not all(map(math.isfinite, at)):
        return False
    return bool(shapely.distance(outline._sight, shapely.Point(at)) <= ON_WALL_MM)


class _Side(NamedTuple):
    """A wall ready for measuring from: its name, start, unit vector and length."""

    name: str
    rank: int
    start: Point
    along: Point
    length_mm: float


class _Offer(NamedTuple):
    """What one side offers a place: the square distance, and how good it is to measure."""

    name: str
    distance_mm: float
    tier: int  # 0 a wall in sight, 1 the same under a vague name, 2 a wall carried on
    reach_mm: float
    side: _Side


def _two_offers(
    outline: Outline, x_mm: float, y_mm: float
) -> "tuple[Point, tuple[_Offer, _Offer]]":
    """The two sides that a place is measured from, and the place itself."""
    at = (float(x_mm), float(y_mm))
    spot = shapely.Point(at)
    if not is_within(outline, *at):
        raise BadInput(f"the place {_at(at)} lies outside the walls.")
    if not shapely.covers(outline._sight, spot):  # in a doorway, say: told as if on its wall
        rim = shapely.shortest_line(shapely.Polygon(outline.walls), spot)
        at = (float(rim.coords[0][0]), float(rim.coords[0][1]))
    offers = sorted((_offer(side, at, outline._sight) for side in outline._sides), key=_usefulness)
    first = offers[0]

    def sine(other: _Offer) -> float:
        return abs(_cross(first.side.along, other.side.along))

    clear = [offer for offer in offers if sine(offer) >= _CLEAR_SINE]
    told_apart = [offer for offer in clear if offer.side.name != first.side.name]
    second = (told_apart or clear or [max(offers, key=sine)])[0]
    one, other = sorted((first, second), key=lambda offer: offer.side.rank)
    return at, (one, other)


def _offer(side: _Side, at: Point, sight: Any) -> _Offer:
    away = (at[0] - side.start[0], at[1] - side.start[1])
    t = away[0] * side.along[0] + away[1] * side.along[1]
    square = abs(_cross(side.along, away))
    held = min(max(t, 0.0), side.length_mm)
    foot = (side.start[0] + held * side.along[0], side.start[1] + held * side.along[1])
    reach = math.dist(at, foot)
    in_sight = reach < _SAME_MM or bool(shapely.covers(sight, shapely.LineString([at, foot])))
    if abs(t - held) <= _SAME_MM and in_sight:
        return _Offer(side.name, square, 1 if side.name == "near wall" else 0, reach, side)
    return _Offer(f"line of {_the(side.name)}", square, 2, reach, side)


def _usefulness(offer: _Offer) -> tuple[int, float, int]:
    return offer.tier, offer.reach_mm, offer.side.rank


def _the(name: str) -> str:
    """Name as it stands in a sentence: `wall 1`, but `the left wall`."""
    return name if name.startswith("wall ") else f"the {name}"


def _named_sides(outline: Outline) -> tuple[_Side, ...]:
    """
    Walls with the names an installer uses, seen from the first door looking in.

    A wall that faces as the door wall does but stands back from it is the 'near wall'; it is
    used only where nothing else serves, as it would be taken for the door wall.
    """
    walls = list(_segments(outline.walls))
    units = [_unit(a, b) for a, b in walls]
    turn = 1.0 if shapely.is_ccw(shapely.LinearRing(outline.walls)) else -1.0
    out = [(turn * u[1], -turn * u[0]) for u in units]
    names = [(f"wall {n}", n) for n in range(1, len(walls) + 1)]
    if outline.doors:
        home = _wall_of(outline.walls, outline.doors[0])
        look = (-out[home][0], -out[home][1])
        for k, (a, _) in enumerate(walls):
            ahead = out[k][0] * look[0] + out[k][1] * look[1]
            left = _cross(look, out[k])
            if abs(ahead) < abs(left) - 1e-9:
                names[k] = ("left wall", 2) if left > 0 else ("right wall", 3)
            elif ahead > 0:
                names[k] = ("far wall", 1)
            else:
                start = walls[home][0]
                back = abs(_cross(units[home], (a[0] - start[0], a[1] - start[1])))
                in_line = back <= ON_WALL_MM and abs(left) < math.sin(math.radians(5))
                names[k] = ("door wall", 0) if k == home or in_line else ("near wall", 1)
    return tuple(
        _Side(*name, a, unit, math.dist(a, b))
        for name, unit, (a, b) in zip(names, units, walls, strict=True)
    )


def _ring(points: Iterable[Sequence[float]], name: str, corner: str) -> Ring:
    """Corners as floats without repeats, refused where they make no sound ring."""
    corners: list[Point] = []
    for n, point in enumerate(points, 1):
        try:
            x, y = (float(value) for value in point)
        except (TypeError, ValueError):
            raise BadInput(f"{corner} {n} is not a pair of numbers.") from None
        if not (math.isfinite(x) and math.isfinite(y)):
            raise BadInput(f"{corner} {n} is not a finite number.")
        if max(abs(x), abs(y)) > _FARTHEST_MM:
            raise BadInput(f"{corner} {n} is over 10 km from (0, 0); is the unit right?")
        if not corners or math.dist(corners[-1], (x, y)) > _SAME_MM:
            corners.append((x, y))
    if len(corners) > 1 and math.dist(corners[0], corners[-1]) <= _SAME_MM:
        corners.pop()
    verb = ("have", "enclose", "cross", "themselves")
    if name != "the walls":
        verb = ("has", "encloses", "crosses", "itself")
    if len(corners) < 3:
        raise BadInput(f"{name} {verb[0]} fewer than three different corners.")
    if shapely.MultiPoint(corners).convex_hull.area < 1.0:
        raise BadInput(f"{name} {verb[1]} no area: all corners are on one line.")
    reason = str(shapely.is_valid_reason(shapely.Polygon(corners)))
    if reason != "Valid Geometry":
        found = re.search(r"\[(\S+) (\S+)", reason)
        place = f" near {_at((float(found[1]), float(found[2].rstrip(']'))))}" if found else ""
        raise BadInput(
            f"{name} {verb[2]} {verb[3]}{place}; give the corners in order along the rim."
        )
    return tuple(corners)


def _check_openings(walls: Any, openings: Sequence[Ring]) -> None:
    floor = walls
    earlier: list[Any] = []
    for n, ring in enumerate(openings, 1):
        opening = shapely.Polygon(ring)
        inside = opening.intersection(walls).area / opening.area
        if inside <= 0.5:
            mostly = "mostly " if inside > 1e-6 else ""
            raise BadInput(f"opening {n} lies {mostly}outside the walls; check its place and size.")
        for m, other in enumerate(earlier, 1):
            slack = min(_CRUMB_MM2, 0.01 * min(opening.area, other.area))
            if opening.intersection(other).area > slack:
                raise BadInput(f"openings {m} and {n} overlap; give them as one, or mend one.")
        earlier.append(opening)
        pieces = [piece for piece in _pieces(floor.difference(opening)) if piece.area > _CRUMB_MM2]
        if not pieces:
            raise BadInput(f"opening {n} leaves no floor; check its size.")
        if len(pieces) > 1:
            raise BadInput(
                f"opening {n} cuts the room in two; level each part as a room of its own."
            )
        floor = pieces[0]


def _check_door(walls: Ring, door: Door, n: int) -> None:
    ends = ((door.x_mm, door.y_mm), (door.end_x_mm, door.end_y_mm))
    if not all(math.isfinite(value) for end in ends for value in end):
        raise BadInput(f"door {n}: its place is not a number.")
    if door.width_mm <= _SAME_MM:
        raise BadInput(f"door {n}: its width must be more than 0.")
    a, b = list(_segments(walls))[_wall_of(walls, door)]
    off = max(_distance(end, a, b) for end in ends)
    if off > ON_WALL_MM:
        raise BadInput(
            f"door {n}, from {_at(ends[0])} to {_at(ends[1])}, does not lie on one wall: "
            f"it is {_told(off)} off the nearest. Give the door again to suit the walls."
        )


def _wall_of(walls: Ring, door: Door) -> int:
    """Index of the wall that a door fits best."""
    ends = ((door.x_mm, door.y_mm), (door.end_x_mm, door.end_y_mm))
    off = [max(_distance(end, a, b) for end in ends) for a, b in _segments(walls)]
    return off.index(min(off))


def _fitted(at: Point, a: Point, b: Point, width_mm: float) -> Door | None:
    """Door from the point of wall a-b nearest `at`, backwards where the width is negative."""
    length, unit = math.dist(a, b), _unit(a, b)
    start = min(max(_along(at, a, b), 0.0), length)
    end = start + width_mm
    if not -1.0 <= end <= length + 1.0:
        return None
    end = min(max(end, 0.0), length)
    return Door(
        a[0] + start * unit[0], a[1] + start * unit[1], a[0] + end * unit[0], a[1] + end * unit[1]
    )


def _turn(word: str, angle: str | None, n: int) -> float:
    degrees = 90.0 if angle is None else float(angle)
    if not 0 < degrees < 180:
        raise BadInput(f"the turn after wall {n} must be between 0 and 180 degrees.")
    return degrees if word.lower() == "left" else -degrees


def _direction(heading_deg: float) -> Point:
    """Cosine and sine, exact for square rooms."""
    quarter, rest = divmod(heading_deg % 360, 90)
    if rest == 0:
        return ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))[int(quarter)]
    return math.cos(math.radians(heading_deg)), math.sin(math.radians(heading_deg))


def _missed(x: float, y: float, closing: float, walked: float, units: str) -> str:
    ways = [
        (abs(x), "ahead of" if x > 0 else "behind"),
        (abs(y), "to the left of" if y > 0 else "to the right of"),
    ]
    told = " and ".join(
        f"{format_place(size, units)} {way}" for size, way in ways if size > 0.05 * closing
    )
    return (
        f"the walls miss their start by {format_place(closing, units)}, "
        f"{100 * closing / walked:.1f} % of the walk (at most 2 % is taken as tape error): the "
        f"last wall ends {told} the start, looking along wall 1. Check the walls that run that "
        "way, and the turns."
    )


def _from_wkt(text: str, size: float, name: str) -> Outline:
    try:
        with np.errstate(all="ignore"):  # what is no number is refused below
            shape = shapely.from_wkt(text.strip())
    except shapely.errors.ShapelyError as error:
        reason = str(error).splitlines()[0]
        raise BadInput(
            f"{name} is not sound WKT ({reason}); write POLYGON ((x y, ...)), "
            "each ring ending on its first corner."
        ) from None
    if shape is None or shape.geom_type != "Polygon" or shape.is_empty:
        kind = "nothing" if shape is None or shape.is_empty else f"a {shape.geom_type}"
        raise BadInput(f"{name} holds {kind}; an outline is one POLYGON, its holes the openings.")

    def scaled(ring: Any) -> list[Point]:
        return [(size * x, size * y) for x, y, *_ in ring.coords]

    return from_rings(scaled(shape.exterior), map(scaled, shape.interiors))


def _from_csv(text: str, unit: str, name: str) -> Outline:
    reader = csv.reader(text.splitlines())
    rings: dict[str, list[Point]] = {}
    try:
        header = [cell.strip().lower() for cell in next(reader, [])]
        if not {"ring", "x", "y"} <= set(header):
            raise BadInput(
                f"{name}, line 1: the header must be ring,x,y (or the file a WKT POLYGON)."
            )
        ring, x, y = (header.index(column) for column in ("ring", "x", "y"))
        for row in reader:
            if not any(cell.strip() for cell in row):
                continue
            line = f"{name}, line {reader.line_num}"
            if len(row) != len(header):
                raise BadInput(
                    f"{line}: {counted(len(row), 'cell')} where the header has {len(header)}."
                )
            corner = tuple(
                parse_length(row[column], unit=unit, what=f"{line}: {axis}")
                for axis, column in (("x", x), ("y", y))
            )
            rings.setdefault(row[ring].strip(), []).append((corner[0], corner[1]))
    except csv.Error as error:
        raise BadInput(f"{name}, line {reader.line_num}: {error}.") from None
    if not rings:
        raise BadInput(f"{name} has a header but no corners.")
    walls = rings.pop("0") if "0" in rings else rings.pop(next(iter(rings)))
    return from_rings(walls, rings.values())


def _pieces(shape: Any) -> list[Any]:
    return [part for part in shapely.get_parts(shape) if part.geom_type == "Polygon"]


def _segments(ring: Ring) -> Iterator[tuple[Point, Point]]:
    return zip(ring, ring[1:] + ring[:1], strict=True)


def _unit(a: Point, b: Point) -> Point:
    length = math.dist(a, b)
    return (b[0] - a[0]) / length, (b[1] - a[1]) / length


def _cross(a: Point, b: Point) -> float:
    return a[0] * b[1] - a[1] * b[0]


def _along(at: Point, a: Point, b: Point) -> float:
    """How far along the line a-b the foot of the perpendicular from `at` is."""
    unit = _unit(a, b)
    return (at[0] - a[0]) * unit[0] + (at[1] - a[1]) * unit[1]


def _distance(at: Point, a: Point, b: Point) -> float:
    """Distance of a point from the segment a-b."""
    unit, t = _unit(a, b), min(max(_along(at, a, b), 0.0), math.dist(a, b))
    return math.dist(at, (a[0] + t * unit[0], a[1] + t * unit[1]))


def _at(point: Point) -> str:
    return f"({point[0]:.0f}, {point[1]:.0f}) mm"


def _told(mm: float) -> str:
    """Length in both systems, where the caller's units are not known."""
    return f"{format_length(mm, 'mm', step_mm=1.0)} ({format_place(mm, 'in')})"
