"""`rig check drift`: how the line wanders with time."""

from pathlib import Path
from typing import Any

import click

from rig.cli.checks.shared import bench, check_options, finish, is_live, watch
from rig.cli.options import SECONDS, Length
from rig.errors import BadInput
from rig.language import say


@click.command("drift")
@click.argument("table", required=False, type=click.Path(path_type=Path, dir_okay=False))
@click.option(
    "--seconds",
    type=SECONDS,
    default="600",
    show_default=True,
    help="Live: how long to watch; Ctrl-C ends it sooner with what there is.",
)
@click.option(
    "--limit",
    type=Length(above=0.0),
    default="0.5mm",
    show_default=True,
    help="Most that the line may wander in an hour.",
)
@check_options
@click.pass_context
def command(
    context: click.Context,
    /,
    table: Path | None,
    seconds: float,
    limit: float,
    job_path: Path | None,
    as_json: bool,
    **options: Any,
) -> None:
    """Find how the line wanders: warm-up, drift, resting noise.

    Clamp the rod where nothing moves it and watch it live, or give a CSV TABLE seconds,reading.
    """
    from rig.study.checks import check_words, drift_check
    from rig.survey.table import read_timed

    unit = options["unit"]
    live = is_live(options, [table] if table else [], "a table")
    session = None
    with bench(job_path, as_json) as place:
        if live:
            times, values, session = watch(place, seconds, options)
        else:
            assert table is not None
            if unit is None:
                raise BadInput(
                    say("Say what the table's readings are in: --unit mm, or --unit in.")
                )
            times, values = read_timed(table, unit)
        check = drift_check(times, values, limit_mm_per_h=limit)
        inputs = {"times_s": times, "readings_mm": values}
        finish(context, place, check, inputs, check_words(check, place.units), live=live,
               session=session)  # fmt: skip
