"""The room: its plan, its doors and openings, what it measures."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from math import dist
from typing import TypeVar

from markupsafe import Markup

from rig.errors import BadInput
from rig.language import say
from rig.page.drawn import look, markup
from rig.page.visit import NO_ACT, Step, Visit
from rig.record import Record
from rig.room import Outline, Point, from_rings, named_walls, room, with_door, with_opening
from rig.room.geometry import along, distance, segments
from rig.study.described import refuse_no_room
from rig.study.findings import outside_warnings
from rig.study.room import outline_of, set_outline
from rig.units import Units
from rig.words.room import size_warnings

T = TypeVar("T")


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomView(Record):
    """What the page of the room shows."""

    drawing: Markup
    facts: tuple[tuple[str, str], ...]
    walls: tuple[tuple[str, str], ...]
    doors: tuple[str, ...]
    openings: tuple[str, ...]
    warnings: tuple[str, ...]


class _Room(Step):
    key = "room"
    of_house = "rooms"

    def view(self, visit: Visit) -> RoomView:
        from rig.drawing.points import room_drawing

        outline, units = outline_of(visit.job), visit.units
        warned = size_warnings(outline, units)
        for kind in ("floor", "finished"):
            warned += outside_warnings(visit.job, outline, kind)
        return RoomView(
            drawing=markup(room_drawing(outline, look(units))),
            facts=(
                ("Floor", units.area(outline.area_m2)),
                ("Walls", units.place(outline.perimeter_mm)),
            ),
            walls=tuple(_walls(outline, units)),
            doors=tuple(
                say("{width} wide", width=units.place(door.width_mm)) for door in outline.doors
            ),
            openings=tuple(_size(ring, units) for ring in outline.openings),
            warnings=tuple(warned),
        )

    def act(self, visit: Visit, act: str) -> str:
        outline = outline_of(visit.job)
        changed = _changed(visit, outline, act)
        refuse_no_room(changed, visit.units)
        set_outline(visit.job, changed)
        return ""


def _changed(visit: Visit, outline: Outline, act: str) -> Outline:
    form = visit.form
    match act.partition(" "):
        case "door", _, _:
            return _with_door(visit, outline)
        case "opening", _, _:
            return _with_opening(visit, outline)
        case "drop-door", _, n if n.isdigit():
            return replace(outline, doors=_without(outline.doors, int(n)))
        case "drop-opening", _, n if n.isdigit():
            return from_rings(outline.walls, _without(outline.openings, int(n)), outline.doors)
        case "size", _, _:
            wide = form.length(
                "width", say("The width"), visit.room_unit, needed=say("How wide?"), above=0
            )
            long = form.length(
                "depth", say("The length"), visit.room_unit, needed=say("How long?"), above=0
            )
            form.check()
            return from_rings(room(wide or 0, long or 0).walls, outline.openings, outline.doors)
    raise BadInput(NO_ACT)


def _with_door(visit: Visit, outline: Outline) -> Outline:
    """Put a door into a wall, so far from the wall's start, or around the place tapped."""
    form, unit = visit.form, visit.room_unit
    width = form.length(
        "door_width", say("The door"), unit, needed=say("How wide is it?"), above=0.0
    )
    away = form.length("away", say("The distance"), unit, minimum=0.0)
    x, y = form.length("x", say("The place"), unit), form.length("y", say("The place"), unit)
    wall = form.whole("wall", say("The wall"), 1, len(outline.walls))
    form.check()
    assert width is not None
    if wall is None:
        if x is None or y is None:
            form.wrong["wall"] = say("Tap the wall that the door is in, or pick it here.")
            form.check()
        assert x is not None
        assert y is not None
        wall = _nearest(outline, (x, y))
    a, b = list(segments(outline.walls))[wall - 1]
    long = dist(a, b)
    if away is None:
        away = (long - width) / 2 if x is None or y is None else along((x, y), a, b) - width / 2
        away = min(max(away, 0.0), max(long - width, 0.0))
    share = away / long
    with form.at("door_width"):
        x, y = a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])
        return with_door(outline, x, y, width, visit.units)


def _with_opening(visit: Visit, outline: Outline) -> Outline:
    form, unit = visit.form, visit.room_unit
    wide = form.length("wide", say("The width"), unit, needed=say("How wide is it?"), above=0.0)
    deep = form.length("deep", say("The depth"), unit, needed=say("How deep is it?"), above=0.0)
    x, y = visit.place(say("Tap the place, or say where it is."))
    assert wide is not None
    assert deep is not None
    with form.at("wide"):
        return with_opening(outline, x - wide / 2, y - deep / 2, wide, deep)


def _walls(outline: Outline, units: Units) -> Iterator[tuple[str, str]]:
    for n, (name, a, b) in enumerate(named_walls(outline), 1):
        yield str(n), f"{name}, {units.place(dist(a, b))}"


def _size(ring: Sequence[tuple[float, float]], units: Units) -> str:
    xs, ys = [x for x, _ in ring], [y for _, y in ring]
    return say("{xs} by {ys}", xs=units.place(max(xs) - min(xs)), ys=units.place(max(ys) - min(ys)))


def _without(these: tuple[T, ...], n: int) -> tuple[T, ...]:
    return these[:n] + these[n + 1 :]


def _nearest(outline: Outline, at: Point) -> int:
    off = [distance(at, a, b) for a, b in segments(outline.walls)]
    return 1 + off.index(min(off))


STEP = _Room()
