"""Lays out lines for F-numbers over a room: where they run, how they are labelled and walked.

Lines run along the first wall and square to it, as far as the room's shape lets them, a foot
(300 mm) between readings; the walk goes up one line and down the next and ends by the door.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from rig.errors import CannotAnswer
from rig.flatness import f_numbers as fn
from rig.flatness.field import lines_at
from rig.language import say
from rig.room import Outline, from_rings
from rig.units import METRIC, Units


@dataclass(frozen=True, slots=True)
class LinePoint:
    """A reading of a line: `F2-7` is the seventh of line F2; `order` counts along the walk."""

    label: str
    x_mm: float
    y_mm: float
    order: int


def lay_lines(outline: Outline, step_mm: float, units: Units = METRIC) -> list[LinePoint]:
    """Lay out F-number lines in the order of the walk.

    Lines stand 4 ft (1.2 m) or a little more apart, 2 ft (0.6 m) off walls and openings, and are
    11 ft (3.35 m) or longer, as the method asks (E1155, those figures from memory).

    Raises
    ------
    CannotAnswer
        Where no line is long enough.
    """
    fn.ff_constant_mm(step_mm)
    inner = away_from_walls(outline, units)
    (ax, ay), (bx, by) = outline.walls[0], outline.walls[1]
    first = math.atan2(by - ay, bx - ax) % math.pi
    least = math.ceil(fn.LEAST_LINE_MM / step_mm - 0.02) * step_mm
    runs = []
    for bearing in (first, (first + math.pi / 2) % math.pi):
        lines = lines_at(inner, bearing, _apart(inner, bearing), step_mm, least)
        for x, y, length, count in zip(
            lines.x_mm, lines.y_mm, lines.length_mm, lines.count, strict=True
        ):
            # What is left of the line over whole steps is shared between its ends.
            k = step_mm * np.arange(count) + (length - step_mm * (count - 1)) / 2.0
            runs.append(np.column_stack([x + k * lines.along[0], y + k * lines.along[1]]))
    if not runs:
        raise CannotAnswer(
            say(
                "The room is too small for F-numbers: no line of {least_line_mm} keeps "
                "{least_edge_mm} off the walls. Prove it with a straightedge rule: rig "
                "flatness --rule KEY.",
                least_line_mm=units.place(fn.LEAST_LINE_MM),
                least_edge_mm=units.place(fn.LEAST_EDGE_MM),
            )
        )
    at = np.array(outline.doors[0].middle if outline.doors else outline.walls[0])
    walked = []
    while runs:
        # Backwards from the door: always the nearest end of a line that is left.
        ends = [
            (float(np.hypot(*(run[i] - at))), n, i) for n, run in enumerate(runs) for i in (0, -1)
        ]
        _, n, i = min(ends)
        run = runs.pop(n)
        walked.append(run if i == 0 else run[::-1])
        at = walked[-1][-1]
    points: list[LinePoint] = []
    for number, run in enumerate((run[::-1] for run in reversed(walked)), 1):
        for n, (x, y) in enumerate(run, 1):
            points.append(LinePoint(f"F{number}-{n}", float(x), float(y), len(points) + 1))
    return points


def _apart(floor: Outline, bearing_rad: float) -> float:
    """Spacing that fits whole, no closer than the method allows."""
    x, y = np.array(floor.walls).T
    wide = float(np.ptp(y * math.cos(bearing_rad) - x * math.sin(bearing_rad)))
    return max(wide, 1.0) / max(1, math.floor(wide / fn.LEAST_APART_MM + 1e-3))


def away_from_walls(outline: Outline, units: Units = METRIC) -> Outline:
    """Floor less the strip along its walls and openings that F-number lines keep off."""
    inner = outline.polygon.buffer(-fn.LEAST_EDGE_MM, join_style="mitre")
    pieces = [p for p in getattr(inner, "geoms", [inner]) if not p.is_empty]
    if not pieces:
        raise CannotAnswer(
            say(
                "The room is too small for F-numbers, which keep {least_edge_mm} off the "
                "walls. Use a straightedge rule: rig rules.",
                least_edge_mm=units.place(fn.LEAST_EDGE_MM),
            )
        )
    piece = max(pieces, key=lambda p: float(p.area))
    return from_rings(list(piece.exterior.coords), [list(ring.coords) for ring in piece.interiors])
