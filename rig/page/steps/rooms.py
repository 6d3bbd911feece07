"""The rooms of a job: one plan of all, each by its name; another behind a door or at a place."""

from dataclasses import dataclass

from markupsafe import Markup

from rig.errors import BadInput
from rig.language import say
from rig.page.drawn import look, markup
from rig.page.shapes import ShapeView, paces, shape_of, shape_view
from rig.page.visit import MOST_UPLOAD, NO_ACT, Form, Step, Visit
from rig.record import Record
from rig.room import Door, Outline, behind_door, doorways, moved_to
from rig.study.described import refuse_no_room
from rig.study.room import outline_of
from rig.study.rooms import (
    add_room,
    drop_room,
    everywhere,
    listed,
    names_of,
    refuse_name,
    rename_room,
    rooms_of,
)
from rig.units import Units
from rig.words import rooms as words

WALL_MM, WALL_IN_MM = 100.0, 114.3
"""How thick a wall between rooms usually is: 10 cm, or 4 1/2 in (common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomRow(Record):
    """A room as the list shows it."""

    name: str
    text: str
    first: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomsView(Record):
    """What the page of the rooms shows."""

    drawing: Markup
    rooms: tuple[RoomRow, ...]
    area: str
    doors: tuple[tuple[str, str], ...]
    wall: str
    shape: ShapeView
    warnings: tuple[str, ...]


class _Rooms(Step):
    key = "rooms"
    of_job = True
    most_upload = MOST_UPLOAD

    def view(self, visit: Visit) -> RoomsView:
        from rig.drawing.points import room_drawing

        units = visit.units
        with everywhere(visit.job) as job:
            told, doors = listed(job), _doors(rooms_of(job))
            drawing = room_drawing(outline_of(job), look(units), say("The rooms"))
        apart = [one.name for one in told.rooms if not one.joins]
        return RoomsView(
            drawing=markup(drawing),
            rooms=tuple(
                RoomRow(
                    name=one.name,
                    text=words.row(one.area_m2, one.joins, one.shots, units),
                    first=n == 0,
                )
                for n, one in enumerate(told.rooms)
            ),
            area=units.area(told.area_m2),
            doors=tuple(
                (f"{n}", words.door_of(name, k, door.width_mm, units))
                for n, (name, k, door) in enumerate(doors)
            ),
            wall=units.place(WALL_MM if units.is_metric else WALL_IN_MM),
            shape=shape_view(visit.form, units),
            warnings=tuple(words.joins_no_door(name) for name in apart * (len(told.rooms) > 1)),
        )

    def act(self, visit: Visit, act: str) -> str | None:
        form = visit.form
        if paces(form, visit.units):
            return None
        word, _, name = act.partition(" ")
        with everywhere(visit.job) as job:
            match word:
                case "add":
                    _add(visit)
                case "rename":
                    new = form.name("new", say("The room's name"))
                    form.check()
                    assert new is not None
                    with form.at("new"):
                        rename_room(job, name, new)
                case "drop":
                    visit.form.confirm(_gone(visit, name))
                    drop_room(job, name)
                case _:
                    raise BadInput(NO_ACT)
        return ""


def _add(visit: Visit) -> None:
    """Add the room that the form tells, behind a door or at a place of the plan."""
    form, units = visit.form, visit.units
    name = form.name("room", say("The room's name"))
    if name is not None:
        with form.noted("room"):
            refuse_name(names_of(visit.job), name)
    shape = shape_of(form, units)
    assert name is not None
    of_file = form.text("shape") == "file"
    door = "" if of_file else form.text("door")
    rooms = rooms_of(visit.job)
    if door:
        placed = _behind(form, shape, rooms, door, units)
    elif of_file and not form.text("x") and not form.text("y"):
        placed = shape
    else:
        asks = say("Pick the door that it is behind, or tap its corner.")
        placed = moved_to(shape, *visit.place(asks))
    refuse_no_room(placed, units)
    with form.at("door" if door else "x"):
        add_room(visit.job, name, placed, doorway=bool(door))


def _behind(
    form: Form, shape: Outline, rooms: list[tuple[str, Outline]], door: str, units: Units
) -> Outline:
    doors = _doors(rooms)
    if not (door.isascii() and door.isdigit() and int(door) < len(doors)):
        raise BadInput(say("There is no such door."))
    bare = "mm" if units.is_metric else "in"
    wall = form.length("wall_mm", say("The wall"), bare, minimum=0.0)
    left = form.length("left", say("The distance"), bare, needed=words.how_far_left(), minimum=0.0)
    form.check()
    assert left is not None
    name, _, found = doors[int(door)]
    usual = WALL_MM if units.is_metric else WALL_IN_MM
    with form.at("left"):
        return behind_door(dict(rooms)[name], shape, found, usual if wall is None else wall, left)


def _doors(rooms: list[tuple[str, Outline]]) -> list[tuple[str, int, Door]]:
    """Return every door that leads to no other room, with its room and its number there."""
    outward = {way.door for way in doorways(rooms) if len(way.rooms) == 1}
    return [
        (name, n, door)
        for name, one in rooms
        for n, door in enumerate(one.doors, 1)
        if door in outward
    ]


def _gone(visit: Visit, name: str) -> list[str]:
    """Tell what goes with a room."""
    found = [one for one in listed(visit.job).rooms if one.name == name]
    return [words.goes_with(one.name, one.shots) for one in found if one.shots]


STEP = _Rooms()
