"""The rooms of a job: one plan, one origin, each with its outline, its grid and its floor.

A job with one room knows nothing of this. With several, a job is narrowed to one by `in_room`:
its points, shots, plan and markers are then that room's alone, and every answer is of that room.
"""

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import cache
from typing import TYPE_CHECKING

from rig.errors import BadInput
from rig.job.rows import RoomView
from rig.job.settings import KeptRoom, Settings
from rig.language import join, say
from rig.record import Record
from rig.study.room import first_outline, set_first_outline, stored_names, stored_outline

if TYPE_CHECKING:
    from rig.job.store import Job
    from rig.room import Doorway, House, Outline

# What reckons with outlines is loaded when it is called: live capture waits for none of it.

FIRST = "room 1"
"""What the first room is called until it is given a name."""
MOST_ROOMS = 50

NamedRoom = tuple[str, "Outline"]


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomListed(Record):
    """A room of a job.

    Attributes
    ----------
    name : str
    area_m2, perimeter_mm : float
    x_mm, y_mm : float
        Its least x and y on the plan.
    joins : tuple of str
        Rooms that a doorway leads to.
    points, shots : int
    """

    name: str
    area_m2: float
    perimeter_mm: float
    x_mm: float
    y_mm: float
    joins: tuple[str, ...]
    points: int
    shots: int


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomsListed(Record):
    """The rooms of a job, as `rig room list --json` prints them."""

    rooms: tuple[RoomListed, ...]
    area_m2: float


def rooms_of(job: "Job") -> list[NamedRoom]:
    """Return every room of a job with its name, the first one first."""
    outlines = [first_outline(job), *(_outline(kept) for kept in job.settings.rooms)]
    return list(zip(names_of(job), outlines, strict=True))


def names_of(job: "Job") -> list[str]:
    """Return the names of a job's rooms."""
    settings = job.settings
    return [_first_name(settings), *(kept.name for kept in settings.rooms)]


def has_several(job: "Job") -> bool:
    """Whether a job has more rooms than one and is narrowed to none of them."""
    return job.room is None and bool(job.settings.rooms)


def house_outline(job: "Job") -> "House":
    """Return all rooms as one floor."""
    from rig.room import house_of

    return house_of(rooms_of(job))


def in_room(job: "Job", name: str | None) -> "Job":
    """Narrow a job to one of its rooms, or to none, and return it.

    Raises
    ------
    BadInput
        No such room.
    """
    job.room = None
    if name is None:
        return job
    found = _found(names_of(job), name)
    if has_several(job):
        job.room = next(view for view in _views(job) if view.name == found)
    return job


def _views(job: "Job") -> list[RoomView]:
    """Return all that a job with several rooms can be narrowed to."""
    house = house_outline(job)

    @cache
    def part(x_mm: float, y_mm: float) -> str:
        return house.part_at(x_mm, y_mm)[0]

    def view(name: str, number: int, outline: "Outline") -> RoomView:
        return RoomView(name, number, outline, lambda x_mm, y_mm: part(x_mm, y_mm) == name)

    numbers = [1, *(kept.number for kept in job.settings.rooms)]
    return [view(name, n, one) for (name, one), n in zip(house.rooms, numbers, strict=True)]


@contextmanager
def each_room(job: "Job") -> "Iterator[Iterator[Job]]":
    """Give a job narrowed to each of its rooms in turn; afterwards it is as it was."""
    before = job.room

    def narrowed() -> "Iterator[Job]":
        views: Iterable[RoomView | None] = _views(job) if has_several(job) else [before]
        for view in views:
            job.room = view
            yield job

    try:
        yield narrowed()
    finally:
        job.room = before


@contextmanager
def in_pour_order(job: "Job") -> "Iterator[Iterator[tuple[str, Job]]]":
    """Give a job narrowed to each of its rooms, with its name, in the order to pour them."""
    before = job.room

    def narrowed() -> "Iterator[tuple[str, Job]]":
        if not has_several(job):
            yield "", job
            return
        views = {view.name: view for view in _views(job)}
        for name in pour_order(job):
            job.room = views[name]
            yield name, job

    try:
        yield narrowed()
    finally:
        job.room = before


@contextmanager
def everywhere(job: "Job") -> "Iterator[Job]":
    """Give a job narrowed to no room; afterwards it is as it was."""
    before, job.room = job.room, None
    try:
        yield job
    finally:
        job.room = before


def refuse_several(job: "Job") -> None:
    """Refuse a job with several rooms where only one can be told of.

    Raises
    ------
    BadInput
        Naming the rooms.
    """
    if has_several(job):
        names = names_of(job)
        raise BadInput(
            say(
                "The job has the rooms {names}: say which, as --room {names_2!r}.",
                names=join(", ", names),
                names_2=names[0],
            )
        )


def add_room(job: "Job", name: str, outline: "Outline", *, doorway: bool = False) -> None:
    """Add a room to a job.

    Parameters
    ----------
    job : Job
        Open for writing.
    name : str
    outline : "Outline"
        On the job's plan.
    doorway : bool
        Whether a doorway of it must lead to another room.

    Raises
    ------
    BadInput
        A name that is there, an overlap, or a doorway that joins nothing.
    """
    from rig.room import house_of

    rooms = rooms_of(job)
    refuse_name(names_of(job), name)
    if len(rooms) >= MOST_ROOMS:
        raise BadInput(
            say(
                "A job has {most_rooms} rooms at most; make another job for the rest.",
                most_rooms=MOST_ROOMS,
            )
        )
    made = [*rooms, (name, outline)]
    house_of(made)
    if doorway:
        refuse_no_joint(made, name)
    settings = job.settings
    number = (settings.last_room or 1) + 1
    kept = (*settings.rooms, _kept(name, number, outline))
    job.update_settings(replace(settings, rooms=kept, last_room=number))


