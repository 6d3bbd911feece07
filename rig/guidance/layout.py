"""Where depth markers go: few of them, and no place of the floor farther than a reach from one.

A lattice whose cells fit inside the reach's circle is laid over the outline, what it misses at odd
corners is filled greedily, and markers that are not needed are dropped. Coverage is checked on
exact polygons, not on samples.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from scipy.spatial import cKDTree
from shapely.affinity import rotate
from shapely.geometry import Point, box
from shapely.geometry.base import BaseGeometry
from shapely.ops import nearest_points

from rig.errors import BadInput
from rig.language import say
from rig.room import Outline
from rig.survey.walk import walk_order

CLEAR_MM = 100.0
"""A marker stands no less than a hand from a wall or an opening: its rod and its driver need the
room (common practice, no source)."""
MOST_MARKERS = 2000

_ARCS = 64  # straight pieces to a quarter of the reach's circle: inscribed, 0.008 % inside it
_PLACES_PER_REACH = 6  # how finely the greedy fill looks for a place
_TRIES = 3  # how many shapes of lattice are tried in each direction,
_FEW = 200  # where there are no more markers than this
_EMPTIEST = 20  # a winding corridor fills no less than a twentieth of its lattice

Place = tuple[float, float]


@dataclass(frozen=True, slots=True)
class MarkerPlace:
    """A depth marker's label and its place on the plan."""

    label: str
    x_mm: float
    y_mm: float


def lay_out_markers(outline: Outline, reach_mm: float) -> list[MarkerPlace]:
    """Lay out depth markers so that no place of the outline is farther than a reach from one.

    Parameters
    ----------
    outline : Outline
        Walls and openings.
    reach_mm : float
        The farthest, in a straight line, that any place may be from a marker: half of what the
        installer bridges by eye or with a straightedge.

    Returns
    -------
    list of MarkerPlace
        M1, M2, ... in an order that makes a short walk and ends at the door.

    Raises
    ------
    BadInput
        When the reach is not a positive length or asks for more than 2 000 markers.
    """
    if not math.isfinite(reach_mm) or reach_mm <= 0:
        raise BadInput(
            say(
                "The reach of a marker must be more than nothing: give the farthest that any "
                "place may be from a marker, as in 4ft."
            )
        )
    floor = outline.polygon
    _refuse_too_many(floor.area / (math.pi * reach_mm**2))
    allowed = _clear_of_walls(floor)
    shapely.prepare(allowed)
    best: list[Place] | None = None
    for lattice in _lattices(floor, allowed, reach_mm):
        places = _drop_needless(floor, _fill(floor, allowed, lattice, reach_mm), reach_mm)
        if best is None or len(places) < len(best):
            best = places
    assert best is not None
    order = walk_order(best, outline)
    return [MarkerPlace(f"M{n}", *best[i]) for n, i in enumerate(order, start=1)]


def out_of_reach(
    outline: Outline, layout: Sequence[MarkerPlace], reach_mm: float
) -> tuple[float, float, float] | None:
    """Return the place that is farthest from any marker, where that is farther than a reach.

    Returns
    -------
    x_mm, y_mm, away_mm : float
        Or None where every place of the floor is in reach.
    """
    places = [(one.x_mm, one.y_mm) for one in layout]
    missed = _missed(outline.polygon, places, reach_mm)
    if not missed:
        return None
    corners = np.vstack([shapely.get_coordinates(piece) for piece in missed])
    away, _ = cKDTree(places).query(corners)
    n = int(np.argmax(away))
    return float(corners[n, 0]), float(corners[n, 1]), float(away[n])


def clear_mm(outline: Outline, place: MarkerPlace) -> float:
    """Return how far a marker stands from the nearest wall or opening."""
    at = Point(place.x_mm, place.y_mm)
    return float(outline.polygon.boundary.distance(at))


