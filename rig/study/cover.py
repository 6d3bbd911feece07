"""Where a plan's cover is least and where it is deepest."""

from dataclasses import dataclass

import numpy as np

from rig.record import Record
from rig.study.picture import Picture
from rig.study.plan_answer import PlanAnswer


@dataclass(frozen=True, slots=True, kw_only=True)
class CoverAt(Record):
    """Thickness of compound at a place, in mm."""

    x_mm: float
    y_mm: float
    cover_mm: float


def thinnest_and_deepest(picture: Picture, answer: PlanAnswer) -> tuple[CoverAt, CoverAt]:
    """Return where the cover of a plan is least and most; the figures are the plan's own.

    Parameters
    ----------
    picture : Picture
        Of the floor that the plan stands on.
    answer : PlanAnswer
    """
    cells, floor_mm = picture.fine
    cover_mm = answer.plane.at(cells.x_mm, cells.y_mm) - floor_mm
    if answer.spots:  # they are ground until the minimum cover fits over them
        cover_mm = np.maximum(cover_mm, answer.min_cover_mm)

    def at(n: int, figure_mm: float) -> CoverAt:
        return CoverAt(x_mm=float(cells.x_mm[n]), y_mm=float(cells.y_mm[n]), cover_mm=figure_mm)

    thinnest = at(int(np.argmin(cover_mm)), answer.cover_mm.min)
    return thinnest, at(int(np.argmax(cover_mm)), answer.cover_mm.max)
