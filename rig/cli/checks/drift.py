"""`rig check drift`: how the line wanders with time."""

from pathlib import Path
from typing import Any

import click

from rig.cli.checks.shared import bench, check_options, finish, is_live, verdict_line, watch
from rig.cli.options import SECONDS, Length
from rig.errors import BadInput


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
    from rig.survey.laser.drift import drift
    from rig.survey.laser.verdict import judge
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
                raise BadInput("Say what the table's readings are in: --unit mm, or --unit in.")
            times, values = read_timed(table, unit)
        found = drift(times, values)
        rate = found.rate_mm_per_h
        verdict = judge(rate, found.rate_stderr_mm_per_h, limit, found.freedom)
        result = {
            "seconds": found.seconds,
            "n": found.n,
            "change_mm": found.change_mm,
            "stderr_mm": found.stderr_mm,
            "rate_mm_per_h": rate,
            "rate_stderr_mm_per_h": found.rate_stderr_mm_per_h,
            "noise_mm": found.noise_mm,
            "warm_up_mm": found.warm_up_mm,
            "warm_up_s": found.warm_up_s,
            "limit_mm_per_h": limit,
            "limit_mm_per_m": None,
            "chance_in": verdict.chance_in,
            "verdict": verdict.word,
            "ok": verdict.ok,
        }
        lines = [
            f"In {found.seconds / 60:.1f} minutes the line moved {found.change_mm:+.2f} mm (± "
            f"{2 * found.stderr_mm:.2f}); up is plus.",
            f"Lately it wanders {rate:+.2f} mm an hour (± {2 * found.rate_stderr_mm_per_h:.2f}); "
            f"one resting reading scatters by {found.noise_mm:.2f} mm.",
        ]
        if found.warm_up_mm is not None and found.warm_up_s is not None:
            lines.append(
                f"It warms up: {found.warm_up_mm:+.2f} mm in all, 95 % of it after "
                f"{3 * found.warm_up_s / 60:.0f} minutes. Let it run so long before the survey."
            )
        lines += [
            verdict_line(verdict, f"{limit:.2f} mm an hour", "--limit"),
            "Rod and laser cannot be told apart here: a clamp that slips drifts too.",
        ]
        finish(context, place, "drift", {"times_s": times, "readings_mm": values}, result, lines,
               live=live, session=session)  # fmt: skip
