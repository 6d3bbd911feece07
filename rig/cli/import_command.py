"""`rig import`: take a table of points instead of a survey."""

from pathlib import Path

import click

from rig.cli.options import job_option, json_option, show, unit_option
from rig.errors import BadInput
from rig.language import join, say


@click.command()
@job_option
@click.argument("table", type=click.Path(path_type=Path, dir_okay=False))
@unit_option
@json_option
def command(job_path: Path, table: Path, unit: str | None, as_json: bool) -> None:
    """Take a CSV table label,x,y,reading[,stderr][,setup][,kind] whole or not at all.

    A reading is how far the laser's line is above the floor: larger is lower. A shot takes the
    place of an earlier one of its label and kind.
    """
    from rig.job.store import Job
    from rig.study.table import import_table
    from rig.words.grid import taken_from, took_the_place

    if unit is None:
        raise BadInput(say("Say the unit of every length in the table: --unit mm, or --unit in."))
    with Job.open(job_path, write=True) as job:
        answer = import_table(job, table, unit)
    text = taken_from(answer.shots, str(table))
    if answer.replaced:
        text = join(" ", [text, took_the_place(answer.replaced)])
    lines = [text, *["! " + warning for warning in answer.warnings]]
    show(answer.as_json(), as_json, join("\n", [*lines, say("Next: rig floor, then rig plan")]))
