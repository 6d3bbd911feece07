"""A job with several rooms on paper: one sum, then a page a room."""

from dataclasses import replace
from typing import TYPE_CHECKING

from rig.report.document import Facts, Figure, Section, Table, Words, bullets, section
from rig.report.plan_part import no_plan, plan_told, plane_section
from rig.report.source import Options, Source
from rig.study.house_plan import HousePlan, last_house_plan
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


def _of_room(part: Section, name: str, number: int) -> Section:
    blocks = tuple(
        replace(block, name=f"{block.name}-{number}") if isinstance(block, Figure) else block
        for block in part.blocks
    )
    return replace(
        part,
        key=f"{part.key}-{number}",
        title=f"{name}: {part.title}",
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
            Table("Rooms", ("Room", "Floor", "Shot"), rows, right=(2,)),
        )
    sure = format_asked(plan.confidence)
    return section(
        "rooms",
        say("All rooms"),
        Words(words.one_order(plan.bags.buy, plan.bags_apart.buy, sure), "lead"),
        Table(
            "Rooms",
            ("Room", "Floor", say("Below the line"), say("Cover, least to most"), "Bags", "Lifts"),
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
