"""Names the strips of a floor on which a straightedge leaves too much, a few for all of them.

The worst placement of each line is taken; of those that lie over each other only the worst stays,
so that a drawing shows every bad place once.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from rig.flatness.field import Field, longest_line
from rig.flatness.rule import Edge
from rig.flatness.straightedge import Placement, all_lines, batches, gaps, lay, place_on_line
from rig.room import Outline

BEARINGS = 16
APART_STEPS = 3
MOST_EDGES = 4
# Two strips whose worst places are nearer than this share of the longer one tell of one dip.
_SAME_DIP = 0.35


def failed_strips(
    field: Field, outline: Outline, edges: Sequence[Edge], most: int = 40
) -> list[Placement]:
    """Placements over the limit, the worst first, each dip of the floor once.

    Parameters
    ----------
    field : Field
        Best estimate of the surface.
    outline : Outline
    edges : sequence of Edge
        Of the rule; where they are many, a few that span its range are laid.
    most : int
        No more than so many.
    """
    longest = longest_line(outline)
    found: list[Placement] = []
    for edge in _some(edges):
        laid = lay(edge, longest, field.step_mm)
        for lines in all_lines(outline, laid, APART_STEPS * field.step_mm, BEARINGS):
            for part in batches(lines, 1):
                worst = gaps(part.read(field), laid.steps).max(axis=0)
                for row in np.flatnonzero(worst > edge.limit_mm * (1 + 1e-9)):
                    found.append(place_on_line(field, laid, part, int(row)))
    found.sort(key=lambda one: -one.share)
    kept: list[Placement] = []
    for one in found:
        if len(kept) == most:
            break
        if all(_apart(one, other) for other in kept):
            kept.append(one)
    return kept


def _some(edges: Sequence[Edge]) -> list[Edge]:
    if len(edges) <= MOST_EDGES:
        return list(edges)
    picked = np.unique(np.linspace(0, len(edges) - 1, MOST_EDGES).round().astype(int))
    return [edges[n] for n in picked]


def _apart(one: Placement, other: Placement) -> bool:
    away = float(np.hypot(one.x_mm - other.x_mm, one.y_mm - other.y_mm))
    return away > _SAME_DIP * max(one.span_mm, other.span_mm)