def refuse_no_joint(rooms: Sequence[NamedRoom], name: str) -> None:
    """Refuse a room none of whose doorways leads to another."""
    from rig.room import doorways

    if not any(name in way.rooms and len(way.rooms) == 2 for way in doorways(rooms)):
        raise BadInput(
            say(
                "The doorway joins {name} to no other room: it must lie on its wall where "
                "another room is behind it.",
                name=name,
            )
        )


def change_outline(job: "Job", outline: "Outline") -> None:
    """Put an outline in place of that of the room that a job is narrowed to."""
    from rig.room import house_of

    refuse_several(job)
    assert job.room is not None
    name = job.room.name
    made = [(one, outline if one == name else old) for one, old in rooms_of(job)]
    house_of(made)
    if job.room.is_first:
        set_first_outline(job, outline)
    else:
        settings = job.settings
        rooms = tuple(
            _kept(name, kept.number, outline) if kept.name == name else kept
            for kept in settings.rooms
        )
        job.update_settings(replace(settings, rooms=rooms))
    in_room(job, name)


def rename_room(job: "Job", old: str, new: str) -> None:
    """Give a room another name."""
    names = names_of(job)
    found = _found(names, old)
    if found.casefold() != new.casefold():
        refuse_name(names, new)
    settings = job.settings
    first = _first_name(settings)
    kept = tuple(
        replace(one, name=new) if one.name == found and found != first else one
        for one in settings.rooms
    )
    room_name = new if found == first else settings.room_name
    job.update_settings(replace(settings, room_name=room_name, rooms=kept))


def drop_room(job: "Job", name: str) -> None:
    """Take a room out of a job; its shots stay, and count nowhere.

    Raises
    ------
    BadInput
        No such room, or the first one, which the job began with.
    """
    found = _found(names_of(job), name)
    settings = job.settings
    if found == _first_name(settings):
        raise BadInput(
            say(
                "{found} is the room that the job began with, and stays: give it other walls "
                "with rig room edit, or make another job.",
                found=found,
            )
        )
    rooms = tuple(one for one in settings.rooms if one.name != found)
    job.update_settings(replace(settings, rooms=rooms))


def exit_of(job: "Job") -> tuple[float, float] | None:
    """Return where the crew leaves the room that a job is narrowed to, on the way out."""
    import shapely

    from rig.room import way_out

    assert job.room is not None
    ways = dict(way_out(rooms_of(job)))
    through = ways[job.room.name]
    if through is None:
        return None
    floor = job.room.outline.polygon
    inside, _ = shapely.get_coordinates(shapely.shortest_line(floor, shapely.Point(through)))
    return float(inside[0]), float(inside[1])


def pour_order(job: "Job") -> list[str]:
    """Return the rooms in the order to pour them, so that nobody is walled in."""
    from rig.room import way_out

    return [name for name, _ in way_out(rooms_of(job))]


def listed(job: "Job") -> RoomsListed:
    """Tell the rooms of a job."""
    from rig.room import doorways

    rooms = rooms_of(job)
    ways = doorways(rooms)
    told = []
    with each_room(job) as narrowed:
        for (name, outline), one in zip(rooms, narrowed, strict=True):
            x, y = zip(*outline.walls, strict=True)
            told.append(
                RoomListed(
                    name=name,
                    area_m2=outline.area_m2,
                    perimeter_mm=outline.perimeter_mm,
                    x_mm=min(x),
                    y_mm=min(y),
                    joins=_joins(ways, name),
                    points=len(one.points()),
                    shots=len(one.shots(kinds=["floor"])),
                )
            )
    return RoomsListed(rooms=tuple(told), area_m2=sum(one.area_m2 for one in told))


def _joins(ways: "Sequence[Doorway]", name: str) -> tuple[str, ...]:
    others = [one for way in ways if name in way.rooms for one in way.rooms if one != name]
    return tuple(dict.fromkeys(others))


def _found(names: Sequence[str], name: str) -> str:
    for one in names:
        if one.casefold() == name.strip().casefold():
            return one
    raise BadInput(
        say(
            "There is no room {name!r}; there is {names}.",
            name=name.strip()[:40],
            names=join(", ", names),
        )
    )


def refuse_name(names: Sequence[str], name: str) -> None:
    """Refuse a name that another room has."""
    if any(one.casefold() == name.casefold() for one in names):
        raise BadInput(
            say("There is a room {name} already; give this one another name.", name=name)
        )


def _first_name(settings: Settings) -> str:
    return settings.room_name or FIRST


def _outline(kept: KeptRoom) -> "Outline":
    return stored_outline(kept.walls, kept.openings, kept.doors, kept.wall_names)


def _kept(name: str, number: int, outline: "Outline") -> KeptRoom:
    return KeptRoom(
        name=name,
        number=number,
        walls=outline.walls,
        openings=outline.openings,
        doors=tuple((d.x_mm, d.y_mm, d.end_x_mm, d.end_y_mm) for d in outline.doors),
        wall_names=stored_names(outline),
    )
