"""`rig check repeat`: how well readings of one place repeat."""

from pathlib import Path
from typing import Any

import click

from rig.cli.checks.shared import bench, check_options, finish, is_live, length, listed, shoot
from rig.cli.options import Length
from rig.errors import BadInput
from rig.language import say


@click.command("repeat")
@click.option(
    "--reading",
    "readings",
    multiple=True,
    metavar="R[,R...]",
    help="Readings of one place, the rod stood anew for each; ten or more tell well.",
)
@click.option("--count", type=click.IntRange(min=2), default=10, show_default=True, help="Live.")
@click.option("--dist", metavar="D", help="From the laser: the result is told in mm/m too.")
@click.option(
    "--limit",
    type=Length(above=0.0),
    default="0.5mm",
    show_default=True,
    help="Largest standard deviation that is good enough; half of a marker's tolerance.",
)
@check_options
@click.pass_context
def command(
    context: click.Context,
    /,
    readings: tuple[str, ...],
    count: int,
    dist: str | None,
    limit: float,
    job_path: Path | None,
    as_json: bool,
    **options: Any,
) -> None:
    """Find how well readings of one place repeat, after the manner of ISO 17123-6.

    Lift the rod and stand it anew on one firm spot for each reading.
    """
    from rig.session.checks import repeat_stands
    from rig.study.checks import check_words, repeat_check

    unit = options["unit"]
    live = is_live(options, readings, "--reading")
    session = None
    with bench(job_path, as_json) as place:
        dist_mm = None if dist is None else length(dist, unit, "dist")
        if dist_mm is not None and dist_mm <= 0:
            raise BadInput(say("The distance to the rod must be more than nothing (--dist)."))
        if live:
            taken, session = shoot(place, "repeat", repeat_stands(count), options)
            values = [sight.reading_mm for sight in taken]
        else:
            parts = [part for text in readings for part in listed(text)]
            values = [length(part, unit, "reading") for part in parts]
        check = repeat_check(values, limit_mm=limit, dist_mm=dist_mm)
        finish(context, place, check, {"readings_mm": values}, check_words(check, place.units),
               live=live, session=session)  # fmt: skip
