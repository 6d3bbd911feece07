"""What a floor is like: high and low point, heights at places, which shots would tell more."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rig.errors import CannotAnswer
from rig.job.settings import Place
from rig.quantities.bags import sheet_of
from rig.record import Record
from rig.room import contains
from rig.study.dragged import bells_of, drags_of, with_found
from rig.study.findings import warnings_of
from rig.study.laser_budget import Budget, floor_budget, share_of, ties_over
from rig.study.lasers import shots_of
from rig.study.looks import WorthLook, looks_between
from rig.study.picture import Picture, beliefs_of, none_inside, picture_of
from rig.study.room import outline_of
from rig.study.stepped import FloorStep, steps_of
from rig.surface.floor_model import floor_model
from rig.surface.high_point import Extremes
from rig.surface.next_shots import suggest_shots
from rig.survey.heights import heights_of
from rig.survey.setups import Line, Ties
from rig.words import floor as words

if TYPE_CHECKING:
    from rig.job.store import Job

SUGGESTED_SHOTS = 3
# A shot that saves less than this is not worth the walk (common practice, no source).
WORTH_BAGS = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class HighPoint(Record):
    """Where a floor is highest, and what nothing stands higher than at the confidence, in mm."""

    x_mm: float
    y_mm: float
    z_mm: float
    upper_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LowPoint(Record):
    """Where a floor is lowest, and what nothing lies lower than at the confidence, in mm."""

    x_mm: float
    y_mm: float
    z_mm: float
    lower_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class HeightAt(Record):
    """Height of the floor at a place, relative to the line of set-up 1, in mm."""

    x_mm: float
    y_mm: float
    z_mm: float
    stderr_mm: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class HeightsAnswer(Record):
    """Heights of the floor at m places, relative to the line of set-up 1.

    Attributes
    ----------
    z_mm, stderr_mm : array, shape (m,)
    """

    z_mm: NDArray[np.float64]
    stderr_mm: NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class WorthShot(Record):
    """A shot worth the walk, those named before it taken too.

    Attributes
    ----------
    x_mm, y_mm : float
    doubt_mm, left_mm : float
        Of the likely high places, before and after it.
    plane_mm : float
        By which a level plane is expected to come down.
    bags : float
        That this is expected to save.
    """

    x_mm: float
    y_mm: float
    doubt_mm: float
    left_mm: float
    plane_mm: float
    bags: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TiedSight(Record):
    """How far a sight of a benchmark lies off what all sights together say.

    Attributes
    ----------
    setup, benchmark : str
    residual_mm : float
    standardised : float or None
        In its own standard errors; None where the others say nothing of it.
    """

    setup: str
    benchmark: str
    residual_mm: float
    standardised: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class TiesAnswer(Record):
    """How well the set-ups hang together: residuals, and the chi-square test of all.

    Attributes
    ----------
    redundancy : int
        Sights beyond need.
    misfit : float or None
        Disagreement over what the sights' doubt says; None without redundancy.
    chance_agree : float or None
    widened : float
        What the stated doubts were multiplied by.
    sights : tuple of TiedSight
    """

    redundancy: int
    misfit: float | None
    chance_agree: float | None
    widened: float
    sights: tuple[TiedSight, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class FloorAnswer(Record):
    """What a floor is like, as `rig floor --json` prints it.

    Heights are in mm relative to the line of set-up 1, negative below it.

    Attributes
    ----------
    shots : int
    confidence : float
        Of the bounds in `high` and `low`.
    high, low : HighPoint, LowPoint
    range_mm : float
        High point over low point.
    noise_mm : float
        What one new shot would add to the doubt of the surface.
    points : tuple of HeightAt
        At the places asked for.
    next : tuple of WorthShot
        Best first.
    look_between : tuple of WorthLook
        Worst first.
    steps : tuple of FloorStep
        One, or none.
    setups : tuple of Line
    ties : TiesAnswer
    budget : Budget
    warnings : tuple of str
    """

    shots: int
    confidence: float
    high: HighPoint
    low: LowPoint
    range_mm: float
    noise_mm: float
    points: tuple[HeightAt, ...]
    next: tuple[WorthShot, ...]
    look_between: tuple[WorthLook, ...] = ()
    steps: tuple[FloorStep, ...] = ()
    setups: tuple[Line, ...]
    ties: TiesAnswer
    budget: Budget
    warnings: tuple[str, ...]


def floor_answer(
    job: "Job",
    picture: Picture,
    points: ArrayLike | None = None,
    laser: Mapping[str, Place] | None = None,
) -> FloorAnswer:
    """Tell what a floor is like.

    Parameters
    ----------
    job : Job
    picture : Picture
    points : array, shape (m, 2), optional
        Places in mm whose heights are asked for.
    laser : mapping of str to place, optional
        Where the laser stood at set-ups, in the place of what the job says.
    """
    extremes = picture.extremes
    warnings = warnings_of(job, picture)
    steps = steps_of(picture, job.units)
    warnings += [step.text for step in steps]
    heights: tuple[HeightAt, ...] = ()
    if points is not None:
        x_mm, y_mm = np.asarray(points, dtype=float).T
        heights = heights_at(picture, x_mm, y_mm)
        inside = contains(picture.outline, x_mm, y_mm)
        warnings += [
            words.place_off_the_floor(one.x_mm, one.y_mm, job.units)
            for one, within in zip(heights, inside, strict=True)
            if not within
        ]
    share, ties_mm = share_of(job, picture, laser), ties_over(job, picture)
    return FloorAnswer(
        shots=len(picture.heights.labels),
        confidence=extremes.confidence,
        high=high_of(extremes),
        low=low_of(extremes),
        range_mm=extremes.range_mm,
        noise_mm=float(np.sqrt(picture.surface.nugget_mm2 + picture.shot_stderr_mm**2)),
        points=heights,
        next=next_shots(job, picture),
        look_between=looks_between(job, picture),
        steps=steps,
        setups=tuple(picture.ties.lines),
        ties=_ties(picture.ties),
        budget=floor_budget(job, picture, share, ties_mm),
        warnings=tuple(warnings),
    )


def study_floor(
    job: "Job",
    *,
    points: ArrayLike | None = None,
    laser: Mapping[str, Place] | None = None,
    confidence: float = 0.95,
) -> tuple[Picture, FloorAnswer]:
    """Model a job's floor and tell what it is like; see `floor_answer`.

    Raises
    ------
    CannotAnswer
        Too few or collinear shots, or set-ups that are not tied.
    """
    picture = picture_of(job, outline_of(job), confidence)
    return picture, floor_answer(job, picture, points, laser)


def heights_answer(job: "Job", x_mm: ArrayLike, y_mm: ArrayLike) -> HeightsAnswer:
    """Tell the height of a job's floor at places, (m,) in mm.

    Raises
    ------
    CannotAnswer
        Too few or collinear shots, or set-ups that are not tied.
    BadInput
        Places that are no numbers, or not as many x as y.
    """
    shots = heights_of(shots_of(job), "floor", job.setups(), outline_of(job))
    if len(shots.labels) == 0:
        raise CannotAnswer(none_inside(job, "floor"))
    drags = drags_of(job)
    shots = with_found(shots, drags)
    model = floor_model(priors=beliefs_of(job, outline_of(job)), bells=bells_of(shots, drags))
    surface = model.fit(shots.x_mm, shots.y_mm, shots.z_mm, shots.stderr_mm)
    z_mm, stderr_mm = surface.predict(x_mm, y_mm)
    return HeightsAnswer(z_mm=z_mm, stderr_mm=stderr_mm)


def floor_by_plan(job: "Job", picture: Picture, high: HighPoint) -> FloorAnswer:
    """Tell what a floor is like whose high point a plan that stands on it has found already.

    What a plan tells itself is left out: the budget, and shots that would be worth the walk.

    Parameters
    ----------
    job : Job
    picture : Picture
        Of few cells and draws.
    high : HighPoint
        Of the plan.
    """
    extremes = picture.extremes
    cells, z_mm = picture.fine
    n = int(np.argmin(z_mm))
    low = LowPoint(
        x_mm=float(cells.x_mm[n]),
        y_mm=float(cells.y_mm[n]),
        z_mm=float(z_mm[n]),
        lower_mm=extremes.low.lower_mm,
    )
    return FloorAnswer(
        shots=len(picture.heights.labels),
        confidence=extremes.confidence,
        high=high,
        low=low,
        range_mm=high.z_mm - low.z_mm,
        noise_mm=float(np.sqrt(picture.surface.nugget_mm2 + picture.shot_stderr_mm**2)),
        points=(),
        next=(),
        setups=tuple(picture.ties.lines),
        ties=_ties(picture.ties),
        budget=Budget(),
        warnings=tuple(warnings_of(job, picture)),
    )


def high_of(extremes: Extremes) -> HighPoint:
    """Return the high point with the height it stays under at the confidence."""
    high = extremes.high
    return HighPoint(x_mm=high.x_mm, y_mm=high.y_mm, z_mm=high.z_mm, upper_mm=high.upper_mm)


def low_of(extremes: Extremes) -> LowPoint:
    """Return the low point with the height it stays over at the confidence."""
    low = extremes.low
    return LowPoint(x_mm=low.x_mm, y_mm=low.y_mm, z_mm=low.z_mm, lower_mm=low.lower_mm)


def next_shots(job: "Job", picture: Picture) -> tuple[WorthShot, ...]:
    """Return shots worth the walk, best first, each with the bags that it is expected to save.

    A lower plane takes less compound, and a surer mean height a smaller stock for safety.
    """
    sheet = sheet_of(job.settings)
    bags_per_mm = picture.outline.area_m2 * (1.0 + sheet.waste_share) / sheet.yield_l
    found = suggest_shots(
        picture.surface,
        picture.extremes,
        SUGGESTED_SHOTS,
        picture.shot_stderr_mm,
        WORTH_BAGS / bags_per_mm,
    )
    return tuple(
        WorthShot(
            x_mm=shot.x_mm,
            y_mm=shot.y_mm,
            doubt_mm=shot.doubt_mm,
            left_mm=shot.left_mm,
            plane_mm=shot.plane_mm,
            bags=shot.plane_mm * bags_per_mm,
        )
        for shot in found
    )


def heights_at(picture: Picture, x_mm: ArrayLike, y_mm: ArrayLike) -> tuple[HeightAt, ...]:
    """Tell the height of the floor at places of a picture; x and y in mm, shape (m,)."""
    x, y = np.asarray(x_mm, dtype=float), np.asarray(y_mm, dtype=float)
    z, stderr = picture.surface.predict(x, y)
    return tuple(
        HeightAt(x_mm=float(a), y_mm=float(b), z_mm=float(height), stderr_mm=float(doubt))
        for a, b, height, doubt in zip(x, y, z, stderr, strict=True)
    )


def _ties(ties: Ties) -> TiesAnswer:
    rows = zip(ties.sights, ties.residuals_mm, ties.standardised, strict=True)
    return TiesAnswer(
        redundancy=ties.redundancy,
        misfit=ties.misfit,
        chance_agree=ties.agree,
        widened=ties.widened,
        sights=tuple(
            TiedSight(
                setup=sight.setup,
                benchmark=sight.benchmark,
                residual_mm=float(residual),
                standardised=float(share) if np.isfinite(share) else None,
            )
            for sight, residual, share in rows
            if np.isfinite(residual)
        ),
    )
