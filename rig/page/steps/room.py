"""The room: its plan, its doors and openings, what it measures."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import dist

from markupsafe import Markup

from rig.errors import BadInput
from rig.page.jobs import room_markup
from rig.page.visit import NO_ACT, Step, Visit
from rig.record import Record
from rig.room import Outline, from_rings, with_door, with_opening
from rig.study.described import refuse_no_room
from rig.study.findings import outside_warnings
from rig.study.room import outline_of, set_outline
from rig.units import Units
from rig.words.room import size_warnings


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

    def view(self, visit: Visit) -> RoomView:
        outline, units = outline_of(visit.job), visit.units
        warned = size_warnings(outline, units)
        for kind in ("floor", "finished"):
            warned += outside_warnings(visit.job, outline, kind)
        return RoomView(
            drawing=Markup(room_markup(outline, units)),
            facts=(
                ("Floor", units.area(outline.area_m2)),
                ("Walls", units.place(outline.perimeter_mm)),
            ),
            walls=tuple(_walls(outline, units)),
            doors=tuple(
                f"{units.place(dist((d.x_mm, d.y_mm), (d.end_x_mm, d.end_y_mm)))} wide"
                for d in outline.doors
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
            wide = form.length("width", "The width", visit.room_unit, needed="How wide?", above=0)
            long = form.length("depth", "The length", visit.room_unit, needed="How long?", above=0)
            form.check()
            from rig.room import room

            return from_rings(room(wide or 0, long or 0).walls, outline.openings, outline.doors)
    raise BadInput(NO_ACT)


def _with_door(visit: Visit, outline: Outline) -> Outline:
    """Put a door into a wall, so far from the wall's start, or around the place tapped."""
    form, unit = visit.form, visit.room_unit
    width = form.length("door_width", "The door", unit, needed="How wide is it?", above=0.0)
    away = form.length("away", "The distance", unit, minimum=0.0)
    x, y = form.mm("x"), form.mm("y")
    wall = form.whole("wall", "The wall", 1, len(outline.walls))
    form.check()
    assert width is not None
    if wall is None:
        if x is None or y is None:
            form.wrong["wall"] = "Tap the wall that the door is in, or pick it here."
            form.check()
        assert x is not None
        assert y is not None
        wall = _nearest(outline, x, y)
    a, b = outline.walls[wall - 1], outline.walls[wall % len(outline.walls)]
    long = dist(a, b)
    if away is None:
        away = (long - width) / 2 if x is None or y is None else _along(a, b, x, y) - width / 2
        away = min(max(away, 0.0), max(long - width, 0.0))
    share = away / long
    with form.at("door_width"):
        x, y = a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])
        return with_door(outline, x, y, width, visit.units)


def _with_opening(visit: Visit, outline: Outline) -> Outline:
    form, unit = visit.form, visit.room_unit
    wide = form.length("wide", "The width", unit, needed="How wide is it?", above=0.0)
    deep = form.length("deep", "The depth", unit, needed="How deep is it?", above=0.0)
    x = form.length("x", "The place", unit, needed="Tap the place, or say where it is.")
    y = form.length("y", "The place", unit, needed="Tap the place, or say where it is.")
    form.check()
    assert wide is not None
    assert deep is not None
    assert x is not None
    assert y is not None
    with form.at("wide"):
        return with_opening(outline, x - wide / 2, y - deep / 2, wide, deep)


def _walls(outline: Outline, units: Units) -> "list[tuple[str, str]]":
    names = {(a, b): name for name, a, b in _named(outline)}
    walls = outline.walls
    told = []
    for n, a in enumerate(walls):
        b = walls[(n + 1) % len(walls)]
        name = names.get((a, b), names.get((b, a), f"wall {n + 1}"))
        told.append((str(n + 1), f"{name}, {units.place(dist(a, b))}"))
    return told


def _named(outline: Outline) -> "list[tuple[str, tuple[float, float], tuple[float, float]]]":
    from rig.room import named_walls

    return named_walls(outline)


def _size(ring: Sequence[tuple[float, float]], units: Units) -> str:
    xs, ys = [x for x, _ in ring], [y for _, y in ring]
    return f"{units.place(max(xs) - min(xs))} by {units.place(max(ys) - min(ys))}"


def _without(these: tuple[object, ...], n: int) -> tuple:  # type: ignore[type-arg]
    return these[:n] + these[n + 1 :]


def _nearest(outline: Outline, x: float, y: float) -> int:
    walls = outline.walls
    return 1 + min(
        range(len(walls)), key=lambda n: _off(walls[n], walls[(n + 1) % len(walls)], x, y)
    )


def _along(a: tuple[float, float], b: tuple[float, float], x: float, y: float) -> float:
    return ((x - a[0]) * (b[0] - a[0]) + (y - a[1]) * (b[1] - a[1])) / dist(a, b)


def _off(a: tuple[float, float], b: tuple[float, float], x: float, y: float) -> float:
    at = min(max(_along(a, b, x, y) / dist(a, b), 0.0), 1.0)
    return dist((x, y), (a[0] + at * (b[0] - a[0]), a[1] + at * (b[1] - a[1])))


STEP = _Room()
