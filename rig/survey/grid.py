"""Lays out the points to shoot: a lattice over the room, bent round its corners and openings.

Every place of the floor ends up within reach of a point: half the diagonal of a cell, and the
diagonal of the strip along the walls.
"""

import itertools
import math
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import Point, box
from shapely.ops import nearest_points

from rig.errors import BadInput
from rig.job.rows import SAME_PLACE_MM
from rig.language import say
from rig.room import Outline, raster
from rig.survey.walk import walk_order
from rig.units import METRIC, Units

MOST_POINTS = 5000
TOO_CLOSE = 0.4
"""Points nearer than this share of the spacing tell nothing that one of them does not."""

PAIR_MM, PAIRED_SHARE = 228.6, 0.1
"""9 in: between the 6 and 12 in that such pairs stand apart (common practice, no source)."""
BEATING, _MOST_MORE = 0.12, 4
"""So near a multiple of a floor's own spacing lines beat with it (common practice, no source)."""

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class GridPoint:
    """A point to shoot; `order` counts from 1 along the walk."""

    label: str
    x_mm: float
    y_mm: float
    order: int


@dataclass(slots=True)
class _Node:
    """A point, its lattice column, its row from 1, and how far it was moved off its node."""

    x_mm: float
    y_mm: float
    column: int
    row: int
    moved_mm: float


def lay_out(
    outline: Outline,
    spacing_mm: float,
    edge_mm: float,
    units: Units = METRIC,
    *,
    pairs: bool = False,
    beats_mm: tuple[float | None, float | None] = (None, None),
) -> list[GridPoint]:
    """Lay out points so that neighbours stand no farther apart than `spacing_mm`.

    Parameters
    ----------
    outline : Outline
        Walls, openings and doors.
    spacing_mm : float
        The most that neighbours of the lattice stand apart.
    edge_mm : float
        How far the outermost points stand from the walls.
    units : Units
        What is refused is told in these.
    pairs : bool
        A tenth of the points have another `PAIR_MM` beside them, which tells how rough the floor
        is over so short a way.
    beats_mm : two floats or None
        How far apart, across x and along y, the floor repeats itself (joists): lines of the lattice
        so far apart would always meet the same part of it, and are laid closer.

    Returns
    -------
    list of GridPoint
        In the order of the walk. Columns of the lattice are lettered along x (A to Z, AA …), rows
        numbered along y; points beside the lattice take the next number of their column.

    Raises
    ------
    BadInput
        When a length is not positive, the edge leaves no room, or the points are too many.
    """
    for name, length in (("spacing", spacing_mm), ("edge", edge_mm)):
        if not (math.isfinite(length) and length > 0):
            raise BadInput(
                say("the {name} must be more than nothing, as in 3ft or 15cm.", name=name)
            )
    floor = outline.polygon
    usable = _usable(floor, edge_mm, units)
    x0, y0, x1, y1 = floor.bounds
    _refuse_too_many(floor.area / spacing_mm**2)
    xs = _lines(x0, x1, spacing_mm, edge_mm, beats_mm=beats_mm[0])
    ys = _lines(y0, y1, spacing_mm, edge_mm, beats_mm=beats_mm[1])
    _refuse_too_many(len(xs) * len(ys) / 100.0)
    nodes = list(_lattice(usable, xs, ys, (x0, y0, x1, y1)))
    if _on_one_line(nodes):
        # Shots along the middle of a narrow room would leave its tilt across unknown.
        xs = _lines(x0, x1, spacing_mm, edge_mm, least=2)
        ys = _lines(y0, y1, spacing_mm, edge_mm, least=2)
        nodes = list(_lattice(usable, xs, ys, (x0, y0, x1, y1)))
    _refuse_too_many(len(nodes))
    places, reach = _places(outline, spacing_mm, edge_mm)
    nodes = _merge(nodes, places, reach, spacing_mm)
    nodes += _fill(outline, nodes, xs, len(ys), places, reach, spacing_mm)
    nodes += _partners(nodes, usable) if pairs else []
    _refuse_too_many(len(nodes))
    order = walk_order([(node.x_mm, node.y_mm) for node in nodes], outline)
    return [
        GridPoint(f"{_letters(nodes[i].column)}{nodes[i].row}", nodes[i].x_mm, nodes[i].y_mm, n)
        for n, i in enumerate(order, start=1)
    ]


def named_apart(
    points: Sequence[GridPoint], shots: Iterable[tuple[str, float, float]]
) -> list[GridPoint]:
    """Rename points so that none has the label of an earlier shot that was taken elsewhere.

    Labels are chalked on the floor, so shots (label, x_mm, y_mm) keep theirs. A point where a shot
    stands takes its label; where others would then share one with a shot, they all go on with the
    first letters that are free. Lines for F-numbers keep their numbers, or all go on with others.
    """
    shots = list(shots)
    taken = [label for label, _, _ in shots]
    at = np.array([(x_mm, y_mm) for _, x_mm, y_mm in shots]).reshape(-1, 2)
    known = set(taken)
    shot_as = [_shot_at(point, taken, at) for point in points]
    if any("-" in point.label for point in points):
        if not _clash([point.label for point in points], shot_as, known):
            return list(points)
        shot_as = [None] * len(points)
    for on in itertools.count():
        named = [
            label or _further(point.label, on) for point, label in zip(points, shot_as, strict=True)
        ]
        if not _clash(named, shot_as, known):
            break
    return [replace(point, label=label) for point, label in zip(points, named, strict=True)]


