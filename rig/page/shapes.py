"""The shape of a room as a form tells it: a rectangle, or walls paced out one after the other."""

import re
from dataclasses import dataclass
from math import hypot
from typing import TYPE_CHECKING

from rig.devices.typed import UNITS
from rig.errors import BadInput
from rig.language import join, say
from rig.page.visit import LONGEST_FIELD, Form, room_unit
from rig.record import Record
from rig.texts import text_of
from rig.units import Units, pointed, with_point

if TYPE_CHECKING:
    from rig.room import Outline


MOST_CORNERS = 500


@dataclass(frozen=True, slots=True, kw_only=True)
class Paced(Record):
    """Walls paced out so far, and what the next would be."""

    walls: tuple[str, ...]
    drawing: str
    closing: str
    closes: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class ShapeView(Record):
    """What a form shows of the shape of a room."""

    shape: str
    unit: str
    paced: Paced
    units: tuple[tuple[str, str], ...]
    kept: bool


def shape_view(form: Form, units: Units) -> ShapeView:
    """Return what a form shows of what was typed so far."""
    told = form.text("shape")
    return ShapeView(
        shape=told if told in ("walls", "file") else "rectangle",
        unit=room_unit(units),
        paced=paced(form.text("walls"), units),
        units=(("", say("say which")), *((one, one) for one in UNITS)),
        kept=bool(form.text("outline_kept")),
    )


def shape_of(form: Form, units: Units) -> "Outline":
    """Return the room that a form tells, with a corner at (0, 0); all else in it is checked too.

    Raises
    ------
    Wrong
        Something in the form is wrong.
    """
    from rig.room import from_walls, room

    match form.text("shape"):
        case "walls":
            with form.at("length"):
                return from_walls(form.text("walls"))[0]
        case "file":
            return _from_file(form)
    unit = room_unit(units)
    wide = form.length("width", say("The width"), unit, needed=say("How wide is it?"), above=0.0)
    long = form.length("depth", say("The length"), unit, needed=say("How long is it?"), above=0.0)
    form.check()
    assert wide is not None
    assert long is not None
    return room(wide, long)


def _from_file(form: Form) -> "Outline":
    """Return the outline of a file that was sent, or of one that was sent before.

    What it holds is kept in the form as WKT in mm, so that a form with something else wrong, or
    one that asks first, need not have it sent again.
    """
    from rig.room import from_text

    sent, kept, unit = form.files.get("outline"), form.text("outline_kept"), "mm"
    name = say("The file")
    if sent:
        unit = form.text("outline_unit")
        if unit not in UNITS:
            form.wrong["outline_unit"] = say("What are its numbers in?")
    elif not kept:
        form.wrong["outline"] = say("Pick the file.")
    outline = None
    if not form.wrong.keys() & {"outline", "outline_unit"}:
        with form.noted("outline"):
            text = text_of(sent, name, say("give WKT or CSV")) if sent else kept
            outline = from_text(text, name, unit)
            if len(outline.walls) + sum(map(len, outline.openings)) > MOST_CORNERS:
                raise BadInput(
                    say("A room on the phone has {most} corners at most.", most=MOST_CORNERS)
                )
            if len(outline.polygon_text) <= LONGEST_FIELD:
                form.fields = {**form.fields, "outline_kept": outline.polygon_text}
    form.check()
    assert outline is not None
    return outline


def paces(form: Form, units: Units) -> bool:
    """Add a wall to those paced out, or take the last one back, where that is what was tapped."""
    match form.text("act"):
        case "left" | "right" as turn:
            _pace(form, room_unit(units), turn)
        case "back":
            walls = _walls(form.text("walls"))
            form.fields = {**form.fields, "walls": join(" ", walls[:-1])}
        case _:
            return False
    return True


def _pace(form: Form, unit: str, turn: str) -> None:
    """Add a wall and the turn at its end."""
    form.length("length", say("The wall"), unit, needed=say("How long is this wall?"), above=0.0)
    form.check()
    length = with_point(pointed(form.text("length"), unit), unit)
    if length.replace(".", "", 1).isdigit():
        length = f"{length}{unit}"
    walls = f"{form.text('walls')} {length} {turn}".strip()
    form.fields = {**form.fields, "walls": walls, "length": ""}


def _walls(text: str) -> list[str]:
    """The walls of a walk, each with its turn."""
    return [found[0].strip() for found in re.finditer(r"[^a-zA-Z]*?.*?\b(?:left|right)\b", text)]


def _shown(walls: list[str]) -> tuple[str, ...]:
    told = []
    for wall in walls:
        length, _, turn = wall.rpartition(" ")
        left = turn == "left"
        told.append(say("{length} left" if left else "{length} right", length=length))
    return tuple(told)


def paced(text: str, units: Units) -> Paced:
    """Draw walls that are not closed yet, and tell how far their end is from the start."""
    from rig.room import MOST_CLOSING, walk_so_far

    walls = _walls(text)
    try:
        ends = walk_so_far(text) if walls else []
    except BadInput:  # making the job tells what is wrong
        ends = []
    if not ends:
        return Paced(walls=_shown(walls), drawing="", closing="", closes=False)
    x, y, walked_mm = ends[-1]
    missed_mm = hypot(x, y)
    return Paced(
        walls=_shown(walls),
        drawing=_drawn([(0.0, 0.0), *((x, y) for x, y, _ in ends)]),
        closing=units.place(missed_mm) if len(ends) > 1 else "",
        closes=len(walls) >= 3 and missed_mm <= MOST_CLOSING * walked_mm,
    )


def _drawn(ends: list[tuple[float, float]]) -> str:
    """Points of a polyline in a drawing of 100 by 60, y up."""
    xs, ys = [x for x, _ in ends], [y for _, y in ends]
    size = max(max(xs) - min(xs), (max(ys) - min(ys)) * 100 / 60, 1.0)
    scale = 92.0 / size
    return " ".join(
        f"{4 + (x - min(xs)) * scale:.1f},{56 - (y - min(ys)) * scale:.1f}" for x, y in ends
    )
