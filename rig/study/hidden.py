"""How surely a plan keeps its cover if what no shot stands on is there: a hump, curled joints."""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rig.record import Record
from rig.study.dragged import every_look
from rig.study.picture import SEED, Picture, is_jointed
from rig.surface.hidden import Ceiling, chance_beside_hump, chance_on_curled_slab
from rig.target.level import Plane

if TYPE_CHECKING:
    from rig.job.store import Job
    from rig.study.plane import Ground


@dataclass(frozen=True, slots=True, kw_only=True)
class ChanceIf(Record):
    """Chance that the minimum cover is kept everywhere on a floor that has what is named.

    Attributes
    ----------
    hump : float or None
        One hump 3 ft across and 4 to 10 mm high that shots and looks let pass; None where they
        would have shown nearly every one.
    curled_joints : float or None
        A slab whose edges curl up at joints; None where the shots speak against one, and where
        what the floor is made of was told, or that no joint lies in the room.
    """

    hump: float | None
    curled_joints: float | None


def chance_if(
    job: "Job", picture: Picture, plane: Plane, ground: "Ground", min_cover_mm: float
) -> ChanceIf:
    """Return how surely a plane keeps its cover over what the shots can't show."""
    over = Ceiling(
        ground.x_mm,
        ground.y_mm,
        ground.area_mm2,
        ground.draws_mm,
        plane.at(ground.x_mm, ground.y_mm) - min_cover_mm,
    )
    rng = np.random.default_rng(SEED)
    open_kind = job.settings.floor in (None, "unknown") and is_jointed(job, picture.outline)
    return ChanceIf(
        hump=chance_beside_hump(picture.surface, over, rng, every_look(job)),
        curled_joints=chance_on_curled_slab(picture.surface, over, rng) if open_kind else None,
    )


def of_rooms(rooms: Iterable[tuple[float | None, ChanceIf | None]]) -> ChanceIf | None:
    """Return the same of all rooms at once, by the chance of each and what it would be there.

    One hump, in the room where it costs most; curled joints in every room that may have them. None
    where one of the rooms tells none.
    """
    told: list[tuple[float, ChanceIf]] = []
    for chance, known in rooms:
        if chance is None or known is None:
            return None
        told.append((chance, known))
    humps = [
        known.hump * math.prod(chance for m, (chance, _) in enumerate(told) if m != n)
        for n, (_, known) in enumerate(told)
        if known.hump is not None
    ]
    slabs = [(chance, known.curled_joints) for chance, known in told]
    return ChanceIf(
        hump=min(humps, default=None),
        curled_joints=math.prod(chance if slab is None else slab for chance, slab in slabs)
        if any(slab is not None for _, slab in slabs)
        else None,
    )
