"""Where a plan's depth markers go and how high each stands."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rig.guidance.layout import MarkerPlace, lay_out_markers
from rig.record import Record
from rig.study.fresh import fresh_plan
from rig.study.picture import Picture, picture_of
from rig.study.plan_answer import grind_first, read_plan
from rig.study.room import outline_of
from rig.survey.reading import reading_mm
from rig.target.level import Plane

if TYPE_CHECKING:
    from rig.job.store import Job


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkerHeight(Record):
    """A depth marker, its place and its height.

    Attributes
    ----------
    label : str
    x_mm, y_mm : float
    target_reading_mm : float
        Of a rod on its top, under the line of set-up 1.
    stick_out_mm : float
        Of its top over the floor.
    stick_out_stderr_mm : float
        The roughness of the one spot where it stands included.
    """

    label: str
    x_mm: float
    y_mm: float
    target_reading_mm: float
    stick_out_mm: float
    stick_out_stderr_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkersAnswer(Record):
    """A layout of markers in the order to set them, as `rig markers --json` prints it."""

    markers: tuple[MarkerHeight, ...]
    warnings: tuple[str, ...]


def markers_answer(job: "Job", reach_mm: float | None = None) -> MarkersAnswer:
    """Lay out the markers of the job's plan.

    Parameters
    ----------
    job : Job
    reach_mm : float, optional
        No place is farther than this from a marker; 4 ft, or 1.2 m, unless said.

    Raises
    ------
    CannotAnswer
        No plan yet, or one whose shots have changed since.
    BadInput
        A reach that is no length, or asks for more markers than anybody sets.
    """
    plan = read_plan(fresh_plan(job))
    outline = outline_of(job)
    if reach_mm is None:
        reach_mm = 1200.0 if job.units.is_metric else 1219.2
    picture = picture_of(job, outline, plan.wish.confidence)
    markers = marker_heights(picture, plan.answer.plane, lay_out_markers(outline, reach_mm))
    return MarkersAnswer(markers=markers, warnings=tuple(grind_first(plan.answer)))


def make_markers(job: "Job", reach_mm: float | None = None) -> MarkersAnswer:
    """Lay out the markers of the job's plan and keep them; see `markers_answer`."""
    answer = markers_answer(job, reach_mm)
    job.save_markers([marker.as_json() for marker in answer.markers])
    return answer


def marker_heights(
    picture: Picture, plane: Plane, places: Iterable[MarkerPlace]
) -> tuple[MarkerHeight, ...]:
    """Return how high markers stand at places, for their tops to lie in a plane."""
    places = list(places)
    x = np.array([place.x_mm for place in places])
    y = np.array([place.y_mm for place in places])
    floor, doubt = picture.surface.predict(x, y, nugget=True)
    return tuple(
        MarkerHeight(
            label=place.label,
            x_mm=place.x_mm,
            y_mm=place.y_mm,
            target_reading_mm=reading_mm(float(top)),
            stick_out_mm=float(top - z),
            stick_out_stderr_mm=float(sd),
        )
        for place, top, z, sd in zip(places, plane.at(x, y), floor, doubt, strict=True)
    )
