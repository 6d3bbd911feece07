"""Heights on a lattice over a room, and the straight lines along which they are read.

Lines run from wall to wall of the floor at a bearing, openings left out; heights along them are
bilinear between the lattice's nodes.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from rig.errors import BadInput
from rig.language import numeral, say
from rig.room import Outline

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

MOST_NODES = 400_000
# A line along a wall is read this far inside it, so that it does not fall out by rounding.
_HAIR_MM = 0.01
# Places past a line's end fall away so fast that no straightedge rests on them.
_FALL_MM = 1e4


@dataclass(frozen=True, eq=False)
class Field:
    """Heights on a square lattice; `z_mm` is (rows, columns) or (rows, columns, draws)."""

    x0_mm: float
    y0_mm: float
    step_mm: float
    z_mm: Floats

    @property
    def draws(self) -> int:
        """How many surfaces there are: 1 for a single one."""
        return 1 if self.z_mm.ndim == 2 else int(self.z_mm.shape[2])

    def at(self, x_mm: Floats, y_mm: Floats) -> Floats:
        """Heights at places (any shape, one draw more as last axis), clipped to the lattice."""
        index, weights = self.corners(x_mm, y_mm)
        flat = self.z_mm.reshape(-1, *self.z_mm.shape[2:])
        if flat.ndim == 2:
            weights = weights[..., None]
        result: Floats = flat[index[0]] * weights[0]
        for corner in (1, 2, 3):
            result += flat[index[corner]] * weights[corner]
        return result

    def corners(self, x_mm: Floats, y_mm: Floats) -> tuple[Ints, Floats]:
        """Flat numbers of the four nodes round each place, and their weights, (4, ...) each."""
        rows, columns = self.z_mm.shape[:2]
        u = np.clip((x_mm - self.x0_mm) / self.step_mm, 0.0, columns - 1.0)
        v = np.clip((y_mm - self.y0_mm) / self.step_mm, 0.0, rows - 1.0)
        i = np.minimum(u.astype(np.intp), max(columns - 2, 0))
        j = np.minimum(v.astype(np.intp), max(rows - 2, 0))
        u, v = u - i, v - j
        right = 1 if columns > 1 else 0
        up = columns if rows > 1 else 0
        first = j * columns + i
        index = np.stack([first, first + right, first + up, first + up + right])
        weights = np.stack([(1 - u) * (1 - v), u * (1 - v), (1 - u) * v, u * v])
        return index, weights


def lattice(outline: Outline, step_mm: float) -> tuple[Floats, Floats]:
    """Columns' x and rows' y of a lattice that covers a floor up to its walls."""
    left, low, right, high = shapely.bounds(outline.polygon)
    if not (math.isfinite(step_mm) and step_mm > 0):
        raise BadInput(say("the step of a lattice must be more than 0."))
    columns = math.ceil((right - left) / step_mm - 1e-9) + 1
    rows = math.ceil((high - low) / step_mm - 1e-9) + 1
    if columns * rows > MOST_NODES:
        raise BadInput(
            say(
                "a lattice of {step} mm is too fine for this room; take a wider one.",
                step=numeral(step_mm, "g"),
            )
        )
    return left + step_mm * np.arange(columns), low + step_mm * np.arange(rows)


def step_for(outline: Outline, finest_mm: float, most_nodes: int) -> float:
    """Finest step, no finer than `finest_mm`, that keeps a lattice within `most_nodes`."""
    left, low, right, high = shapely.bounds(outline.polygon)
    wide, long = right - left, high - low
    step = max(finest_mm, math.sqrt(wide * long / most_nodes))
    while (wide / step + 2) * (long / step + 2) > most_nodes:
        step *= 1.02
    return float(step)


def field_of(outline: Outline, step_mm: float, height: Callable[[Floats, Floats], Floats]) -> Field:
    """Field of a function of flat x and y; it may return (m,) or (m, draws)."""
    xs, ys = lattice(outline, step_mm)
    x, y = np.meshgrid(xs, ys)
    z = np.asarray(height(x.ravel(), y.ravel()), dtype=np.float64)
    return Field(float(xs[0]), float(ys[0]), step_mm, z.reshape(*x.shape, *z.shape[1:]))


@dataclass(frozen=True, eq=False)
class Lines:
    """Parallel lines over the floor, each read at `count` places `step_mm` apart.

    `x_mm`, `y_mm` are the first place of each; `along` is the unit vector.
    """

    bearing_rad: float
    along: tuple[float, float]
    step_mm: float
    x_mm: Floats
    y_mm: Floats
    length_mm: Floats
    count: Ints

    def part(self, rows: Ints) -> Lines:
        """Some of the lines."""
        return Lines(
            self.bearing_rad,
            self.along,
            self.step_mm,
            self.x_mm[rows],
            self.y_mm[rows],
            self.length_mm[rows],
            self.count[rows],
        )

    def places(self) -> tuple[Floats, Floats, Ints]:
        """Places (n, rows), held at each line's last one, and how many steps past it (n, rows)."""
        most = int(self.count.max(initial=1))
        k = np.arange(most)[:, None]
        past = np.maximum(k - (self.count - 1), 0)
        t = (k - past) * self.step_mm
        return self.x_mm + t * self.along[0], self.y_mm + t * self.along[1], past

    def read(self, field: Field) -> Floats:
        """Heights, (n, rows) or (n, rows, draws); past its end a line falls away, concave."""
        x, y, past = self.places()
        z = field.at(x, y)
        fall = _FALL_MM * past.astype(np.float64) ** 2
        z -= fall[..., None] if z.ndim == 3 else fall
        return z


