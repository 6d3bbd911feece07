"""Contour lines and the bands between them, of heights on a lattice, cut to the floor."""

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from rig.drawing.vector import Floats
from rig.room import Outline
from rig.units import MM_PER_IN, Units

if TYPE_CHECKING:
    from contourpy import ContourGenerator

MOST_NODES = 6_000
FINEST_MM = 50.0
# Steps between contour lines that people read at a glance.
_STEPS_MM = (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0)
_STEPS_32NDS = (1, 2, 4, 8, 16, 32, 64, 128, 256, 640)
MOST_BANDS = 8


@dataclass(frozen=True, eq=False)
class Lattice:
    """Values on a lattice over a room's bounds: columns' x, rows' y, values (rows, columns)."""

    x_mm: Floats
    y_mm: Floats
    values: Floats


@dataclass(frozen=True, eq=False)
class Contours:
    """Contour lines, each a level with its runs, and bands between neighbouring levels.

    `bands[n]` is a shapely geometry of the places between `edges[n]` and `edges[n + 1]`.
    """

    step: float
    edges: tuple[float, ...]
    lines: tuple[tuple[float, tuple[Floats, ...]], ...]
    bands: tuple[shapely.Geometry, ...]


def lattice_of(
    outline: Outline, value: Callable[[Floats, Floats], Floats], most_nodes: int = MOST_NODES
) -> Lattice:
    """Values of a function of flat x and y, (m,), over a room's bounds."""
    left, low, right, high = shapely.bounds(outline.polygon)
    step = max(FINEST_MM, math.sqrt((right - left) * (high - low) / most_nodes))
    columns = np.linspace(left, right, max(3, math.ceil((right - left) / step) + 1))
    rows = np.linspace(low, high, max(3, math.ceil((high - low) / step) + 1))
    x, y = np.meshgrid(columns, rows)
    values = np.asarray(value(x.ravel(), y.ravel()), dtype=float).reshape(x.shape)
    return Lattice(columns, rows, values)


def step_of(low: float, high: float, units: Units) -> float:
    """Round step with which a range makes no more than some eight bands."""
    steps: Sequence[float] = _STEPS_MM
    if not units.is_metric:
        steps = [n * MM_PER_IN / 32.0 for n in _STEPS_32NDS]
    for step in steps:
        if math.ceil(high / step - 1e-9) - math.floor(low / step + 1e-9) <= MOST_BANDS:
            return step
    return steps[-1] * math.ceil((high - low) / steps[-1] / (MOST_BANDS - 1))


def contours_of(
    outline: Outline,
    lattice: Lattice,
    units: Units,
    span: tuple[float, float] | None = None,
) -> Contours:
    """Contours at round levels of what a lattice holds on the floor, or of a wider `span`.

    Lines are exact on the straight lines between nodes (marching squares).
    """
    from contourpy import FillType, LineType, contour_generator

    low, high = span or values_on(outline, lattice)
    step = step_of(low, high, units)
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    if last == first:
        last += 1
    edges = tuple(step * n for n in range(first, last + 1))
    made = contour_generator(
        lattice.x_mm,
        lattice.y_mm,
        lattice.values,
        line_type=LineType.Separate,
        fill_type=FillType.OuterOffset,
    )
    floor = outline.polygon
    shapely.prepare(floor)
    lines = []
    for level in edges[1:-1]:
        runs: list[Floats] = []
        for found in made.lines(level):
            runs += runs_of(shapely.intersection(shapely.LineString(found), floor))
        lines.append((level, tuple(runs)))
    bands = []
    for n, (below, over) in enumerate(itertools.pairwise(edges)):
        # The outermost bands take what lies beyond, outside the floor, with a hair for rounding.
        below = -math.inf if n == 0 else below
        over = math.inf if n == len(edges) - 2 else over
        bands.append(_filled(made, below, over, floor))
    return Contours(step, edges, tuple(lines), tuple(bands))


