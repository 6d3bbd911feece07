"""Says where shots do not tell how surely a minimum cover is kept, and which shots would."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rig.record import Record
from rig.room import where
from rig.study.picture import Picture
from rig.surface.look_out import breaks_the_model
from rig.words import unknown as words

if TYPE_CHECKING:
    from rig.job.store import Job
    from rig.target.level import Floats

FEWEST_SHOTS = 6
MOST_M2_A_SHOT = 1.7
"""More floor than this a shot, some 4 ft 3 in between shots, and nobody knows what a usual floor
does between them (common practice, no source)."""
MOST_NAMED = 6
_AROUND = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot(Record):
    """A place to shoot, in mm on the plan."""

    x_mm: float
    y_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Unknown(Record):
    """Why it is not known how surely the minimum cover is kept, and what would settle it.

    Attributes
    ----------
    why : str
        In words, with what would settle it.
    shots : int
        That many more would do.
    at : tuple of Spot
        Where the first of them would tell most.
    """

    why: str
    shots: int
    at: tuple[Spot, ...]


def unknown_of(job: "Job", picture: Picture) -> Unknown | None:
    """Return why a chance cannot be told of a floor, None where it can."""
    shots = len(picture.heights.labels)
    area_m2 = float(np.sum(picture.cells.share)) * picture.cells.step_mm**2 * 1e-6
    needed = max(int(np.ceil(area_m2 / MOST_M2_A_SHOT)), FEWEST_SHOTS)
    at = np.column_stack([picture.heights.x_mm, picture.heights.y_mm])
    if shots < needed:
        spots = _farthest(picture, at, min(needed - shots, MOST_NAMED))
        why = words.too_few(shots, area_m2, needed - shots, _told(job, picture, spots), job.units)
        return Unknown(why=why, shots=needed - shots, at=spots)
    far = breaks_the_model(picture.surface)
    if not len(far):
        return None
    near = np.column_stack([picture.surface.x_mm, picture.surface.y_mm])[far]
    count = min(_AROUND * len(far), MOST_NAMED)
    spots = _farthest(picture, at, count, near, 1.5 * np.sqrt(area_m2 * 1e6 / shots))
    labels = [] if picture.surface.binned else [picture.fitted.labels[n] for n in far]
    why = words.contradicted(labels, len(spots), _told(job, picture, spots))
    return Unknown(why=why, shots=len(spots), at=spots)


def _told(job: "Job", picture: Picture, spots: tuple[Spot, ...]) -> list[str]:
    return [where(picture.outline, spot.x_mm, spot.y_mm, job.units) for spot in spots]


def _farthest(
    picture: Picture,
    at: "Floats",
    count: int,
    near: "Floats | None" = None,
    reach_mm: float = np.inf,
) -> tuple[Spot, ...]:
    """Places of the floor farthest from all shots and from each other, near some where told."""
    from scipy.spatial import cKDTree

    places = np.column_stack([picture.cells.x_mm, picture.cells.y_mm])
    if near is not None:
        places = places[cKDTree(near).query(places)[0] <= reach_mm]
    away = cKDTree(at).query(places)[0]
    found = []
    for _ in range(min(count, len(places))):
        best = places[int(np.argmax(away))]
        found.append(Spot(x_mm=float(best[0]), y_mm=float(best[1])))
        away = np.minimum(away, np.hypot(*(places - best).T))
    return tuple(found)
