"""`rig edit`: change what `rig new` set."""

from pathlib import Path
from typing import Any

import click

from rig.cli.jobs import outline_of
from rig.cli.new_command import room_result, room_text
from rig.cli.options import job_option, json_option, show
from rig.cli.room_options import check_settings, outline_given, room_options, settings_given
from rig.errors import BadInput


@click.command()
@job_option
@room_options
@json_option
def command(job_path: Path, as_json: bool, **options: Any) -> None:
    """Change what `new` set; the change is kept in the job's log.

    Doors and openings given replace those that were there.
    """
    from rig.job.store import Job

    changes = settings_given(options)
    with Job.open(job_path, write=True) as job:
        outline = outline_of(job)
        shaped = outline_given(options, outline)
        if not changes and shaped is None:
            raise BadInput("Nothing to change was given; see rig edit --help.")
        check_settings({**job.settings, **changes})
        closing_mm = None
        if shaped is not None:
            outline, closing_mm = shaped
            doors = [(d.x_mm, d.y_mm, d.end_x_mm, d.end_y_mm) for d in outline.doors]
            job.set_outline(outline.walls, outline.openings, doors)
        if changes:
            job.update_settings(changes)
        units = job.settings["units"]
        has_grid = bool(job.points())
    result = room_result(job_path, outline, closing_mm)
    text = room_text(result, units)
    if shaped is not None and has_grid:
        text += "\nThe outline has changed: lay out the grid again with rig grid."
    show(result, as_json, text)
