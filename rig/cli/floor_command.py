"""`rig floor`: what the floor is like, with its doubt."""

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import click

from rig.cli.jobs import laser_places
from rig.cli.options import (
    confidence_option,
    job_option,
    json_option,
    laser_place_option,
    room_option,
    show,
    tell,
    unit_option,
    why_option,
)
from rig.errors import BadInput
from rig.language import say

if TYPE_CHECKING:
    from rig.room import Outline
    from rig.units import Units


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
@room_option
@why_option
@json_option
def command(
    job_path: Path,
    confidence: float,
    points: Path | None,
    unit: str | None,
    laser_at: tuple[tuple[str | None, tuple[float, float]], ...],
    room_name: str | None,
    why: bool,
    as_json: bool,
) -> None:
    """Tell what the floor is like: its high and low points and how sure that is.

    Heights are relative to the laser's line at set-up 1, negative below it.
    """
    from rig.cli.progress import working
    from rig.job.store import Job
    from rig.study.floor_answer import study_floor
    from rig.study.rooms import each_room, has_several, in_room, refuse_several
    from rig.survey.table import read_columns

    if points is not None and unit is None:
        raise BadInput(
            say("--points needs --unit: say what the table's lengths are in, as --unit mm.")
        )
    with Job.open(job_path) as job, working(say("Modelling the floor")):
        in_room(job, room_name)
        places = read_columns(points, ("x", "y"), unit) if points and unit else None
        units, several, found = job.units, has_several(job), {}
        if several and places is not None:
            refuse_several(job)
        with each_room(job) as rooms:
            for one in rooms:
                laser = laser_places(one, laser_at)
                name = one.room.name if one.room is not None else ""
                found[name] = study_floor(one, points=places, laser=laser, confidence=confidence)
    if as_json:
        told = [{"name": name, **answer.as_json()} for name, (_, answer) in found.items()]
        show({"rooms": told} if several else found.popitem()[1][1].as_json(), as_json, "")
        return
    from rig.drawing.look import Look
    from rig.report.floor_part import FloorTold, floor_section
    from rig.report.text import to_text

    for name, (picture, answer) in found.items():
        if several:
            tell(f"{name}:")
        told_of = FloorTold(
            answer=answer,
            picture=picture,
            look=Look(units),
            units=units,
            where=partial(_place, picture.outline, units),
            drawn=why,
        )
        tell(to_text([floor_section(told_of)], why=why, last=say("Next: rig plan")))


def _place(outline: "Outline", units: "Units", x_mm: float, y_mm: float) -> str:
    from rig.report.source import place_words

    return place_words(outline, x_mm, y_mm, units)
