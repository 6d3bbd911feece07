"""Where to look between the shots: places at which a hump may hide that would cost cover."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rig.quantities.bags import sheet_of
from rig.record import Record
from rig.study.dragged import every_look
from rig.surface.look_between import suggest_looks

if TYPE_CHECKING:
    from rig.job.store import Job
    from rig.study.picture import Picture

MOST_LOOKS = 24


@dataclass(frozen=True, slots=True, kw_only=True)
class WorthLook(Record):
    """A place between the shots to lay a straightedge at, worst first.

    Attributes
    ----------
    x_mm, y_mm : float
    hides_mm : float
        Height of a hump 3 ft across that by the model the shots would let pass there once in
        twenty, or 12.7: more is seen with bare eyes.
    bags : float
        Held now against a hump there; saved where a look finds none.
    """

    x_mm: float
    y_mm: float
    hides_mm: float
    bags: float


def looks_between(job: Job, picture: Picture) -> tuple[WorthLook, ...]:
    """Return the looks that would save most bags of safety."""
    sheet, cells = sheet_of(job.settings), picture.cells
    bags_per_mm = picture.outline.area_m2 * (1.0 + sheet.waste_share) / sheet.yield_l
    area = cells.share * cells.step_mm**2
    return tuple(
        WorthLook(
            x_mm=look.x_mm,
            y_mm=look.y_mm,
            hides_mm=look.hides_mm,
            bags=look.plane_mm * bags_per_mm,
        )
        for look in suggest_looks(
            picture.surface, picture.extremes, area, MOST_LOOKS, every_look(job)
        )
    )
