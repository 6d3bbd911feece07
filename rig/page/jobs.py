"""The list of jobs, and a new one: a rectangle, or walls paced out one after the other."""

import time
from dataclasses import dataclass
from math import hypot

from rig.errors import BadInput, RigError
from rig.job.folder import JobFolder
from rig.job.settings import Settings
from rig.job.store import Job
from rig.language import join, say
from rig.page.visit import NO_ACT, Form, room_unit
from rig.page.work import Work
from rig.record import Record
from rig.study.steps import stands_of
from rig.units import Units, with_point
from rig.words.clock import when


@dataclass(frozen=True, slots=True, kw_only=True)
class JobRow(Record):
    """A job as the list shows it; `trouble` says why it cannot be opened."""

    name: str
    text: str
    when: str = ""
    working: bool = False
    trouble: str = ""


def jobs_view(folder: JobFolder, work: Work) -> list[JobRow]:
    """Return the jobs of a folder, the one that was touched last first."""
    rows = []
    for name in folder.names():
        try:
            with Job.open(folder.file(name), wait_s=0.2) as job:
                told = stands_of(job)
        except RigError as error:
            rows.append(JobRow(name=name, text="", trouble=str(error)))
            continue
        stopped = "" if told.last_utc_s is None else when(told.last_utc_s, time.time())
        rows.append(JobRow(name=name, text=told.text, when=stopped, working=work.at(name)))
    return rows


def act(folder: JobFolder, work: Work, form: Form) -> None:
    """Copy, rename or put away a job."""
    name, new = form.text("job"), form.text("new")
    if work.at(name) and form.text("act") != "copy":
        raise BadInput(say("A session is at work on this job: stop it first."))
    match form.text("act"):
        case "copy":
            folder.copy(name, new)
        case "rename":
            folder.rename(name, new)
        case "archive":
            folder.put_away(name)
        case _:
            raise BadInput(NO_ACT)


# --- a new job ---------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Paced(Record):
    """Walls paced out so far, and what the next would be."""

    walls: tuple[str, ...]
    drawing: str
    closing: str
    closes: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class NewView(Record):
    """What the page of a new job shows."""

    shape: str
    unit: str
    paced: Paced


def _units(form: Form) -> Units:
    return Units("mm" if form.text("units") == "mm" else "in")


def new_view(form: Form) -> NewView:
    """Return what the page of a new job shows of what was typed so far."""
    shape = "walls" if form.text("shape") == "walls" else "rectangle"
    units = _units(form)
    return NewView(shape=shape, unit=room_unit(units), paced=paced(form.text("walls"), units))


def make(folder: JobFolder, form: Form) -> str | None:
    """Make the job that a form describes and return its name; None where a wall was paced.

    Raises
    ------
    RigError
        Where something in it is wrong.
    """
    units = _units(form)
    match form.text("act"):
        case "left" | "right" as turn:
            _pace(form, room_unit(units), turn)
            return None
        case "back":
            walls = _walls(form.text("walls"))
            form.fields = {**form.fields, "walls": join(" ", walls[:-1])}
            return None
    return _made(folder, form, units)


def _pace(form: Form, unit: str, turn: str) -> None:
    """Add a wall and the turn at its end."""
    form.length("length", say("The wall"), unit, needed=say("How long is this wall?"), above=0.0)
    form.check()
    length = with_point(form.text("length"), unit)
    if length.replace(".", "", 1).isdigit():
        length = f"{length}{unit}"
    walls = f"{form.text('walls')} {length} {turn}".strip()
    form.fields = {**form.fields, "walls": walls, "length": ""}


def _made(folder: JobFolder, form: Form, units: Units) -> str:
    from rig.room import from_walls, room
    from rig.study.described import refuse_no_room

    name = form.name("name", say("The job's name"))
    if name is not None:
        with form.noted("name"):
            folder.free(name)
    if form.text("shape") == "walls":
        with form.noted("length"):
            outline, _ = from_walls(form.text("walls"))
    else:
        unit = room_unit(units)
        wide = form.length(
            "width", say("The width"), unit, needed=say("How wide is it?"), above=0.0
        )
        long = form.length(
            "depth", say("The length"), unit, needed=say("How long is it?"), above=0.0
        )
        form.check()
        assert wide is not None
        assert long is not None
        outline = room(wide, long)
    form.check()
    assert name is not None
    refuse_no_room(outline, units)
    file = folder.free(name)
    with Job.create(file, Settings(units=units.system), outline.walls):
        pass
    return file.stem


def _walls(text: str) -> list[str]:
    """The walls of a walk, each with its turn."""
    import re

    return [found[0].strip() for found in re.finditer(r"[^a-zA-Z]*?.*?\b(?:left|right)\b", text)]


def paced(text: str, units: Units) -> Paced:
    """Draw walls that are not closed yet, and tell how far their end is from the start."""
    from rig.room import MOST_CLOSING, walk_so_far

    walls = _walls(text)
    try:
        ends = walk_so_far(text) if walls else []
    except BadInput:  # making the job tells what is wrong
        ends = []
    if not ends:
        return Paced(walls=tuple(walls), drawing="", closing="", closes=False)
    x, y, walked_mm = ends[-1]
    missed_mm = hypot(x, y)
    return Paced(
        walls=tuple(walls),
        drawing=_drawn([(0.0, 0.0), *((x, y) for x, y, _ in ends)]),
        closing=units.place(missed_mm) if len(ends) > 1 else "",
        closes=len(walls) >= 3 and missed_mm <= MOST_CLOSING * walked_mm,
    )


def _drawn(ends: list[tuple[float, float]]) -> str:
    """Points of a polyline in a drawing of 100 by 60, y up."""
    xs, ys = [x for x, _ in ends], [y for _, y in ends]
    size = max(max(xs) - min(xs), (max(ys) - min(ys)) * 100 / 60, 1.0)
    scale = 92.0 / size
    return join(
        " ", (f"{4 + (x - min(xs)) * scale:.1f},{56 - (y - min(ys)) * scale:.1f}" for x, y in ends)
    )
