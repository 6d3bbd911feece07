"""`rig room`: the rooms of a job, on one plan."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from rig.cli.options import Lengths, Name, job_option, json_option, show, stack
from rig.cli.room_options import NO_ROOM, RoomGiven, shape_options
from rig.errors import BadInput
from rig.language import join, put, say

if TYPE_CHECKING:
    from rig.study.rooms import RoomsListed
    from rig.units import Units

_placed = stack(
    click.argument("name", type=Name()),
    job_option,
    shape_options,
    click.option(
        "--at",
        type=Lengths("X", "Y"),
        help="Where the corner of --room or --walls lies on the job's plan.",
    ),
    click.option(
        "--doorway",
        "doorways",
        type=Lengths("X", "Y", "WIDTH"),
        multiple=True,
        help="As --door, and another room must be behind it. Repeatable.",
    ),
    json_option,
)


@click.group()
def command() -> None:
    """Several rooms in one job: all on one plan, whose origin is the first room's corner.

    Doors and openings are placed on that plan. --room NAME then narrows a command to one room.
    """


@command.command("add")
@_placed
def add_command(job_path: Path, name: str, as_json: bool, **options: Any) -> None:
    """Add a room: its outline as for rig new, placed with --at."""
    from rig.job.store import Job
    from rig.study.rooms import add_room, listed

    joins = bool(options["doorways"])
    given = _given(options)
    with Job.open(job_path, write=True) as job:
        shaped = given.outline_over(None, job.units)
        if shaped is None:
            raise BadInput(NO_ROOM)
        add_room(job, name, shaped[0], doorway=joins)
        told = listed(job)
        lines = _lines(told, job.units)
        if not told.rooms[-1].joins:
            from rig.words.rooms import joins_nothing

            lines.append(put("! {text}", text=joins_nothing(name)))
    show(
        told.as_json(),
        as_json,
        join("\n", [*lines, say("Next: rig grid --room {name!r}", name=name)]),
    )


@command.command("edit")
@_placed
def edit_command(job_path: Path, name: str, as_json: bool, **options: Any) -> None:
    """Change a room's outline; doors and openings given replace those that were there."""
    from rig.job.store import Job
    from rig.study.room import outline_of, set_outline
    from rig.study.rooms import has_several, in_room, listed, refuse_no_joint, rooms_of

    joins = bool(options["doorways"])
    given = _given(options)
    with Job.open(job_path, write=True) as job:
        several = has_several(job)
        in_room(job, name)
        shaped = given.outline_over(outline_of(job), job.units)
        if shaped is None:
            raise BadInput(say("Nothing to change was given; see rig room edit --help."))
        if joins:
            there = [(n, shaped[0] if n.casefold() == name.casefold() else o)
                     for n, o in rooms_of(job)]  # fmt: skip
            refuse_no_joint(there, next(n for n, _ in there if n.casefold() == name.casefold()))
        with job.together(say("nothing was changed")):
            set_outline(job, shaped[0])
        in_room(job, None)
        told, units = listed(job), job.units
    lines = _lines(told, units)
    if several:
        lines.append(say("Lay out its grid again: rig grid --room {name!r}", name=name))
    show(told.as_json(), as_json, join("\n", lines))


@command.command("list")
@job_option
@json_option
def list_command(job_path: Path, as_json: bool) -> None:
    """Show the rooms, their area and what they are joined to."""
    from rig.job.store import Job
    from rig.study.rooms import listed

    with Job.open(job_path) as job:
        told, units = listed(job), job.units
    show(told.as_json(), as_json, join("\n", _lines(told, units)))


@command.command("rename")
@job_option
@click.argument("old")
@click.argument("new", type=Name())
@json_option
def rename_command(job_path: Path, old: str, new: str, as_json: bool) -> None:
    """Give a room another name; what was measured and planned stays its own."""
    from rig.job.store import Job
    from rig.study.rooms import listed, rename_room

    with Job.open(job_path, write=True) as job:
        rename_room(job, old, new)
        told, units = listed(job), job.units
    show(told.as_json(), as_json, join("\n", _lines(told, units)))


@command.command("drop")
@job_option
@click.argument("name")
@json_option
def drop_command(job_path: Path, name: str, as_json: bool) -> None:
    """Take a room out of the job; its shots stay in the file and count nowhere."""
    from rig.job.store import Job
    from rig.study.rooms import drop_room, listed

    with Job.open(job_path, write=True) as job:
        drop_room(job, name)
        told, units = listed(job), job.units
    show(told.as_json(), as_json, join("\n", _lines(told, units)))


def _given(options: dict[str, Any]) -> RoomGiven:
    doorways = options.pop("doorways")
    return RoomGiven(**{**options, "doors": (*options["doors"], *doorways)})


def _lines(told: "RoomsListed", units: "Units") -> list[str]:
    from rig.words import rooms as words

    return [words.listed(one.name, one.area_m2, one.joins, one.shots, units) for one in told.rooms]
