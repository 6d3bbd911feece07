"""`rig new`: create a job."""

from pathlib import Path
from typing import Any

import click

from rig.cli.options import job_option, json_option, show
from rig.cli.room_options import NO_ROOM, RoomGiven, room_options
from rig.errors import BadInput
from rig.language import join, say
from rig.units import Units


@click.command()
@job_option
@room_options
@json_option
def command(job_path: Path, as_json: bool, **options: Any) -> None:
    """Create a job: the room, its units, the compound.

    The room has its corner at 0,0 and its first length along x.
    """
    from rig.job.settings import Settings
    from rig.job.store import Job
    from rig.study.room import room_answer
    from rig.words.room import room_lines, size_warnings

    given = RoomGiven(**options)
    shaped = given.outline_over(None, Units(given.units or Settings().units))
    if shaped is None:
        raise BadInput(NO_ROOM)
    outline, closing_mm = shaped
    settings = given.settings_over(Settings())
    with Job.create(job_path, settings, outline.walls, outline.openings, outline.doors) as job:
        if given.rules:
            job.keep_material_rules([vars(rule) for rule in given.rules], edited=True)
        units = job.units
    lines = room_lines(str(job_path), outline, closing_mm, units)
    warnings = size_warnings(outline, units)
    lines += ["! " + warning for warning in warnings]
    answer = room_answer(str(job_path), outline, closing_mm, warnings=warnings)
    show(answer.as_json(), as_json, join("\n", [*lines, say("Next: rig grid")]))
