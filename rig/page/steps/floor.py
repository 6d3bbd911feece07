"""The floor: its map with contours and doubt, and the height of any place that is tapped."""

from dataclasses import dataclass
from math import dist

from rig.errors import BadInput, RigError
from rig.language import say
from rig.page.drawn import look
from rig.page.told import Parts, parts
from rig.page.visit import NO_PART, Served, Step, Visit, narrow_to_place
from rig.record import Record
from rig.report.floor_part import FloorTold, floor_section
from rig.report.source import place_words
from rig.room import is_within
from rig.study.floor_answer import floor_answer, heights_at
from rig.study.picture import picture_of
from rig.study.plan_answer import stored_plan
from rig.study.room import outline_of
from rig.study.rooms import each_room

CONFIDENCE = 0.95


@dataclass(frozen=True, slots=True, kw_only=True)
class FloorOfRoom(Record):
    """The floor of a room, or why it cannot be told; its name where there are several."""

    name: str = ""
    told: Parts | None = None
    trouble: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class FloorView(Record):
    """What the page of the floor shows."""

    rooms: tuple[FloorOfRoom, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceView(Record):
    """A place that was tapped."""

    where: str
    height: str
    doubt: str
    cover: str
    shot: str
    away: str


class _Floor(Step):
    key = "floor"

    def view(self, visit: Visit) -> FloorView:
        if not visit.in_house:
            return FloorView(rooms=(FloorOfRoom(told=_told(visit)),))
        found = []
        with each_room(visit.job) as rooms:
            for name, _ in zip(visit.rooms, rooms, strict=True):
                try:
                    found.append(FloorOfRoom(name=name, told=_told(visit, name)))
                except RigError as error:
                    found.append(FloorOfRoom(name=name, trouble=str(error)))
        return FloorView(rooms=tuple(found))

    def part(self, visit: Visit, part: str) -> "tuple[str, object] | Served":
        if part != "at":
            raise BadInput(NO_PART)
        return "place.html", place_view(visit)


def _told(visit: Visit, name: str = "") -> Parts:
    """Tell the floor of the room that the job is narrowed to."""
    outline, units = outline_of(visit.job), visit.units
    picture = picture_of(visit.job, outline, CONFIDENCE)
    told = FloorTold(
        answer=floor_answer(visit.job, picture),
        picture=picture,
        look=look(units),
        units=units,
        where=lambda x, y: place_words(outline, x, y, units),
        drawn=True,
    )
    return parts([floor_section(told)], name)


def place_view(visit: Visit) -> PlaceView:
    """Tell the height of the floor at a place, its doubt, and its cover where there is a plan."""
    units = visit.units
    x, y = visit.place(say("Tap a place, or type it."))
    narrow_to_place(visit, x, y)
    outline = outline_of(visit.job)
    if not is_within(outline, x, y):
        raise BadInput(say("That place is not in the room."))
    plan = stored_plan(visit.job)
    # The plan's own picture is the last that was made where its page is tapped.
    picture = picture_of(visit.job, outline, CONFIDENCE if plan is None else plan.wish.confidence)
    (found,) = heights_at(picture, [x], [y])
    cover = ""
    if plan is not None:
        plane = plan.answer.plane
        cover = units.length(plane.a + plane.b * x + plane.c * y - found.z_mm)
    near = min(
        (one for one in visit.job.shots(kinds=["floor"]) if one.x_mm is not None),
        key=lambda one: dist((one.x_mm or 0.0, one.y_mm or 0.0), (x, y)),
    )
    away_mm = dist((near.x_mm or 0.0, near.y_mm or 0.0), (x, y))
    return PlaceView(
        shot=near.point,
        away=units.place(away_mm),
        where=place_words(outline, x, y, units),
        height=units.length(-found.z_mm),
        doubt=units.doubt(2 * found.stderr_mm),
        cover=cover,
    )


STEP = _Floor()
