"""The room: its plan, its doors and openings, what it measures."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from math import dist
from typing import TypeVar

from markupsafe import Markup

from rig.errors import BadInput
from rig.language import put, say
from rig.page.drawn import look, markup
from rig.page.shapes import ShapeView, paces, shape_of, shape_view
from rig.page.visit import MOST_UPLOAD, NO_ACT, Step, Visit
from rig.record import Record
from rig.room import Outline, Point, from_rings, moved_to, named_walls, with_door, with_opening
from rig.room.geometry import along, distance, segments
from rig.study.described import refuse_no_room, with_kept
from rig.study.findings import outside_warnings, what_becomes
from rig.study.room import outline_of, set_outline, with_renamed
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
    shape: ShapeView


class _Room(Step):
    key = "room"
    of_house = "rooms"
    most_upload = MOST_UPLOAD

    def view(self, visit: Visit) -> RoomView:
        from rig.drawing.points import room_drawing

        outline, units = outline_of(visit.job), visit.units
        warned = size_warnings(outline, units)
        for kind in ("floor", "finished"):
            warned += outside_warnings(visit.job, outline, kind)
        return RoomView(
            drawing=markup(room_drawing(outline, look(units))),
            facts=(
                (say("Floor"), units.area(outline.area_m2)),
                (say("Walls"), units.place(outline.perimeter_mm)),
            ),
            walls=tuple(_walls(outline, units)),
            doors=tuple(
                say("{width} wide", width=units.place(door.width_mm)) for door in outline.doors
            ),
            openings=tuple(_size(ring, units) for ring in outline.openings),
            warnings=tuple(warned),
            shape=shape_view(visit.form, units),
        )

    def act(self, visit: Visit, act: str) -> str | None:
        if paces(visit.form, visit.units):
            return None
        outline = outline_of(visit.job)
        changed = _changed(visit, outline, act)
        refuse_no_room(changed, visit.units)
        visit.form.confirm(what_becomes(visit.job, outline, changed))
        with visit.job.together(say("nothing was changed")):
            set_outline(visit.job, changed)
        return ""


def _changed(visit: Visit, outline: Outline, act: str) -> Outline:
    match act.partition(" "):
        case "door", _, _:
            return _with_door(visit, outline)
        case "opening", _, _:
            return _with_opening(visit, outline)
        case "drop-door", _, n if n.isdigit():
            return replace(outline, doors=_without(outline.doors, int(n)))
        case "drop-opening", _, n if n.isdigit():
            openings = _without(outline.openings, int(n))
            return from_rings(outline.walls, openings, outline.doors, outline.wall_names)
        case "name-wall", _, _:
            return _with_name(visit, outline)
        case "walls", _, _:
            return _with_walls(visit, outline)
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


def _with_name(visit: Visit, outline: Outline) -> Outline:
    """Call a wall as the user does; nothing typed gives it its first name again."""
    form = visit.form
    wall = form.whole("named", say("The wall"), 1, len(outline.walls))
    if wall is None:
        form.wrong.setdefault("named", say("Which wall?"))
    new = form.name("wall_name", say("The wall's name"), needed=False) or ""
    form.check()
    assert wall is not None
    with form.at("wall_name"):
        return with_renamed(outline, [(named_walls(outline)[wall - 1][0], new)])


def _with_walls(visit: Visit, outline: Outline) -> Outline:
    """Give the room other walls; its corner stays, and doors and openings that still fit."""
    form, units = visit.form, visit.units
    shape = shape_of(form, units)
    if form.text("shape") != "file":
        x, y = zip(*outline.walls, strict=True)
        shape = moved_to(shape, min(x), min(y))
    drop = bool(form.text("drop"))
    with form.at("drop"):
        return with_kept(shape, outline, not (drop or shape.openings), not drop, units)


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
        yield str(n), put("{name}, {size}", name=name, size=units.place(dist(a, b)))


def _size(ring: Sequence[tuple[float, float]], units: Units) -> str:
    xs, ys = [x for x, _ in ring], [y for _, y in ring]
    return say("{xs} by {ys}", xs=units.place(max(xs) - min(xs)), ys=units.place(max(ys) - min(ys)))


def _without(these: tuple[T, ...], n: int) -> tuple[T, ...]:
    return these[:n] + these[n + 1 :]


def _nearest(outline: Outline, at: Point) -> int:
    off = [distance(at, a, b) for a, b in segments(outline.walls)]
    return 1 + off.index(min(off))


STEP = _Room()
