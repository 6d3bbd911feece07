"""Where a plan's depth markers go and how high each stands."""

import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from rig.errors import BadInput, CannotAnswer
from rig.guidance.layout import CLEAR_MM, MarkerPlace, clear_mm, lay_out_markers, out_of_reach
from rig.guidance.moved import Changes, changed_layout, refuse_off_floor
from rig.record import Record
from rig.room import where
from rig.study.fresh import fresh_plan
from rig.study.lifting import OneLift, free_labels, lifts_of, markers_of, one_lift
from rig.study.picture import Picture, picture_of
from rig.study.plan_answer import grind_first, read_plan
from rig.study.room import outline_of
from rig.study.rooms import each_room, everywhere, has_several, refuse_several
from rig.survey.reading import reading_mm
from rig.target.level import Plane
from rig.words import markers as words
from rig.words import say

if TYPE_CHECKING:
    from rig.job.rows import Json
    from rig.job.store import Job
    from rig.units import Units

_EVENT = "markers"
_HAIR_MM = 0.5  # what rounding may take from a layout's distance to the walls


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


@dataclass(frozen=True, slots=True)
class _Layout:
    """Where markers stand, the reach they were laid out for, and labels dropped since."""

    places: list[MarkerPlace]
    reach_mm: float
    by_hand: bool = False
    gone: tuple[str, ...] = ()
    lift: int | None = None


def markers_answer(
    job: "Job",
    reach_mm: float | None = None,
    changes: Changes | None = None,
    lift: int | None = None,
) -> MarkersAnswer:
    """Lay out the markers of the job's plan.

    A layout that was changed by hand keeps its places, and only its heights are made anew, until a
    reach is given.

    Parameters
    ----------
    job : Job
    reach_mm : float, optional
        No place is farther than this from a marker; 4 ft, or 1.2 m, unless said.
    changes : Changes, optional
        What to change in the layout that is there.
    lift : int, optional
        For which of the plan's lifts; the finished plane unless said.

    Raises
    ------
    CannotAnswer
        No plan yet, or one whose shots have changed since; no markers yet to change.
    BadInput
        A reach that is no length, or asks for more markers than anybody sets; changes that the
        layout does not allow.
    """
    if has_several(job):
        with each_room(job) as rooms:
            return _joined([markers_answer(one, reach_mm, changes, lift) for one in rooms])
    return _answer(job, _layout(job, reach_mm, changes, lift), changes)


def make_markers(
    job: "Job",
    reach_mm: float | None = None,
    changes: Changes | None = None,
    lift: int | None = None,
) -> MarkersAnswer:
    """Lay out the markers of the job's plan and keep them; see `markers_answer`.

    The event `markers` keeps the reach and, by hand, what was changed.
    """
    if has_several(job):
        if changes:
            refuse_several(job)
        with each_room(job) as rooms, job.together(say("the markers were not kept")):
            made = [make_markers(one, reach_mm, changes, _own_lift(one, lift)) for one in rooms]
        return _joined(made)
    layout = _layout(job, reach_mm, changes, lift)
    answer = _answer(job, layout, changes)
    told: dict[str, object] = {"reach_mm": layout.reach_mm, "by_hand": layout.by_hand}
    if changes:
        told |= {
            "move": [(label.upper(), *at) for label, at in changes.move],
            "add": list(changes.add),
            "drop": list(changes.drop),
        }
    told["gone"] = list(layout.gone)
    if layout.lift is not None:
        told["lift"] = layout.lift
    if job.room is not None:
        told["room"] = job.room.number
    with job.together(say("the markers were not kept")):
        job.log_event(None, None, time.time(), _EVENT, told)
        job.save_markers([marker.as_json() for marker in answer.markers])
    return answer


def _own_lift(job: "Job", lift: int | None) -> int | None:
    """Return a lift of a room that may have fewer: its last one then."""
    return None if lift is None else min(lift, lifts_of(job))


def _joined(made: Sequence[MarkersAnswer]) -> MarkersAnswer:
    return MarkersAnswer(
        markers=tuple(marker for one in made for marker in one.markers),
        warnings=tuple(dict.fromkeys(text for one in made for text in one.warnings)),
    )


def _last_layout(job: "Job") -> "Json":
    """Return what the event of the last layout keeps, that of this room."""
    for event in reversed(job.events([_EVENT])):
        if job.room is None or job.room.has_plan(event.data):
            return event.data
    return {}


def laid_lift(job: "Job", last: int) -> int:
    """Return for which lift of the plan the markers were laid out, the last one unless said."""
    lift: int = _last_layout(job).get("lift") or last
    return lift


def refuse_other_lift(job: "Job", lift: int) -> None:
    """Refuse to set markers for another lift than they were laid out for."""
    if has_several(job):
        with each_room(job) as rooms:
            for one in rooms:
                refuse_other_lift(one, _own_lift(one, lift) or lift)
        return
    if laid_lift(job, lifts_of(job)) != lift:
        raise CannotAnswer(words.other_lift(_last_layout(job).get("lift"), lift))


def usual_reach_mm(units: "Units") -> float:
    """Return how far a place may be from the nearest marker unless said otherwise."""
    return 1200.0 if units.is_metric else 1219.2