def _refuse_too_many(count: float) -> None:
    if count > MOST_MARKERS:
        raise BadInput(
            say(
                "Such a reach asks for more than {most_markers} markers on this floor: nobody "
                "sets so many; give a longer reach.",
                most_markers=MOST_MARKERS,
            )
        )


def _clear_of_walls(floor: BaseGeometry) -> BaseGeometry:
    """Return the floor less a strip along its edges, as wide as it can be up to `CLEAR_MM`."""
    clear = CLEAR_MM
    while clear > 1.0:
        inner = floor.buffer(-clear)
        if not inner.is_empty:
            return inner
        clear /= 2
    return floor


def _lattices(floor: BaseGeometry, allowed: BaseGeometry, reach_mm: float) -> Iterator[list[Place]]:
    """Yield lattices of few places along the axes and along the floor's own slant."""
    for slant_deg in _slants(floor):
        turned = rotate(floor, -slant_deg, origin=(0, 0))
        x0, y0, x1, y1 = turned.bounds
        for nx, ny in _shapes(x1 - x0, y1 - y0, reach_mm):
            dx, dy = (x1 - x0) / nx, (y1 - y0) / ny
            places: list[Place] = []
            shapely.prepare(turned)
            for j in range(ny):
                for i in range(nx):
                    cell = box(x0 + i * dx, y0 + j * dy, x0 + (i + 1) * dx, y0 + (j + 1) * dy)
                    if not turned.intersects(cell):
                        continue
                    middle = rotate(cell.centroid, slant_deg, origin=(0, 0))
                    if not allowed.covers(middle):
                        part = rotate(cell, slant_deg, origin=(0, 0)).intersection(allowed)
                        if part.is_empty:
                            continue  # left to the fill
                        middle = nearest_points(part, middle)[0]
                    places.append((middle.x, middle.y))
            _refuse_too_many(len(places))
            yield places


def _slants(floor: BaseGeometry) -> list[float]:
    corners = np.asarray(shapely.oriented_envelope(floor).exterior.coords)
    along = corners[1] - corners[0]
    slant = math.degrees(math.atan2(along[1], along[0])) % 90.0
    return [0.0] if min(slant, 90.0 - slant) < 0.5 else [0.0, slant]


def _shapes(width_mm: float, length_mm: float, reach_mm: float) -> list[tuple[int, int]]:
    """Return the numbers of columns and rows whose cells a circle of the reach covers, few first.

    The last float's worth is given away, so that a cell's corner is never just out of reach.
    """
    across = 2.0 * reach_mm * (1.0 - 1e-9)
    shapes = []
    for nx in range(math.floor(width_mm / across) + 1, math.ceil(4.0 * width_mm / across) + 2):
        other = across**2 - (width_mm / nx) ** 2
        if other > 0:
            shapes.append((nx, max(1, math.ceil(length_mm / math.sqrt(other)))))
    shapes.sort(key=lambda s: (s[0] * s[1], abs(width_mm / s[0] - length_mm / s[1])))
    fewest = shapes[0][0] * shapes[0][1]
    _refuse_too_many(fewest / _EMPTIEST)
    return shapes[:_TRIES] if fewest <= _FEW else shapes[:1]


def _disc(place: Place, reach_mm: float) -> BaseGeometry:
    return Point(place).buffer(reach_mm, quad_segs=_ARCS)


def _missed(area: BaseGeometry, places: Sequence[Place], reach_mm: float) -> list[Any]:
    """Return the pieces of `area` that no place reaches.

    The circles are inscribed polygons, so slivers inside the true circle are left over; distance
    is convex, so a piece is in reach of a place as soon as all its corners are.
    """
    discs = shapely.union_all([_disc(place, reach_mm) for place in places])
    missed = []
    centres = np.asarray(places, dtype=float).reshape(-1, 2)
    for piece in shapely.get_parts(area.difference(discs)):
        if piece.is_empty or piece.geom_type != "Polygon":
            continue  # the rest has no area
        corners = shapely.get_coordinates(piece)
        far = np.hypot(
            corners[:, None, 0] - centres[None, :, 0], corners[:, None, 1] - centres[None, :, 1]
        ).max(axis=0)
        if not far.size or far.min() > reach_mm * (1.0 + 1e-9):
            missed.append(piece)
    return missed


