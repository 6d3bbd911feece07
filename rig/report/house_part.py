"""A job with several rooms on paper: one sum, then a page a room; one list, one customer's page."""

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

from rig.errors import CannotAnswer
from rig.language import put
from rig.report.customer_part import Handed, HandedOver, handed, handed_over
from rig.report.document import Facts, Figure, Section, Table, Words, bullets, section
from rig.report.parts_alone import buy_list, first_that_fits, marker_sheets
from rig.report.plan_part import no_plan, plan_told, plane_section
from rig.report.source import Options, Source
from rig.study.house_plan import HousePlan, last_house_plan
from rig.study.plan_answer import stored_plan
from rig.study.rooms import each_room, listed
from rig.units import Units, format_asked
from rig.words import rooms as words
from rig.words import say, say_many

if TYPE_CHECKING:
    from rig.job.store import Job


def house_sections(job: "Job", options: Options, name: str) -> list[Section]:
    """Tell all rooms of a job, the sum first, then each on a page of its own.

    Parameters
    ----------
    job : Job
        Narrowed to no room.
    options : Options
    name : str
        Of the job.
    """
    found = [_sum(job)]
    with each_room(job) as rooms:
        for n, one in enumerate(rooms, 1):
            assert one.room is not None
            source = Source(one, one.room.outline, options, name)
            plan = plan_told(source)
            part = no_plan() if plan is None else plane_section(plan)
            found.append(_of_room(part, one.room.name, n))
    return found


def house_marker_sheets(
    job: "Job", options: Options, name: str, fits: Callable[[Section], bool]
) -> list[Section]:
    """Return a marker sheet for each room that has markers, each of the largest that `fits`.

    Raises
    ------
    CannotAnswer
        No markers are laid out.
    """
    found: list[Section] = []
    with each_room(job) as rooms:
        for n, one in enumerate(rooms, 1):
            assert one.room is not None
            source = Source(one, one.room.outline, options, name)
            if source.markers:
                of_room = one.room.name
                sheets = (_of_room(part, of_room, n) for (part,) in marker_sheets(source))
                found.append(first_that_fits(sheets, fits))
    if not found:
        raise CannotAnswer(say("No markers are laid out yet. First: rig markers"))
    return [replace(found[0], new_page=False), *found[1:]]


def house_buy_sheet(job: "Job") -> tuple[Section, ...]:
    """Return one list to shop by, for all rooms.

    Raises
    ------
    CannotAnswer
        There is no plan of all rooms.
    """
    plan = last_house_plan(job)
    if plan is None:
        raise CannotAnswer(say("Nothing is planned for all rooms yet. First: rig plan"))
    sure = format_asked(plan.confidence)
    order = words.one_order(plan.bags.buy, plan.bags_apart.buy, sure)
    return (buy_list(plan.materials, order, _changed(job, plan)),)


def _changed(job: "Job", plan: HousePlan) -> list[str]:
    """Name what changed since all rooms were planned, a room that was planned anew too."""
    changed: list[str] = []
    planes = {one.name: one.plane for one in plan.rooms}
    with each_room(job) as rooms:
        for one in rooms:
            assert one.room is not None
            kept = stored_plan(one)
            if kept is None or kept.answer.plane != planes.get(one.room.name):
                changed.append(say("the plan of {room}", room=one.room.name))
            else:
                changed += one.changed_since(kept.row, bags=True)
    return list(dict.fromkeys(changed))


def house_handed_over(job: "Job", whole: Source, options: Options, name: str) -> HandedOver:
    """Return what a customer's page tells of all rooms; `whole` is the source of the whole job."""
    found: list[Handed] = []
    with each_room(job) as rooms:
        for one in rooms:
            assert one.room is not None
            found.append(handed(Source(one, one.room.outline, options, name), one.room.name))
    return handed_over(whole, found)


def _of_room(part: Section, name: str, number: int) -> Section:
    blocks = tuple(
        replace(block, name=f"{block.name}-{number}") if isinstance(block, Figure) else block
        for block in part.blocks
    )
    return replace(
        part,
        key=f"{part.key}-{number}",
        title=put("{name}: {title}", name=name, title=part.title),
        blocks=blocks,
        new_page=True,
    )


def _sum(job: "Job") -> Section:
    """What all rooms take together; that of the last plan of all rooms."""
    units, plan = job.units, last_house_plan(job)
    rooms = listed(job).rooms
    if plan is None:
        rows = tuple((one.name, units.area(one.area_m2), str(one.shots)) for one in rooms)
        return section(
            "rooms",
            say("All rooms"),
            Words(say("No plan of all rooms has been made yet (rig plan).")),
            Table(say("Rooms"), (say("Room"), say("Floor"), say("Shot")), rows, right=(2,)),
        )
    sure = format_asked(plan.confidence)
    return section(
        "rooms",
        say("All rooms"),
        Words(words.one_order(plan.bags.buy, plan.bags_apart.buy, sure), "lead"),
        Table(
            say("Rooms"),
            (
                say("Room"),
                say("Floor"),
                say("Below the line"),
                say("Cover, least to most"),
                say("Bags"),
                say("Lifts"),
            ),
            tuple(_row(plan, n, units) for n in range(len(plan.rooms))),
            right=(4, 5),
        ),
        bullets(plan.warnings, "warning"),
        Facts(tuple((one.item, one.text) for one in plan.materials)),
        bullets(plan.cautions),
    )


def _row(plan: HousePlan, n: int, units: Units) -> tuple[str, ...]:
    one = plan.rooms[n]
    return (
        one.name,
        units.area(one.area_m2),
        units.length(-one.plane.a),
        say(
            "{min} to {max}", min=units.length(one.cover_mm.min), max=units.length(one.cover_mm.max)
        ),
        say_many("{count} bag", "{count} bags", one.bags.p50),
        str(one.lifts),
    )