def _layout(
    job: "Job", reach_mm: float | None, changes: Changes | None, lift: int | None
) -> _Layout:
    """Lay out markers anew, or go by the places that are there."""
    outline = outline_of(job)
    last = _last_layout(job)
    usual_mm = usual_reach_mm(job.units)
    there = [MarkerPlace(one.label, one.x_mm, one.y_mm) for one in job.markers()]
    if changes and reach_mm is not None:
        raise BadInput(
            say(
                "A reach lays the markers out anew: leave out --reach, or give it first and "
                "change the layout then."
            )
        )
    if changes:
        if not there:
            raise CannotAnswer(say("The job has no markers yet. Lay them out first: rig markers"))
        gone = (*last.get("gone", ()), *(label.strip().upper() for label in changes.drop))
        taken = [*last.get("gone", ()), *_labels_elsewhere(job)]
        places = changed_layout(outline, there, changes, job.units, taken)
        lift = last.get("lift") if lift is None else lift
        return _Layout(places, last.get("reach_mm", usual_mm), True, gone, lift)
    if reach_mm is None and last.get("by_hand") and there and lift == last.get("lift"):
        refuse_off_floor(outline, there, job.units)
        return _Layout(there, last["reach_mm"], True, tuple(last["gone"]), lift)
    reach_mm = usual_mm if reach_mm is None else reach_mm
    fresh_plan(job)  # before the work of a layout
    return _Layout(_numbered_on(job, lay_out_markers(outline, reach_mm)), reach_mm, lift=lift)


def _answer(job: "Job", layout: _Layout, changes: Changes | None) -> MarkersAnswer:
    """Tell the heights of a layout, and what is to be said of its places."""
    plan = read_plan(fresh_plan(job))
    outline = outline_of(job)
    picture = picture_of(job, outline, plan.wish.confidence)
    layer = one_lift(plan.answer, layout.lift)
    if layer is not None and not layout.by_hand:
        layout = replace(layout, places=_for_lift(job, picture, layer, layout))
    plane, under = (plan.answer.plane, None) if layer is None else (layer.top, layer.under)
    markers = marker_heights(picture, plane, layout.places, under)
    warnings = [*grind_first(plan.answer), *_moved_off(job, layout.places)]
    for one in layout.places:
        away_mm = clear_mm(outline, one)
        if away_mm < CLEAR_MM - _HAIR_MM:
            warnings.append(words.near_wall(one.label, away_mm, CLEAR_MM, job.units))
    whole = layout.by_hand and (layer is None or layer.is_last)
    missed = out_of_reach(outline, layout.places, layout.reach_mm) if whole else None
    if missed is not None:
        x_mm, y_mm, away_mm = missed
        place = where(outline, x_mm, y_mm, job.units)
        warnings.append(words.out_of_reach(place, away_mm, layout.reach_mm, job.units))
    if layout.by_hand and not changes:
        warnings.append(words.by_hand())
    return MarkersAnswer(markers=markers, warnings=tuple(warnings))


def _labels_elsewhere(job: "Job") -> list[str]:
    """Return the labels of other rooms' markers."""
    room = job.room
    if room is None:
        return []
    with everywhere(job):
        return [one.label for one in job.markers() if not room.has(one.x_mm, one.y_mm)]


def _numbered_on(job: "Job", layout: list[MarkerPlace]) -> list[MarkerPlace]:
    """Leave out the labels of other rooms' markers, so that none comes twice in a job."""
    others = _labels_elsewhere(job)
    if not others:
        return layout
    free = free_labels(others)
    return [MarkerPlace(next(free), one.x_mm, one.y_mm) for one in layout]


def _for_lift(job: "Job", picture: Picture, one: OneLift, layout: _Layout) -> list[MarkerPlace]:
    """Return the markers that a lift needs: those where it is poured, and what its spots lack."""
    if one.is_last:
        return layout.places
    cells, surface = picture.cells, picture.surface
    floor_mm, _ = surface.predict(cells.x_mm, cells.y_mm, quick=True)
    x = np.array([place.x_mm for place in layout.places])
    y = np.array([place.y_mm for place in layout.places])
    at_mm, _ = surface.predict(x, y, quick=True)
    return markers_of(
        picture.outline,
        layout.places,
        cells,
        one.thickness_mm(cells.x_mm, cells.y_mm, floor_mm),
        one.thickness_mm(x, y, at_mm),
        layout.reach_mm,
        _labels_elsewhere(job),
    )


def _moved_off(job: "Job", places: Iterable[MarkerPlace]) -> list[str]:
    """Name markers that were set, and stand elsewhere now."""
    now = {one.label: (one.x_mm, one.y_mm) for one in places}
    return [
        words.set_no_more(one.label)
        for one in job.markers()
        if one.is_set and now.get(one.label, (one.x_mm, one.y_mm)) != (one.x_mm, one.y_mm)
    ]


def height_at(job: "Job", x_mm: float, y_mm: float) -> MarkerHeight:
    """Return how high a marker would stand at a place, by the plan and the lift that is laid out.

    Raises
    ------
    CannotAnswer
        No plan, or a stale one.
    """
    plan = read_plan(fresh_plan(job))
    layer = one_lift(plan.answer, _last_layout(job).get("lift"))
    picture = picture_of(job, outline_of(job), plan.wish.confidence)
    plane, under = (plan.answer.plane, None) if layer is None else (layer.top, layer.under)
    (found,) = marker_heights(picture, plane, [MarkerPlace("", x_mm, y_mm)], under)
    return found


def marker_heights(
    picture: Picture, plane: Plane, places: Iterable[MarkerPlace], under: Plane | None = None
) -> tuple[MarkerHeight, ...]:
    """Return how high markers stand at places, for their tops to lie in a plane.

    They stand on the floor, or on the lift `under` them where that lies higher.
    """
    places = list(places)
    x = np.array([place.x_mm for place in places])
    y = np.array([place.y_mm for place in places])
    floor, doubt = picture.surface.predict(x, y, nugget=True)
    if under is not None:
        floor = np.maximum(floor, under.at(x, y))
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
