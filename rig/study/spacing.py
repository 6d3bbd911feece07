"""Tells before a survey what the spacing of its points is likely to cost in bags of safety.

Made-up floors as any room's are believed to be (or as this one's shots say) are surveyed at each
spacing; what the plane must lie higher for doubt alone is averaged and turned into bags.
"""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rig.errors import BadInput, CannotAnswer
from rig.language import say
from rig.quantities.bags import sheet_of
from rig.record import Record
from rig.room import Outline, Raster
from rig.study.grid import beats_of
from rig.study.lasers import shots_of
from rig.study.picture import cells_of
from rig.surface.floor_model import BOWL_MM, floor_model
from rig.surface.high_point import find_extremes
from rig.surface.reml import Priors
from rig.survey.grid import lay_out
from rig.survey.heights import NEAR_WALL_MM, heights_of, outside_mm
from rig.target.level import Floats
from rig.units import Units

if TYPE_CHECKING:
    from rig.job.store import Job

# Error of a shot with a rod or a tape: common practice, no source.
SHOT_STDERR_MM = 0.5
_FLOORS = 10
_CELLS = 600
_DRAWS = 400
_MOST_POINTS = 600


@dataclass(frozen=True, slots=True, kw_only=True)
class SpacingCost(Record):
    """What a spacing is likely to cost.

    Attributes
    ----------
    spacing_mm : float
    points : int
        To shoot.
    safety_mm : float
        That the plane lies higher for doubt.
    safety_bags : float
        That this costs.
    pairs : bool
        A tenth of the points have another close beside them.
    """

    spacing_mm: float
    points: int
    safety_mm: float
    safety_bags: float
    pairs: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class SpacingAnswer(Record):
    """What spacings are likely to cost, as `rig grid --advise --json` prints it.

    Attributes
    ----------
    advise : tuple of SpacingCost
        Closest first; spacings that the room does not take are left out.
    assumed : str
        The floor that was taken for typical.
    assumptions : tuple of str
        About the bags.
    """

    advise: tuple[SpacingCost, ...]
    assumed: str
    assumptions: tuple[str, ...]


@dataclass(frozen=True)
class _Typical:
    """A floor to make up: how far it undulates and how much, how rough it is, whence that is."""

    length_mm: float
    sd_mm: float
    nugget_sd_mm: float
    told: str


def usual_spacings_mm(units: Units) -> tuple[float, ...]:
    """Return spacings that installers pick from: multiples of a foot, or of 300 mm."""
    common = 300.0 if units.is_metric else 304.8
    return tuple(steps * common for steps in (1.5, 2, 3, 4, 6))


def spacing_answer(
    job: "Job",
    outline: Outline,
    spacings_mm: Sequence[float],
    edge_mm: float,
    confidence: float = 0.95,
    *,
    pairs: bool = False,
) -> SpacingAnswer:
    """Tell what each spacing is likely to cost.

    Parameters
    ----------
    job : Job
        For its bags, and its shots where there are enough to tell what its floor is like.
    outline : Outline
    spacings_mm : sequence of float
    edge_mm : float
        From the wall to the outermost points.
    confidence : float
    pairs : bool
        A tenth of the points have another close beside them; how rough the floor is then has to be
        found from the shots, which is what they are for.
    """
    sheet = sheet_of(job.settings)
    bags_per_mm = outline.area_m2 * (1.0 + sheet.waste_share) / sheet.yield_l
    typical = _typical(job, outline)
    cells, beats_mm = cells_of(outline, _CELLS), beats_of(job)
    advise = []
    for spacing, paired in itertools.product(spacings_mm, (False, True) if pairs else (False,)):
        try:
            points = lay_out(outline, spacing, edge_mm, pairs=paired, beats_mm=beats_mm)
        except BadInput:  # wider than the room takes
            continue
        if not 4 <= len(points) <= _MOST_POINTS:
            continue
        x = np.array([point.x_mm for point in points])
        y = np.array([point.y_mm for point in points])
        safety_mm = _safety_mm(x, y, typical, cells, confidence, found=pairs)
        if safety_mm is not None:
            advise.append(
                SpacingCost(
                    spacing_mm=float(spacing),
                    points=len(points),
                    safety_mm=safety_mm,
                    safety_bags=safety_mm * bags_per_mm,
                    pairs=paired,
                )
            )
    return SpacingAnswer(advise=tuple(advise), assumed=typical.told, assumptions=sheet.assumptions)


def _safety_mm(
    x: Floats,
    y: Floats,
    typical: _Typical,
    cells: Raster,
    confidence: float,
    *,
    found: bool = False,
) -> float | None:
    """How much higher than the highest spot a plane lies, on average; None of too few points.

    With `found` what the floor is like is found from its shots, as in a survey.
    """
    area = cells.share * cells.step_mm**2
    higher = []
    for seed in range(_FLOORS):
        rng = np.random.default_rng(seed)
        z = _floor_at(x, y, typical, rng)
        known = typical.length_mm, typical.sd_mm**2, typical.nugget_sd_mm**2
        model = floor_model() if found else floor_model(*known)
        try:
            model.fit(x, y, z, SHOT_STDERR_MM)
        except CannotAnswer:
            break
        told = find_extremes(model, cells.x_mm, cells.y_mm, area, rng, confidence, _DRAWS)
        tops = told.highest_mm.max(axis=1)
        higher.append(told.high.upper_mm - float(np.median(tops)))
    return float(np.mean(higher)) if higher else None


def _typical(job: "Job", outline: Outline) -> _Typical:
    """Return the floor to make up: this one where its shots tell enough of it."""
    shots = shots_of(job)
    floor = [shot for shot in shots if shot.kind == "floor"]
    if np.sum(outside_mm(outline, floor) <= NEAR_WALL_MM) >= 12:
        heights = heights_of(shots, "floor", job.setups(), outline)
        model = floor_model().fit(heights.x_mm, heights.y_mm, heights.z_mm, heights.stderr_mm)
        sd, nugget_sd = np.sqrt(model.variance_mm2), np.sqrt(model.nugget_mm2)
        told = say("floors like this one, as its shots say")
        return _Typical(model.length_mm, float(sd), float(nugget_sd), told)
    of = job.units
    length, sd, nugget_sd = (prior.median for prior in Priors().as_list())
    told = say(
        "typical floors: waves of {sd} every {length} or so, and roughness of {nugget_sd} "
        "(common practice, no source)",
        sd=of.length(sd),
        length=of.place(length),
        nugget_sd=of.off(nugget_sd),
    )
    return _Typical(length, sd, nugget_sd, told)


def _floor_at(x: Floats, y: Floats, typical: _Typical, rng: np.random.Generator) -> Floats:
    """Shots of a made-up floor."""
    from rig.surface.covariance import correlation, distances
    from rig.surface.reml import lower_cholesky

    lower = lower_cholesky(correlation(distances(x, y, x, y), typical.length_mm, 2.5))
    scale = max(np.ptp(x), np.ptp(y), 1.0) / 2.0
    right, up = (x - x.mean()) / scale, (y - y.mean()) / scale
    bend = 0.5 * BOWL_MM * rng.standard_normal(3) @ np.array([right**2, right * up, up**2])
    error = np.hypot(typical.nugget_sd_mm, SHOT_STDERR_MM) * rng.standard_normal(len(x))
    found: Floats = typical.sd_mm * lower @ rng.standard_normal(len(x)) + bend + error
    return found
