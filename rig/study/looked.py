"""Looks between the shots: what a straightedge showed, kept in the job."""

import math
import time
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rig.errors import BadInput, JobUnusable
from rig.record import Record
from rig.room import Outline, contains
from rig.study.acts import standing
from rig.study.room import outline_of
from rig.surface.looked import Looked
from rig.words import look as words
from rig.words import say

if TYPE_CHECKING:
    from rig.job.store import Job
    from rig.units import Units

SHORTEST_MM, LONGEST_MM = 300.0, 6000.0
BESIDE_MM = 150.0
"""How far off the edge the place of its gap may be told."""
MOST_GAP_MM = 75.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LookAnswer(Record):
    """A look, as `rig look --json` tells it; `looks` are how many the job holds now.

    `gap_mm` is 0 and `at_mm` None where the floor was flat under the edge; `rocks` where the gap
    was at an end.
    """

    from_mm: tuple[float, float]
    to_mm: tuple[float, float]
    gap_mm: float
    at_mm: tuple[float, float] | None
    rocks: bool
    looks: int
    text: str


def looks_of(job: "Job") -> tuple[Looked, ...]:
    """Return the looks of a job that were not taken back.

    Raises
    ------
    JobUnusable
        One is not as floor-rig writes it.
    """
    try:
        return tuple(_look(one.data) for one in standing(job, ["look"]))
    except (KeyError, TypeError, ValueError) as error:
        raise JobUnusable(
            say(
                "{path}: it holds a look that is not as floor-rig writes it ({error}).",
                path=job.path,
                error=error,
            )
        ) from error


def keep_look(job: "Job", look: Looked) -> LookAnswer:
    """Keep a look in a job that is open for writing, and tell what it means.

    Raises
    ------
    BadInput
        An edge or a gap that cannot be, or off the floor.
    """
    _check(look, outline_of(job), job)
    data = {"from": look.from_mm, "to": look.to_mm, "gap_mm": look.gap_mm, "at": look.at_mm}
    job.log_event(None, None, time.time(), "look", data)
    return LookAnswer(
        from_mm=look.from_mm,
        to_mm=look.to_mm,
        gap_mm=look.gap_mm,
        at_mm=look.at_mm,
        rocks=look.rocks,
        looks=len(looks_of(job)),
        text=words.kept(look.gap_mm, look.at_mm is None, look.rocks, job.units),
    )


def edge_through(
    outline: Outline, at: tuple[float, float], along_x: bool, length_mm: float, units: "Units"
) -> tuple[tuple[float, float], tuple[float, float]]:
    """Return both ends of a straightedge over a place, moved along itself to lie on the floor.

    Parameters
    ----------
    outline : Outline
    at : (x, y), mm
    along_x : bool
        Along x of the plan, else along y.
    length_mm : float
        Of the edge; where the floor is shorter there, it is as long as the floor.
    units : Units

    Raises
    ------
    BadInput
        The place is off the floor, or there is no room for an edge.
    """
    import shapely

    x0, y0, x1, y1 = outline.polygon.bounds
    (x, y), axis = at, 0 if along_x else 1
    across = [(x0 - 1.0, y), (x1 + 1.0, y)] if along_x else [(x, y0 - 1.0), (x, y1 + 1.0)]
    floor = outline.polygon.intersection(shapely.LineString(across))
    runs = [part.bounds for part in getattr(floor, "geoms", [floor]) if part.length > 0.0]
    run = next((one for one in runs if one[axis] <= at[axis] <= one[axis + 2]), None)
    if run is None:
        raise BadInput(say("That place is not on the floor."))
    low, high = run[axis] + 1.0, run[axis + 2] - 1.0
    half_mm = min(length_mm, high - low) / 2.0
    if 2.0 * half_mm < SHORTEST_MM:
        raise BadInput(
            say(
                "Between the walls there is room for an edge of {length} only there: lay it the "
                "other way.",
                length=units.place(2.0 * half_mm),
            )
        )
    middle = min(max(at[axis], low + half_mm), high - half_mm)
    if along_x:
        return (middle - half_mm, y), (middle + half_mm, y)
    return (x, middle - half_mm), (x, middle + half_mm)


def _look(data: "dict[str, object]") -> Looked:
    at = data["at"]
    return Looked(
        _place(data["from"]),
        _place(data["to"]),
        float(str(data["gap_mm"])),
        None if at is None else _place(at),
    )


def _place(told: object) -> tuple[float, float]:
    if not isinstance(told, Sequence):
        raise TypeError("a place is two lengths")
    x_mm, y_mm = told
    return float(x_mm), float(y_mm)


def _check(look: Looked, outline: Outline, job: "Job") -> None:
    import numpy as np

    units = job.units
    length_mm = math.dist(look.from_mm, look.to_mm)
    if not SHORTEST_MM <= length_mm <= LONGEST_MM:
        raise BadInput(
            say(
                "That edge is {length} long; one is {shortest_mm} to {longest_mm} long.",
                length=units.place(length_mm),
                shortest_mm=units.place(SHORTEST_MM),
                longest_mm=units.place(LONGEST_MM),
            )
        )
    ends = np.array([look.from_mm, look.to_mm])
    inside = contains(outline, ends[:, 0], ends[:, 1])
    if not inside.all():
        name = "--to" if inside[0] else "--from"
        raise BadInput(
            say("{name} lies outside the walls or in an opening: measure it again.", name=name)
        )
    if look.at_mm is None:
        return
    if not 0.0 < look.gap_mm <= MOST_GAP_MM:
        raise BadInput(
            say(
                "--gap {gap}: a gap under an edge is more than nothing and at most {most_gap_mm}.",
                gap=units.length(look.gap_mm),
                most_gap_mm=units.length(MOST_GAP_MM),
            )
        )
    share = look.share
    foot = np.add(look.from_mm, share * np.subtract(look.to_mm, look.from_mm))
    if math.dist(look.at_mm, foot) > BESIDE_MM:
        raise BadInput(
            say(
                "--at lies {dist} beside the edge: the gap is under it.",
                dist=units.place(math.dist(look.at_mm, foot)),
            )
        )
