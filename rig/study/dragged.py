"""Slides of the rod between shots: what is to be slid, and what slides tell of the floor."""

from dataclasses import replace
from typing import TYPE_CHECKING

from rig.errors import BadInput
from rig.events import Dragged
from rig.study.acts import kept_in, standing
from rig.study.lasers import shots_of
from rig.study.looked import looks_of
from rig.study.room import outline_of
from rig.surface.looked import Looked
from rig.surface.trend import Bells
from rig.survey.heights import heights_of
from rig.words import say

if TYPE_CHECKING:
    from rig.job.store import Job
    from rig.survey.heights import Heights

SHORTEST_MM, LONGEST_MM = 300.0, 6000.0
SAME_PLACE_MM = 1.0
_NEAR = 6


def rise_between(job: "Job", start: str, end: str) -> "tuple[Heights, float, float]":
    """Return two shots to slide between, how high the second is over the first, and its doubt.

    Raises
    ------
    BadInput
        Where one has no shot, or they are too near or too far from each other.
    """
    import numpy as np

    heights = heights_of(shots_of(job), "floor", job.setups(), outline_of(job))
    rows = []
    for label in (start, end):
        known = [n for n, one in enumerate(heights.labels) if one.upper() == label.upper()]
        if not known:
            raise BadInput(
                say(
                    "{label} has no shot of the floor: --drag goes from one shot to another.",
                    label=label,
                )
            )
        rows.append(known[-1])
    units = job.units
    both = _rows(heights, rows)
    length_mm = float(np.hypot(*np.diff([both.x_mm, both.y_mm])[:, 0]))
    if not SHORTEST_MM <= length_mm <= LONGEST_MM:
        raise BadInput(
            say(
                "{start} and {end} are {length} apart: a slide is {shortest} to {longest} long.",
                start=start,
                end=end,
                length=units.place(length_mm),
                shortest=units.place(SHORTEST_MM),
                longest=units.place(LONGEST_MM),
            )
        )
    return both, float(both.z_mm[1] - both.z_mm[0]), float(np.hypot(*both.stderr_mm))


def ends_beside(job: "Job", *places: tuple[float, float]) -> tuple[str, str]:
    """Return the labels of two shots with the first of some places between them; else none."""
    import numpy as np

    shots = [one for one in job.shots(["floor"]) if one.x_mm is not None]
    if not places or len(shots) < 2:
        return "", ""
    at = np.array([(one.x_mm, one.y_mm) for one in shots], dtype=float) - places[0]
    away = np.hypot(*at.T)
    near = np.argsort(away)[:_NEAR]
    # The pair whose line comes nearest to the place, of those that lie on both sides of it.
    best, ends = np.inf, ("", "")
    for n, i in enumerate(near):
        for j in near[:n]:
            along = at[i] - at[j]
            length_mm = float(np.hypot(*along))
            if at[i] @ at[j] >= 0.0 or length_mm < SHORTEST_MM:
                continue
            beside = abs(float(along[0] * at[j][1] - along[1] * at[j][0])) / length_mm
            if beside + 0.1 * length_mm < best:
                best = beside + 0.1 * length_mm
                ends = shots[j].point, shots[i].point
    return ends


def drags_of(job: "Job") -> tuple[Dragged, ...]:
    """Return the slides of a job that were not taken back.

    Raises
    ------
    JobUnusable
        One is not as floor-rig writes it.
    """
    return tuple(kept_in(one, Dragged, say("slide of the rod")) for one in standing(job, ["drag"]))


def every_look(job: "Job") -> tuple[Looked, ...]:
    """Return all that was looked at between the shots, by straightedge or slide."""
    return (*looks_of(job), *looked_at(drags_of(job)))


def looked_at(drags: "tuple[Dragged, ...]") -> tuple[Looked, ...]:
    """Return what slides rule out of unseen humps and dips, as looks."""
    return tuple(
        Looked(one.from_mm, one.to_mm, seen_mm=one.stderr_mm, profile_mm=one.off_mm)
        for one in drags
    )


def with_found(heights: "Heights", drags: "tuple[Dragged, ...]") -> "Heights":
    """Return heights with the humps and dips that slides found.

    One stands over the line between the shots at its ends as they are now: it goes with them, and
    has their doubt too. Where such a shot is gone, so is what hung on it.
    """
    import numpy as np

    rows: list[tuple[str, float, float, float, float]] = []
    for drag in drags:
        ends = [_at(heights, place) for place in (drag.from_mm, drag.to_mm)]
        a, b = ends
        if a is None or b is None:
            continue
        length_mm = np.hypot(*np.subtract(drag.to_mm, drag.from_mm))
        for found in drag.found:
            away_mm = np.hypot(found.x_mm - drag.from_mm[0], found.y_mm - drag.from_mm[1])
            share = float(away_mm / length_mm)
            z_mm = (1.0 - share) * heights.z_mm[a] + share * heights.z_mm[b] + found.off_mm
            label = f"{drag.label}-{drag.to}"
            rows.append((label, found.x_mm, found.y_mm, float(z_mm), found.stderr_mm))
    if not rows:
        return heights
    labels, x, y, z, doubt = zip(*rows, strict=True)
    return replace(
        heights,
        labels=(*heights.labels, *labels),
        x_mm=np.append(heights.x_mm, x),
        y_mm=np.append(heights.y_mm, y),
        z_mm=np.append(heights.z_mm, z),
        stderr_mm=np.append(heights.stderr_mm, doubt),
    )


def bells_of(fitted: "Heights", drags: "tuple[Dragged, ...]") -> Bells:
    """Return the humps and dips that slides found, of which heights that are fitted hold one."""
    return tuple(
        (found.x_mm, found.y_mm, found.radius_mm)
        for drag in drags
        for found in drag.found
        if _at(fitted, (found.x_mm, found.y_mm)) is not None
    )


def _at(heights: "Heights", place: tuple[float, float]) -> int | None:
    """Return which height stands at a place, the last one where there are several."""
    import numpy as np

    away = np.hypot(heights.x_mm - place[0], heights.y_mm - place[1])
    near = np.flatnonzero(away <= SAME_PLACE_MM)
    return int(near[-1]) if len(near) else None


def _rows(heights: "Heights", rows: list[int]) -> "Heights":
    return replace(
        heights,
        labels=tuple(heights.labels[n] for n in rows),
        x_mm=heights.x_mm[rows],
        y_mm=heights.y_mm[rows],
        z_mm=heights.z_mm[rows],
        stderr_mm=heights.stderr_mm[rows],
    )