def isoline(floor: shapely.Geometry, lattice: Lattice, level: float) -> list[Floats]:
    """Lines of one level inside a shapely polygon."""
    from contourpy import LineType, contour_generator

    made = contour_generator(
        lattice.x_mm, lattice.y_mm, lattice.values, line_type=LineType.Separate
    )
    found = [shapely.LineString(run) for run in made.lines(level)]
    return runs_of(shapely.intersection(shapely.MultiLineString(found), floor))


def between(floor: shapely.Geometry, lattice: Lattice, low: float, high: float) -> shapely.Geometry:
    """Part of a shapely polygon where a lattice's values lie between two levels."""
    from contourpy import FillType, contour_generator

    made = contour_generator(
        lattice.x_mm, lattice.y_mm, lattice.values, fill_type=FillType.OuterOffset
    )
    return _filled(made, low, high, floor)


def _filled(
    made: "ContourGenerator", low: float, high: float, floor: shapely.Geometry
) -> shapely.Geometry:
    pieces = []
    for points, offsets in zip(*made.filled(low, high), strict=True):
        rings = [points[a:b] for a, b in itertools.pairwise(offsets)]
        rings = [ring for ring in rings if len(ring) >= 4]
        if rings:
            pieces.append(shapely.make_valid(shapely.Polygon(rings[0], rings[1:])))
    return shapely.intersection(shapely.union_all(pieces), floor)


def values_on(outline: Outline, lattice: Lattice) -> tuple[float, float]:
    """Least and most that a lattice holds on the floor, its rim included."""
    x, y = np.meshgrid(lattice.x_mm, lattice.y_mm)
    pitch = max(lattice.x_mm[1] - lattice.x_mm[0], lattice.y_mm[1] - lattice.y_mm[0])
    near = outline.polygon.buffer(0.75 * pitch)
    shapely.prepare(near)
    inside = shapely.intersects_xy(near, x, y)
    values = lattice.values[inside]
    return float(values.min()), float(values.max())


def rings_of(area: shapely.Geometry) -> list[list[Floats]]:
    """Rings of each polygon of a shape, the outer one first."""
    return [
        [shapely.get_coordinates(ring) for ring in (part.exterior, *part.interiors)]
        for part in _parts(area, "Polygon")
    ]


def runs_of(lines: shapely.Geometry) -> list[Floats]:
    """Corners of each line of a shape."""
    return [shapely.get_coordinates(part) for part in _parts(lines, "Line")]


def hatching(area: shapely.Geometry, apart: float, bearing_deg: float) -> list[Floats]:
    """Parallel lines over an area, as runs of two places each."""
    if shapely.is_empty(area):
        return []
    left, low, right, high = shapely.bounds(area)
    middle = np.array([(left + right) / 2, (low + high) / 2])
    reach = math.hypot(right - left, high - low) / 2 + apart
    turn = math.radians(bearing_deg)
    along = np.array([math.cos(turn), math.sin(turn)])
    across = np.array([-along[1], along[0]])
    # Offsets count from the origin, so that hatched neighbours join up.
    home = float(middle @ across)
    offsets = np.arange(math.ceil((home - reach) / apart), (home + reach) / apart) * apart
    base = middle @ along
    ends = np.stack(
        [
            offsets[:, None] * across + (base - reach) * along,
            offsets[:, None] * across + (base + reach) * along,
        ],
        axis=1,
    )
    cut = shapely.intersection(shapely.linestrings(ends), area)
    return [run for one in cut for run in runs_of(one)]


def _parts(shape: shapely.Geometry, kind: str) -> list[shapely.Geometry]:
    """Pieces of one kind, out of whatever an intersection gave."""
    found = []
    for part in shapely.get_parts(shape):
        if part.geom_type == "GeometryCollection" or part.geom_type.startswith("Multi"):
            found += _parts(part, kind)
        elif part.geom_type.startswith(kind) and not part.is_empty:
            found.append(part)
    return found
