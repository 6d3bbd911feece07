r"""Lays a straightedge everywhere on a floor and tells the largest gap under it.

Under an edge that rests at a and b the gap at c between them is the chord's height at c less the
floor's. The worst over all positions on a line is therefore the worst over all triples
:math:`a < c < b` with :math:`b - a` no longer than the edge, and equals the largest distance
between the floor and the upper hull of any stretch as long as the edge.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from rig.flatness.field import Field, Floats, Ints, Lines, bearings, lines_at, longest_line
from rig.flatness.rule import Edge
from rig.room import Outline

# Heights that are worked off at once: about what a processor keeps near.
_BATCH = 100_000
# On long profiles bounds come first, from every so manieth reading.
_COARSE_STEPS = 15


@dataclass(frozen=True)
class Placement:
    """A straightedge at its worst: the gap at (x, y), the supports, and the limit that goes with.

    `bearing_deg` is counted from the x axis towards y, in [0, 180).
    """

    gap_mm: float
    limit_mm: float
    x_mm: float
    y_mm: float
    bearing_deg: float
    support_x_mm: tuple[float, float]
    support_y_mm: tuple[float, float]

    @property
    def share(self) -> float:
        """Gap over limit: above 1 is out."""
        return self.gap_mm / self.limit_mm

    @property
    def span_mm(self) -> float:
        """How far the supports are apart."""
        return math.hypot(
            self.support_x_mm[1] - self.support_x_mm[0], self.support_y_mm[1] - self.support_y_mm[0]
        )


@dataclass(frozen=True)
class Laid:
    """A straightedge ready to be laid: its steps between readings, and what it could not be.

    `steps` is how many steps of `step_mm` the supports may be apart.
    """

    edge: Edge
    length_mm: float
    step_mm: float
    steps: int
    least_mm: float

    @property
    def cut(self) -> bool:
        """Whether the room was too small for it."""
        return self.length_mm < self.edge.length_mm * (1 - 1e-9)


def lay(edge: Edge, longest_mm: float, step_mm: float, least_steps: int = 6) -> Laid:
    """Fit an edge to a room whose longest straight line is given.

    An edge that fits nowhere is cut on each line to what fits there, wall to wall.
    """
    length = min(edge.length_mm, longest_mm)
    steps = max(least_steps, math.ceil(length / step_mm - 1e-9))
    cut = length < edge.length_mm * (1 - 1e-9)
    least = 0.0 if cut or not edge.whole else length
    return Laid(edge, length, length / steps, steps, least)


def gaps(z_mm: Floats, steps: int) -> Floats:
    r"""Largest gap under edges that rest on each reading and on a later one, shape of `z_mm`.

    Parameters
    ----------
    z_mm : array, shape (n, ...)
        Profiles along the first axis, equally spaced.
    steps : int
        The most steps between supports.

    Notes
    -----
    From the left support a, with slopes :math:`\sigma_b` to the readings after it, the best
    edge over c is the steepest to a b beyond c, and leaves
    :math:`(c - a)(\max_{b > c} \sigma_b - \sigma_c)`. Going from far to near finds it in one
    sweep, so a profile of n readings costs n·steps, not n·steps²/2.
    """
    n = len(z_mm)
    best = np.zeros(z_mm.shape)
    steepest = np.full(z_mm.shape, -np.inf)
    gap, rise = np.empty(z_mm.shape), np.empty(z_mm.shape)
    for d in range(min(steps, n - 1), 0, -1):
        m = n - d
        np.subtract(z_mm[d:], z_mm[:m], out=rise[:m])
        np.multiply(steepest[:m], d, out=gap[:m])
        gap[:m] -= rise[:m]
        np.maximum(best[:m], gap[:m], out=best[:m])
        rise[:m] *= 1.0 / d
        np.maximum(steepest[:m], rise[:m], out=steepest[:m])
    return best


def shortest_bad(z_mm: Floats, steps: int, limit_mm: float) -> Ints:
    """Steps from each reading to the nearest b whose edge leaves more than the limit; else huge.

    With it a placement, a stretch of `steps` from w on, is within the limit where no a in it has
    its b in it.
    """
    n = len(z_mm)
    lowest = np.full(z_mm.shape, np.inf)
    found = np.full(z_mm.shape, np.iinfo(np.int64).max // 4, dtype=np.intp)
    for d in range(1, min(steps, n - 1) + 1):
        m = n - d
        slope = (z_mm[d:] - z_mm[:m]) / d
        bad = slope > lowest[:m]
        np.minimum(found[:m], np.where(bad, d, found[:m]), out=found[:m])
        np.minimum(lowest[:m], slope + limit_mm / d, out=lowest[:m])
    return found


def triple(z_mm: Floats, steps: int) -> tuple[float, int, int, int]:
    """Worst gap of one profile, shape (n,), and the readings a, c, b that make it.

    Without any gap the three are the first reading.
    """
    best = gaps(z_mm, steps)
    a = int(np.argmax(best))
    if not best[a] > 0.0:
        return 0.0, 0, 0, 0
    d = np.arange(1, min(steps, len(z_mm) - 1 - a) + 1)
    slopes = (z_mm[a + d] - z_mm[a]) / d
    steepest = np.maximum.accumulate(slopes[::-1])[::-1]
    gap = d[:-1] * (steepest[1:] - slopes[:-1])
    c = int(np.argmax(gap))
    b = c + 1 + int(np.argmax(slopes[c + 1 :]))
    return float(gap[c]), a, a + c + 1, a + b + 1


def worst_placement(
    field: Field,
    outline: Outline,
    edges: Sequence[Edge],
    most_bearings: int = 400,
    longest_mm: float | None = None,
) -> Placement | None:
    """Worst placement of any of a rule's edges on a single surface, by gap over limit.

    None where no edge leaves any gap. Bearings are so close that an edge's end moves one lattice
    step between them, lines one step apart, readings on them one step apart.
    """
    longest = longest_line(outline) if longest_mm is None else longest_mm
    best: Placement | None = None
    for edge in edges:
        laid = lay(edge, longest, field.step_mm)
        floor_mm = best.share * edge.limit_mm if best else 0.0
        found = _search(field, outline, laid, most_bearings, floor_mm)
        if found is not None and (best is None or found.share > best.share):
            best = found
    return best


def shares(
    field: Field,
    outline: Outline,
    edges: Sequence[Edge],
    most_bearings: int = 48,
    longest_mm: float | None = None,
) -> Floats:
    """Worst gap over limit of each draw of a field, shape (draws,)."""
    longest = longest_line(outline) if longest_mm is None else longest_mm
    worst = np.zeros(field.draws)
    z = field.z_mm if field.z_mm.ndim == 3 else field.z_mm[..., None]
    field = Field(field.x0_mm, field.y0_mm, field.step_mm, z)
    for laid, together in read_together(edges, longest, field.step_mm):
        for lines in all_lines(outline, laid, field.step_mm, most_bearings):
            for part in batches(lines, field.draws):
                z = part.read(field)
                for steps, limit in together:
                    best = gaps(z, steps).max(axis=(0, 1)) / limit
                    np.maximum(worst, best, out=worst)
    return worst


def read_together(
    edges: Sequence[Edge], longest_mm: float, step_mm: float
) -> list[tuple[Laid, list[tuple[int, float]]]]:
    """Edges with the (steps, limit) that are found from one reading of their lines.

    Edges that are only as long as their supports are apart share the lines of the longest.
    """
    if edges[-1].whole or len(edges) == 1:
        laid = [lay(edge, longest_mm, step_mm) for edge in edges]
        return [(one, [(one.steps, one.edge.limit_mm)]) for one in laid]
    last = lay(edges[-1], longest_mm, step_mm)
    limits: dict[int, float] = {}
    for edge in edges:
        steps = min(int(edge.length_mm / last.step_mm + 1e-6), last.steps)
        if steps >= 2:
            limits.setdefault(steps, edge.limit_mm)
    return [(last, list(limits.items()))]


def share_within(
    field: Field,
    outline: Outline,
    edges: Sequence[Edge],
    most_bearings: int = 48,
    longest_mm: float | None = None,
    most_places: int = 3_000_000,
) -> float | None:
    """Share of all placements of a rule's edges that are within its limits, on one surface.

    Lines are thinned evenly where there are more than `most_places` placements. None where no
    edge can be laid.
    """
    longest = longest_line(outline) if longest_mm is None else longest_mm
    laid_edges = [lay(edge, longest, field.step_mm) for edge in edges]
    work = [list(all_lines(outline, laid, field.step_mm, most_bearings)) for laid in laid_edges]
    total = sum(int(lines.count.sum()) for found in work for lines in found)
    every = max(1, math.ceil(total / most_places))
    good = places = 0
    for laid, found in zip(laid_edges, work, strict=True):
        for lines in found:
            rows = np.arange(len(lines.count))[::every]
            for part in batches(lines.part(rows), 1):
                within, all_of_them = _within(part, part.read(field), laid)
                good, places = good + within, places + all_of_them
    return good / places if places else None


def _within(lines: Lines, z: Floats, laid: Laid) -> tuple[int, int]:
    bad = shortest_bad(z, laid.steps, laid.edge.limit_mm)
    n = len(z)
    end = np.arange(n)[:, None] + bad  # where an edge from here first leaves too much
    # A placement from w reaches to w + steps: bad where any a from w on has its b within.
    earliest = np.minimum.accumulate(end[::-1], axis=0)[::-1]
    reach = np.minimum(laid.steps, lines.count - 1)
    start = np.arange(n)[:, None]
    exists = start + reach <= lines.count - 1
    return int(np.sum(exists & (earliest > start + reach))), int(np.sum(exists))


def all_lines(outline: Outline, laid: Laid, apart_mm: float, most_bearings: int) -> Iterator[Lines]:
    """Lines at all bearings along which an edge is laid, bearing by bearing."""
    apart = min(apart_mm, laid.step_mm * 2)
    for bearing in bearings(outline, laid.length_mm, apart_mm, most_bearings):
        lines = lines_at(outline, float(bearing), apart, laid.step_mm, laid.least_mm)
        if len(lines.count):
            yield lines


def batches(lines: Lines, draws: int) -> Iterator[Lines]:
    """Lines in batches of like lengths, so that little is read past their ends."""
    order = np.argsort(-lines.count, kind="stable")
    start = 0
    while start < len(order):
        longest = int(lines.count[order[start]])
        size = max(1, _BATCH // (longest * draws))
        rows = order[start : start + size]
        keep = int(np.sum(lines.count[rows] >= 0.75 * longest))
        yield lines.part(rows[: max(1, keep)])
        start += max(1, keep)


def _search(
    field: Field, outline: Outline, laid: Laid, most_bearings: int, floor_mm: float
) -> Placement | None:
    """Worst placement of one edge that leaves more than `floor_mm`."""
    every = max(1, laid.steps // _COARSE_STEPS)
    best_mm, best = max(floor_mm, 1e-9), None
    waiting: list[tuple[Floats, Lines]] = []  # upper bounds of lines that may yet be the worst
    for lines in all_lines(outline, laid, field.step_mm, most_bearings):
        for part in batches(lines, 1):
            z = part.read(field)
            if every == 1:
                found = gaps(z, laid.steps).max(axis=0)
                row = int(np.argmax(found))
                if found[row] > best_mm:
                    best_mm, best = float(found[row]), (part, row)
                continue
            low, high = _bounds(z, part.count, laid.steps, every)
            row = int(np.argmax(low))
            if low[row] > best_mm:
                best_mm, best = float(low[row]), (part, row)
            rows = np.flatnonzero(high > best_mm)
            if len(rows):
                waiting.append((high[rows], part.part(rows)))
    if waiting:
        best_mm, best = _refine(field, laid, waiting, best_mm, best)
    if best is None:
        return None
    part, row = best
    return place_on_line(field, laid, part, row)


def _bounds(z: Floats, count: Ints, steps: int, every: int) -> tuple[Floats, Floats]:
    """Bounds of each line's worst gap from every so manieth reading, (rows,) each.

    Below: edges that rest on those readings only. Above: between them the floor is the straight
    line, give or take what it really strays from it; the hull of any stretch is no higher than
    that of the readings round it and the most that the floor strays up anywhere under it.
    """
    low = gaps(z[::every], steps // every).max(axis=0)
    blocks = (count - 2 + every) // every  # of each line, the last one filled up level
    most = int(blocks.max(initial=1))
    k = np.arange(most * every + 1)[:, None]
    last = z[count - 1, np.arange(z.shape[1])]
    filled = np.where(k < count, z[np.minimum(k[:, 0], len(z) - 1)], last)
    knots = filled[::every] - 1e4 * np.maximum(np.arange(most + 1)[:, None] - blocks, 0) ** 2
    over = gaps(knots, (steps + 2 * (every - 1)) // every).max(axis=0)
    share = np.arange(every)[None, :, None] / every
    ends = filled[::every]
    strays = filled[:-1].reshape(most, every, -1) - (
        ends[:-1, None] * (1 - share) + ends[1:, None] * share
    )
    high: Floats = over + strays.max(axis=(0, 1)) - strays.min(axis=(0, 1))
    return low, high


def _refine(
    field: Field,
    laid: Laid,
    waiting: list[tuple[Floats, Lines]],
    best_mm: float,
    best: tuple[Lines, int] | None,
) -> tuple[float, tuple[Lines, int] | None]:
    """Work off lines exactly, the most promising first, until no bound beats what was found."""
    while waiting:
        top = max(range(len(waiting)), key=lambda n: float(waiting[n][0].max()))
        high, lines = waiting.pop(top)
        rows = np.flatnonzero(high > best_mm)
        if not len(rows):
            break
        part = lines.part(rows)
        found = gaps(part.read(field), laid.steps).max(axis=0)
        row = int(np.argmax(found))
        if found[row] > best_mm:
            best_mm, best = float(found[row]), (part, row)
    return best_mm, best


def place_on_line(field: Field, laid: Laid, lines: Lines, row: int) -> Placement:
    """Worst placement of an edge on one of several lines."""
    line = lines.part(np.array([row]))
    z = line.read(field)[: int(line.count[0]), 0]
    gap, a, c, b = triple(z, laid.steps)
    x = line.x_mm[0] + np.array([a, c, b]) * laid.step_mm * line.along[0]
    y = line.y_mm[0] + np.array([a, c, b]) * laid.step_mm * line.along[1]
    return Placement(
        gap,
        laid.edge.limit_mm,
        float(x[1]),
        float(y[1]),
        math.degrees(line.bearing_rad) % 180.0,
        (float(x[0]), float(x[2])),
        (float(y[0]), float(y[2])),
    )