def _fill(
    floor: BaseGeometry, allowed: BaseGeometry, lattice: Sequence[Place], reach_mm: float
) -> list[Place]:
    """Add places, each where it reaches most of what is still missed, until nothing is."""
    places = list(lattice)
    missed = _missed(floor, places, reach_mm)
    while missed:
        _refuse_too_many(len(places) + 1)
        places.append(_best_place(missed, floor, allowed, reach_mm))
        missed = [
            part
            for piece in missed
            for part in _missed(piece, _near(places, piece, reach_mm), reach_mm)
        ]
    return places


def _best_place(
    missed: Sequence[BaseGeometry], floor: BaseGeometry, allowed: BaseGeometry, reach_mm: float
) -> Place:
    """Return the place from which most of what is missed is in good reach."""
    all_missed = shapely.union_all(missed)
    wanted = _sprinkle(all_missed, reach_mm / _PLACES_PER_REACH)
    near = box(*all_missed.bounds).buffer(reach_mm)
    candidates = _sprinkle(allowed.intersection(near), reach_mm / _PLACES_PER_REACH)
    if len(candidates):
        # A little less than the reach, so that each place added wins some area.
        tree = cKDTree(wanted)
        reached = tree.query_ball_point(candidates, 0.99 * reach_mm, return_length=True)
        if reached.max() > 0:
            # Among equals the one in the middle of what is missed leaves most slack.
            middle = np.asarray(all_missed.centroid.coords[0])
            off = np.hypot(*(candidates - middle).T)
            n = int(np.lexsort((off, -reached))[0])
            return (float(candidates[n, 0]), float(candidates[n, 1]))
    # Too narrow there to stand clear of the walls.
    piece = max(missed, key=shapely.area)
    middle = piece.centroid
    if not floor.contains(middle) or middle.distance(piece) > reach_mm / 2.0:
        middle = piece.representative_point()
    return (middle.x, middle.y)


def _sprinkle(area: BaseGeometry, step_mm: float) -> Any:
    """Return places a step apart in `area`, and its corners: (n, 2) array, possibly empty."""
    if area.is_empty:
        return np.empty((0, 2))
    x0, y0, x1, y1 = area.bounds
    step = max(step_mm, math.sqrt((x1 - x0) * (y1 - y0) / 20_000.0), 1e-6)
    x, y = np.meshgrid(np.arange(x0 + step / 2, x1, step), np.arange(y0 + step / 2, y1, step))
    inside = shapely.contains_xy(area, x, y)
    return np.vstack([np.column_stack([x[inside], y[inside]]), shapely.get_coordinates(area)])


def _drop_needless(floor: BaseGeometry, places: Sequence[Place], reach_mm: float) -> list[Place]:
    """Drop each place whose part of the floor the others reach, those of least own floor first."""
    left = dict(enumerate(places))

    def own(n: int) -> list[Any]:
        piece = floor.intersection(_disc(places[n], reach_mm))
        others = [left[m] for m in left if m != n]
        return _missed(piece, _near(others, piece, reach_mm), reach_mm)

    for n in sorted(left, key=lambda n: sum(piece.area for piece in own(n))):
        if len(left) > 1 and not own(n):
            del left[n]
    return list(left.values())


def _near(places: Sequence[Place], piece: BaseGeometry, reach_mm: float) -> list[Place]:
    x0, y0, x1, y1 = piece.bounds
    return [
        (x, y)
        for x, y in places
        if x0 - reach_mm <= x <= x1 + reach_mm and y0 - reach_mm <= y <= y1 + reach_mm
    ]
