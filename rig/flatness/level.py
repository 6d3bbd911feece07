"""Lays straight lines from wall to wall over a floor that is to be level, end to end.

A limit on levelness goes by the whole length of a floor, not by what lies between: how much one
end of a line may stand over the other. The ends keep off the walls.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from rig.errors import CannotAnswer
from rig.flatness.field import Field, Floats, lines_at
from rig.language import say
from rig.room import Outline, from_rings

OFF_WALL_MM = 100.0
"""Points are measured this far from walls and openings (DIN 18202, from memory)."""
APART_MM = 500.0
LEAST_MM = 300.0
_MOST_BEARINGS = 12


@dataclass(frozen=True, eq=False)
class Spans:
    """Lines over a floor: their ends, (n,) in mm on the plan, and how long the floor is there.

    `length_mm` is from wall to wall where the walls stand square to the line, as a nominal size
    is told; at a crooked wall it is a little short.
    """

    start_x_mm: Floats
    start_y_mm: Floats
    end_x_mm: Floats
    end_y_mm: Floats
    length_mm: Floats

    def falls(self, field: Field) -> Floats:
        """How much each line rises from its start to its end, (n,) or (n, draws) in mm."""
        rise: Floats = field.at(self.end_x_mm, self.end_y_mm) - field.at(
            self.start_x_mm, self.start_y_mm
        )
        return rise


def spans_of(outline: Outline) -> Spans:
    """Lines along every direction of the walls, and square to the first wall.

    Raises
    ------
    CannotAnswer
        Where the floor is too narrow for any.
    """
    inner = outline.polygon.buffer(-OFF_WALL_MM, join_style="mitre")
    pieces = [
        from_rings(list(piece.exterior.coords), [list(ring.coords) for ring in piece.interiors])
        for piece in getattr(inner, "geoms", [inner])
        if not piece.is_empty
    ]
    found = []
    for piece in pieces:
        for bearing in _bearings(outline):
            lines = lines_at(piece, bearing, APART_MM, OFF_WALL_MM, LEAST_MM)
            along = np.outer(lines.length_mm, lines.along)
            found.append(
                np.column_stack(
                    [
                        lines.x_mm,
                        lines.y_mm,
                        lines.x_mm + along[:, 0],
                        lines.y_mm + along[:, 1],
                        lines.length_mm + 2.0 * OFF_WALL_MM,
                    ]
                )
            )
    rows = np.vstack(found) if found else np.zeros((0, 5))
    if not len(rows):
        raise CannotAnswer(
            say("The floor is too narrow to tell from end to end whether it is level.")
        )
    return Spans(*rows.T)


def _bearings(outline: Outline) -> list[float]:
    walls = [*zip(outline.walls, [*outline.walls[1:], outline.walls[0]], strict=True)]
    told = [math.atan2(by - ay, bx - ax) % math.pi for (ax, ay), (bx, by) in walls]
    found: list[float] = []
    for bearing in (told[0], (told[0] + math.pi / 2.0) % math.pi, *told):
        turned = [abs((bearing - b + math.pi / 2.0) % math.pi - math.pi / 2.0) for b in found]
        if all(turn > math.radians(1.0) for turn in turned):
            found.append(bearing)
    return found[:_MOST_BEARINGS]