def bearings(outline: Outline, length_mm: float, step_mm: float, most: int) -> Floats:
    """Bearings (radians from x, in [0, π)) so close that an edge's end moves about one step.

    Those of the walls are among them, for gaps along and across a room are what is built.
    """
    count = int(np.clip(math.ceil(math.pi * length_mm / (2.0 * step_mm)), 8, most))
    count += count % 2
    found = list(np.arange(count) * math.pi / count)
    for (ax, ay), (bx, by) in _segments(outline):
        wall = math.atan2(by - ay, bx - ax) % math.pi
        if min(abs((wall - b + math.pi / 2) % math.pi - math.pi / 2) for b in found) > 1e-6:
            found.append(wall)
        if len(found) > count + 24:
            break
    return np.sort(np.array(found))


def lines_at(
    outline: Outline, bearing_rad: float, apart_mm: float, step_mm: float, least_mm: float
) -> Lines:
    """Lines over the floor at a bearing.

    Parameters
    ----------
    outline : Outline
    bearing_rad : float
    apart_mm : float
        At most this far from each other; the outermost run along the outermost walls.
    step_mm : float
        Between places on a line.
    least_mm : float
        Shorter pieces are left out.
    """
    cos, sin = _unit(bearing_rad)
    ends = np.array([[*a, *b] for a, b in _segments(outline)])
    start_off, end_off = ends[:, 1] * cos - ends[:, 0] * sin, ends[:, 3] * cos - ends[:, 2] * sin
    start_t, end_t = ends[:, 0] * cos + ends[:, 1] * sin, ends[:, 2] * cos + ends[:, 3] * sin
    low, high = float(start_off.min()) + _HAIR_MM, float(start_off.max()) - _HAIR_MM
    offsets = np.linspace(low, high, max(2, math.ceil((high - low) / apart_mm - 1e-9) + 1))
    o = offsets[:, None]
    crosses = (start_off <= o) != (end_off <= o)
    with np.errstate(divide="ignore", invalid="ignore"):
        t = start_t + (o - start_off) / (end_off - start_off) * (end_t - start_t)
    t = np.sort(np.where(crosses, t, np.inf), axis=1)
    t = t[:, : 2 * (t.shape[1] // 2)]
    first, last = t[:, 0::2], t[:, 1::2]
    row, piece = np.nonzero(np.isfinite(last))
    first, last, offset = first[row, piece], last[row, piece], offsets[row]
    length = last - first
    long = length >= max(least_mm, step_mm) * (1.0 - 1e-4)
    first, length, offset = first[long], length[long], offset[long]
    return Lines(
        bearing_rad,
        (cos, sin),
        step_mm,
        first * cos - offset * sin,
        first * sin + offset * cos,
        length,
        np.floor(length / step_mm + 1e-4).astype(np.intp) + 1,
    )


def longest_line(outline: Outline) -> float:
    """Length of the longest straight line that lies on the floor, near enough for an edge.

    Tried are all lines between corners, and lines at 180 bearings.
    """
    corners = np.array([p for ring in (outline.walls, *outline.openings) for p in ring])
    best = 0.0
    inside = outline.polygon.buffer(_HAIR_MM)
    shapely.prepare(inside)
    if len(corners) <= 200:
        i, j = np.triu_indices(len(corners), 1)
        pairs = shapely.linestrings(np.stack([corners[i], corners[j]], axis=1))
        held = shapely.covers(inside, pairs)
        best = float(np.max(shapely.length(pairs)[held], initial=0.0))
    span = math.sqrt(outline.polygon.area)
    for bearing in np.arange(180) * math.pi / 180:
        found = lines_at(outline, float(bearing), span / 40, span / 40, 0.0)
        best = max(best, float(np.max(found.length_mm, initial=0.0)))
    return best


def _unit(bearing_rad: float) -> tuple[float, float]:
    """Cosine and sine, exact along the axes."""
    cos, sin = math.cos(bearing_rad), math.sin(bearing_rad)
    return (0.0 if abs(cos) < 1e-12 else cos), (0.0 if abs(sin) < 1e-12 else sin)


def _segments(outline: Outline) -> list[tuple[tuple[float, float], tuple[float, float]]]:
    """Sides of the floor as it is, openings that reach past a wall cut off there."""
    floor = outline.polygon
    found = []
    for ring in (floor.exterior, *floor.interiors):
        points = [(float(x), float(y)) for x, y in shapely.get_coordinates(ring)]
        found += list(itertools.pairwise(points))
    return found
