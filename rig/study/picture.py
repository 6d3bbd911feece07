"""The running picture: from a job's shots to the floor's surface, its high point, their doubt."""

import threading
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from rig.errors import CannotAnswer
from rig.room import Floats, Outline, Raster, raster, raster_of
from rig.study.dragged import bells_of, drags_of, looked_at, with_found
from rig.study.lasers import shots_of
from rig.study.looked import looks_of
from rig.study.rooms import refuse_several
from rig.surface.floor_kinds import priors_of
from rig.surface.floor_model import floor_model
from rig.surface.gaussian_process import GaussianProcess
from rig.surface.high_point import DRAWS, Extremes, find_extremes
from rig.surface.looked import Looked
from rig.surface.reml import Priors
from rig.surface.trend import Bells
from rig.survey.heights import Heights, heights_of, ties_of
from rig.survey.setups import Ties
from rig.words import floor as words

if TYPE_CHECKING:
    from rig.job.store import Job

STEP_MM = 50.8  # 2 in
MOST_CELLS = 12_000
SEED = 20  # the same shots give the same answer


@dataclass(frozen=True, eq=False)
class Picture:
    """A floor as the shots show it: the surface, its raster, and joint draws of its extremes.

    `ties` is how the lines of its set-ups hang together; `fitted` is what the surface
    stands on: the shots of `heights`, and after them what slides of the rod found.
    """

    outline: Outline
    ties: Ties
    heights: Heights
    surface: GaussianProcess
    cells: Raster
    extremes: Extremes
    fitted: Heights

    @cached_property
    def fine(self) -> tuple[Raster, Floats]:
        """The finest cells and the floor's height in each, whatever the draws were made on."""
        cells = cells_of(self.outline)
        return cells, self.surface.predict(cells.x_mm, cells.y_mm, quick=True)[0]

    @property
    def shot_stderr_mm(self) -> float:
        """Error of a typical shot."""
        return float(np.median(self.heights.stderr_mm))


def picture_of(
    job: "Job",
    outline: Outline,
    confidence: float,
    most_cells: int = MOST_CELLS,
    draws: int = DRAWS,
) -> Picture:
    """Model the floor from the job's current shots.

    Raises
    ------
    CannotAnswer
        Too few or collinear shots, or set-ups that are not tied.
    BadInput
        A job with several rooms that is narrowed to none: rooms are modelled one by one.
    """
    refuse_several(job)
    shots, setups = shots_of(job), job.setups()
    drags = drags_of(job)
    looks = (*looks_of(job), *looked_at(drags))
    ties, heights = ties_of(shots, "floor", setups), heights_of(shots, "floor", setups, outline)
    if len(heights.labels) == 0:
        raise CannotAnswer(none_inside(job, "floor"))
    found = with_found(heights, drags)
    bells = bells_of(found, drags)
    surface, cells, extremes = _modelled(
        found, outline, confidence, most_cells, draws, beliefs_of(job, outline), looks, bells
    )
    return Picture(outline, ties, heights, surface, cells, extremes, found)


# The last floors that were modelled, by all that they stand on: one command after the other asks
# for the same (a demo, a page, a script), and their draws are the dear part. No more of them than a
# large room's cells, as they are of the rooms of a house, and one at a time where threads ask: they
# are large.
_Modelled = tuple[GaussianProcess, Raster, Extremes]
_last: dict[tuple[object, ...], _Modelled] = {}
_one_at_a_time = threading.Lock()


def _modelled(
    heights: Heights,
    outline: Outline,
    confidence: float,
    most_cells: int,
    draws: int,
    priors: Priors,
    looks: tuple[Looked, ...],
    bells: Bells,
) -> _Modelled:
    where = (heights.x_mm, heights.y_mm, heights.z_mm, heights.stderr_mm)
    stands_on = (
        *(array.tobytes() for array in where),
        outline,
        most_cells,
        draws,
        priors,
        looks,
        bells,
    )
    with _one_at_a_time:
        found = _last.pop(stands_on, None)
        if found is not None:
            surface, cells, extremes = found
            _last[stands_on] = found = surface, cells, extremes.at(confidence)
            return found
        surface = floor_model(priors=priors, bells=bells).fit(*where)
        cells = cells_of(outline, most_cells)
        while (
            _last
            and len(cells.x_mm) + sum(len(one.x_mm) for _, one, _ in _last.values()) > MOST_CELLS
        ):
            del _last[next(iter(_last))]
        extremes = find_extremes(
            surface,
            cells.x_mm,
            cells.y_mm,
            cells.share * cells.step_mm**2,
            np.random.default_rng(SEED),
            confidence,
            draws,
            looks,
        )
        for drawn in (
            extremes.smooth_mm,
            extremes.highest_mm,
            extremes.lowest_mm,
            extremes.evens_mm,
        ):
            drawn.flags.writeable = False
        made = _last[stands_on] = (surface, cells, extremes)
        return made


def beliefs_of(job: "Job", outline: Outline) -> Priors:
    """What is believed of the floor before it is shot, by what the job knows of how it is built."""
    settings = job.settings
    along = None if settings.joists is None else settings.joists.along
    return priors_of(settings.floor, along, is_jointed(job, outline))


def is_jointed(job: "Job", outline: Outline) -> bool:
    """Whether joints of a slab may lie in the room, by how far apart they are told to be."""
    left, low, right, high = outline.polygon.bounds
    apart_mm = job.settings.joints_mm
    return apart_mm is None or apart_mm < max(right - left, high - low)


def cells_of(outline: Outline, most: int = MOST_CELLS) -> Raster:
    """Raster of the floor: 2 in cells, or larger ones where they would be too many."""
    if outline.area_m2 * 1e6 / STEP_MM**2 < 0.9 * most:
        fine = raster(outline, STEP_MM)
        if len(fine.x_mm) <= most:
            return fine
    return raster_of(outline, most)


def none_inside(job: "Job", kind: str) -> str:
    """Say why there is nothing to model."""
    return words.nothing_inside(kind, len(job.shots(kinds=[kind])))