def _clash(labels: Sequence[str], own: Sequence[str | None], known: set[str]) -> bool:
    """Whether a label is that of a shot which does not stand at its point."""
    return any(label in known and label != mine for label, mine in zip(labels, own, strict=True))


def _shot_at(point: GridPoint, labels: Sequence[str], at: Floats) -> str | None:
    """Label of the shot that stands where a point is: its own, or the first that may be asked for.

    Labels are asked for in capitals.
    """
    away = np.hypot(*(at - (point.x_mm, point.y_mm)).T)
    here = [labels[int(n)] for n in np.flatnonzero(away <= SAME_PLACE_MM)]
    asked = (label for label in here if label == label.upper())
    return point.label if point.label in here else next(asked, None)


def _further(label: str, on: int) -> str:
    """Label so many columns, or lines, further on."""
    line = re.fullmatch(r"F(\d+)-(\d+)", label)
    if line:
        return f"F{int(line[1]) + on}-{line[2]}"
    letters = label.rstrip("0123456789")
    column = 0
    for letter in letters:
        column = 26 * column + ord(letter) - ord("A") + 1
    return f"{_letters(column - 1 + on)}{label[len(letters) :]}"


def _refuse_too_many(count: float) -> None:
    if count > MOST_POINTS:
        raise BadInput(
            say(
                "such a spacing asks for more than {most_points} points on this floor, more "
                "than anybody walks: take a wider spacing.",
                most_points=MOST_POINTS,
            )
        )


def _usable(floor: Any, edge_mm: float, units: Units) -> Any:
    # Mitred, so that no point comes nearer than the edge to a corner that sticks into the room.
    usable = floor.buffer(-edge_mm, join_style="mitre")
    if usable.is_empty or usable.area <= 0.0:
        circle = shapely.maximum_inscribed_circle(floor, tolerance=0.5)
        largest = math.floor(shapely.length(circle) - 0.5)
        raise BadInput(
            say(
                "an edge of {edge} leaves no room for points: the largest that works here is "
                "{largest}.",
                edge=units.span(edge_mm),
                largest=units.span(largest),
            )
        )
    shapely.prepare(usable)
    return usable


def _partners(nodes: list[_Node], usable: Any) -> list[_Node]:
    """Return points beside a tenth of the others, spread evenly over them, in ways that turn."""
    wanted = max(1, round(PAIRED_SHARE * len(nodes)))
    rows = {node.column: node.row for node in sorted(nodes, key=lambda one: one.row)}
    found: list[_Node] = []
    for n in range(wanted):
        node = nodes[round((n + 0.5) * len(nodes) / wanted - 0.5)]
        for turn in range(n, n + 4):
            x = node.x_mm + PAIR_MM * math.cos(0.5 * math.pi * turn)
            y = node.y_mm + PAIR_MM * math.sin(0.5 * math.pi * turn)
            if shapely.intersects_xy(usable, x, y):
                rows[node.column] += 1
                found.append(_Node(x, y, node.column, rows[node.column], 0.0))
                break
    return found


def _lines(
    low: float,
    high: float,
    spacing_mm: float,
    edge_mm: float,
    least: int = 1,
    beats_mm: float | None = None,
) -> Floats:
    """Return equally spaced lines from one edge to the other; one in the middle where that does.

    Where they stand apart by about a multiple of `beats_mm`, there are more of them.
    """
    run = high - low - 2.0 * edge_mm
    if least == 1 and run <= TOO_CLOSE * spacing_mm:
        return np.array([(low + high) / 2.0])
    count = max(math.ceil(run / spacing_mm - 1e-9) + 1, least)
    for more in range(_MOST_MORE if beats_mm else 0):
        if not _beats(run / max(count + more - 1, 1), beats_mm or 1.0):
            count += more
            break
    return np.linspace(low + edge_mm, high - edge_mm, count)


def _beats(apart_mm: float, beats_mm: float) -> bool:
    times = apart_mm / beats_mm
    return times > 0.5 and abs(times - round(times)) < BEATING


def _on_one_line(nodes: list[_Node]) -> bool:
    """Say whether points hardly lie across some line, or are too few to."""
    if len(nodes) < 3:
        return True
    places = _at(nodes)
    return bool(np.linalg.svd(places - places.mean(axis=0), compute_uv=False)[-1] < 1.0)


