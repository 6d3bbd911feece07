"""What a job's room is: area, walls and corners, and what an edit of it changes."""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from rig.record import OMITTED, Record

if TYPE_CHECKING:
    from rig.job.rows import Ring
    from rig.job.store import Job
    from rig.quantities.materials import Rule
    from rig.room import Outline


@dataclass(frozen=True, slots=True, kw_only=True)
class Corner(Record):
    """A corner of the walls, in mm."""

    x_mm: float
    y_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Wall(Record):
    """A wall as places are told from it: its name, its ends and its length, in mm."""

    name: str
    x_mm: float
    y_mm: float
    end_x_mm: float
    end_y_mm: float
    length_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomAnswer(Record):
    """A job's room, as `rig new --json` and `rig edit --json` print it.

    Attributes
    ----------
    job : str
        Path of the job file.
    area_m2, perimeter_mm : float
    corners : tuple of Corner
    walls : tuple of Wall
        As they are called.
    closing_mm : float or None
        How far walls that were paced out failed to close.
    materials : mapping of str to float or None
        Rules that were changed, and what to.
    warnings : tuple of str or None
    """

    job: str
    area_m2: float
    perimeter_mm: float
    corners: tuple[Corner, ...]
    walls: tuple[Wall, ...]
    closing_mm: float | None = field(default=None, metadata=OMITTED)
    materials: Mapping[str, float] | None = field(default=None, metadata=OMITTED)
    warnings: tuple[str, ...] | None = field(default=None, metadata=OMITTED)


def room_answer(
    path: str,
    outline: "Outline",
    closing_mm: float | None,
    rules: "Iterable[Rule]" = (),
    warnings: Iterable[str] | None = None,
) -> RoomAnswer:
    """Tell what a room is like; `rules` and `warnings` are those of an edit."""
    changed = {rule.key: rule.amount for rule in rules}
    return RoomAnswer(
        job=path,
        area_m2=outline.area_m2,
        perimeter_mm=outline.perimeter_mm,
        corners=tuple(Corner(x_mm=x, y_mm=y) for x, y in outline.walls),
        walls=_walls(outline),
        closing_mm=closing_mm,
        materials=changed or None,
        warnings=None if warnings is None else tuple(warnings),
    )


def _walls(outline: "Outline") -> tuple[Wall, ...]:
    from rig.room import named_walls

    return tuple(
        Wall(
            name=name,
            x_mm=x,
            y_mm=y,
            end_x_mm=end_x,
            end_y_mm=end_y,
            length_mm=math.hypot(end_x - x, end_y - y),
        )
        for name, (x, y), (end_x, end_y) in named_walls(outline)
    )


def outline_of(job: "Job") -> "Outline":
    """Return the job's outline with openings and doors.

    Of a job with several rooms that of the one it is narrowed to, else of all as one.
    """
    if job.room is not None:
        return job.room.outline
    if not job.settings.rooms:
        return first_outline(job)
    from rig.study.rooms import house_outline

    return house_outline(job)


def first_outline(job: "Job") -> "Outline":
    """Return the outline of the job's first room."""
    return stored_outline(*job.outline_rings(), job.settings.wall_names)


def stored_outline(
    walls: "Ring",
    openings: "Sequence[Ring]",
    doors: Sequence[tuple[float, float, float, float]],
    wall_names: Mapping[str, str],
) -> "Outline":
    """Return an outline by what a job stores of it; its walls are counted from 1 there."""
    from rig.room import Door, from_rings

    names = {int(number) - 1: name for number, name in wall_names.items()}
    return from_rings(walls, openings, tuple(Door(*door) for door in doors), names)


def stored_names(outline: "Outline") -> dict[str, str]:
    """Return the names of an outline's walls as a job stores them."""
    return {str(k + 1): name for k, name in outline.wall_names.items()}


def set_outline(job: "Job", outline: "Outline") -> None:
    """Keep an outline in place of the one there, and what its walls are called.

    Raises
    ------
    BadInput
        Where it would overlap another room, or the job has several and none is chosen.
    """
    settings = job.settings
    if settings.rooms:
        from rig.study.rooms import change_outline

        change_outline(job, outline)
        return
    set_first_outline(job, outline)


def set_first_outline(job: "Job", outline: "Outline") -> None:
    """Keep an outline of the first room."""
    job.set_outline(outline.walls, outline.openings, outline.doors)
    job.update_settings(replace(job.settings, wall_names=stored_names(outline)))


def with_renamed(outline: "Outline", renames: Iterable[tuple[str, str]]) -> "Outline":
    """
    Outline whose walls have other names.

    Parameters
    ----------
    outline : Outline
    renames : iterable of (old, new)
        What a wall is called and what it is to be called, one after the other; an empty new one
        gives it the tool's own word again.

    Raises
    ------
    BadInput
        There is no such wall, or another has that name.
    """
    from rig.room import renamed

    for old, new in renames:
        names = renamed(outline.sides, outline.wall_names, old, new)
        outline = replace(outline, wall_names=names)
    return outline
