"""`rig check repeat`: how well readings of one place repeat."""

from pathlib import Path
from typing import Any

import click

from rig.cli.checks.shared import bench, check_options, finish, is_live, length, shoot, verdict_line
from rig.cli.options import Length
from rig.errors import BadInput


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
    from rig.survey.capture import Stand
    from rig.survey.laser.repeat import FEW, repeat
    from rig.survey.laser.verdict import judge_spread

    unit = options["unit"]
    live = is_live(options, readings, "--reading")
    away_m = None if dist is None else length(dist, unit, "dist") / 1000.0
    if away_m is not None and away_m <= 0:
        raise BadInput("The distance to the rod must be more than nothing (--dist).")
    session = None
    with bench(job_path, as_json) as place:
        if live:
            where = "the same spot, the rod lifted and stood anew"
            stands = [Stand(f"R{n}", where=where) for n in range(1, count + 1)]
            taken, session = shoot(place, "repeat", stands, options)
            values = [sight["reading_mm"] for sight in taken]
        else:
            parts = [part for text in readings for part in text.split(",")]
            values = [length(part, unit, "reading") for part in parts]
        found = repeat(values)
        verdict = judge_spread(found.sd_mm, found.n - 1, limit)
        result = {
            "n": found.n,
            "mean_mm": found.mean_mm,
            "mean_stderr_mm": found.stderr_mm,
            "sd_mm": found.sd_mm,
            "sd_ci95_mm": [found.sd_low_mm, found.sd_high_mm],
            "sd_mm_per_m": None if away_m is None else found.sd_mm / away_m,
            "limit_mm": limit,
            "limit_mm_per_m": None if away_m is None else limit / away_m,
            "chance_in": verdict.chance_in,
            "verdict": verdict.word,
            "ok": verdict.ok,
        }
        lines = [
            f"{found.n} readings: one scatters by {found.sd_mm:.3f} mm (standard deviation; with "
            f"95 % confidence between {found.sd_low_mm:.3f} and {found.sd_high_mm:.3f} mm).",
            verdict_line(verdict, f"{limit:.2f} mm", "for the standard deviation"),
            "An error that all these readings share (tilt, cone, the rod's zero) stays invisible: "
            "rig check two-peg, cross and rod.",
        ]
        if found.n < FEW:
            lines.append(f"! {found.n} readings tell a spread badly; take {FEW} or more.")
        if found.sd_mm == 0.0:
            lines.append("! All are the same to the last digit: the display is coarser than noise.")
        finish(context, place, "repeat", {"readings_mm": values}, result, lines, live=live,
               session=session)  # fmt: skip