def _lattice(
    usable: Any, xs: Floats, ys: Floats, bounds: tuple[float, float, float, float]
) -> Iterator[_Node]:
    """Yield a point for each cell that meets the usable area: on its node, or pulled in."""
    x_cuts = np.concatenate([[bounds[0]], (xs[1:] + xs[:-1]) / 2.0, [bounds[2]]])
    y_cuts = np.concatenate([[bounds[1]], (ys[1:] + ys[:-1]) / 2.0, [bounds[3]]])
    for i, x in enumerate(xs):
        for j, y in enumerate(ys):
            node = Point(x, y)
            if shapely.dwithin(usable, node, 1e-6):
                yield _Node(float(x), float(y), i, j + 1, 0.0)
                continue
            part = usable.intersection(box(x_cuts[i], y_cuts[j], x_cuts[i + 1], y_cuts[j + 1]))
            if not part.is_empty:
                here = nearest_points(part, node)[0]
                yield _Node(here.x, here.y, i, j + 1, here.distance(node))


def _places(outline: Outline, spacing_mm: float, edge_mm: float) -> tuple[Floats, float]:
    """Return places that stand for the whole floor, (n, 2), and how near a point each must have."""
    reach = spacing_mm / math.sqrt(2.0) + edge_mm * math.sqrt(2.0)
    step = max(min(spacing_mm / 6.0, edge_mm), math.sqrt(outline.polygon.area / 300_000.0))
    cells = raster(outline, step)
    corners = [corner for ring in (outline.walls, *outline.openings) for corner in ring]
    inside = shapely.intersects_xy(outline.polygon, *np.asarray(corners, dtype=float).T)
    places = np.vstack(
        [np.column_stack([cells.x_mm, cells.y_mm]), np.asarray(corners, dtype=float)[inside]]
    )
    # What lies between the places is at most half a cell's diagonal off.
    return places, max(reach - step / math.sqrt(2.0), spacing_mm / math.sqrt(2.0) + 1e-6)


def _at(nodes: list[_Node]) -> Floats:
    return np.array([(node.x_mm, node.y_mm) for node in nodes]).reshape(-1, 2)


def _nearest(points: Floats, places: Floats) -> Floats:
    """Return how far each place is from the nearest point."""
    from scipy.spatial import cKDTree  # here: a survey reads a grid and needs none of it

    distances: Floats = cKDTree(points).query(places)[0]
    return distances


def _merge(nodes: list[_Node], places: Floats, reach: float, spacing_mm: float) -> list[_Node]:
    """Drop a pulled-in point that came close to another, where every place stays in reach."""
    kept = list(nodes)
    for node in sorted((n for n in nodes if n.moved_mm > 0.0), key=lambda n: -n.moved_mm):
        others = [n for n in kept if n is not node]
        if not others:
            break
        away = np.hypot(*(_at(others) - (node.x_mm, node.y_mm)).T)
        if away.min() >= TOO_CLOSE * spacing_mm:
            continue
        mine = places[np.hypot(*(places - (node.x_mm, node.y_mm)).T) <= reach]
        near = _at(others)[away <= 2.0 * reach]
        if not len(mine) or _nearest(near, mine).max() <= reach:
            kept = others
    return kept


def _fill(
    outline: Outline,
    nodes: list[_Node],
    xs: Floats,
    rows: int,
    places: Floats,
    reach: float,
    spacing_mm: float,
) -> list[_Node]:
    """Add points where the lattice left places out of reach, the farthest first."""
    away = _nearest(_at(nodes), places) if nodes else np.full(len(places), np.inf)
    if away.max() <= reach:
        return []
    taken: dict[int, int] = {}
    for node in nodes:
        taken[node.column] = max(taken.get(node.column, rows), node.row)
    half = min(spacing_mm / 2.0, reach / math.sqrt(2.0))
    added: list[_Node] = []
    while away.max() > reach:
        _refuse_too_many(len(nodes) + len(added) + 1)
        x, y = _interior(outline.polygon, places[int(np.argmax(away))], half)
        column = int(np.argmin(np.abs(xs - x)))
        taken[column] = taken.get(column, rows) + 1
        added.append(_Node(x, y, column, taken[column], 0.0))
        away = np.minimum(away, np.hypot(*(places - (x, y)).T))
    return added


def _interior(floor: Any, at: Floats, half_mm: float) -> tuple[float, float]:
    """Return the spot farthest from walls within a square around a place of the floor."""
    x, y = at
    parts = shapely.get_parts(
        floor.intersection(box(x - half_mm, y - half_mm, x + half_mm, y + half_mm))
    )
    part = min(parts, key=lambda part: (part.distance(Point(x, y)), -part.area))
    if part.area <= 0.0:
        return float(x), float(y)
    spot = shapely.get_point(shapely.maximum_inscribed_circle(part, tolerance=1.0), 0)
    return float(spot.x), float(spot.y)


def _letters(column: int) -> str:
    """Return A to Z, then AA, AB …, as columns of a table are lettered."""
    letters = ""
    column += 1
    while column:
        column, rest = divmod(column - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters
