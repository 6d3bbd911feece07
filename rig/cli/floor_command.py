"""`rig floor`: what the floor is like, with its doubt."""

from pathlib import Path

import click

from rig.cli.jobs import laser_places
from rig.cli.options import (
    confidence_option,
    job_option,
    json_option,
    laser_place_option,
    show,
    unit_option,
    why_option,
)
from rig.errors import BadInput


@click.command()
@job_option
@confidence_option
@click.option(
    "--points",
    type=click.Path(path_type=Path, dir_okay=False),
    help="A CSV x,y of places whose heights to tell. Needs --unit.",
)
@unit_option
@laser_place_option
@why_option
@json_option
def command(
    job_path: Path,
    confidence: float,
    points: Path | None,
    unit: str | None,
    laser_at: tuple[tuple[str | None, tuple[float, float]], ...],
    why: bool,
    as_json: bool,
) -> None:
    """Tell what the floor is like: its high and low points and how sure that is.

    Heights are relative to the laser's line at set-up 1, negative below it.
    """
    from rig.cli.progress import working
    from rig.job.store import Job
    from rig.study.floor_answer import study_floor
    from rig.survey.table import read_columns

    if points is not None and unit is None:
        raise BadInput("--points needs --unit: say what the table's lengths are in, as --unit mm.")
    with Job.open(job_path) as job, working("Modelling the floor"):
        places = read_columns(points, ("x", "y"), unit) if points and unit else None
        picture, answer = study_floor(
            job, points=places, laser=laser_places(job, laser_at), confidence=confidence
        )
        units = job.units
    if as_json:
        show(answer.as_json(), as_json, "")
        return
    from rig.drawing.look import Look
    from rig.report.floor_part import FloorTold, floor_section
    from rig.report.source import place_words
    from rig.report.text import to_text

    told = FloorTold(
        answer=answer,
        picture=picture,
        look=Look(units),
        units=units,
        where=lambda x, y: place_words(picture.outline, x, y, units),
        drawn=why,
    )
    click.echo(to_text([floor_section(told)], why=why, last="Next: rig plan"))
