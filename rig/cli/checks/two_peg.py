"""`rig check two-peg`: how far the line climbs or falls with distance."""

from pathlib import Path
from typing import Any

import click

from rig.cli.checks.shared import (
    bench,
    check_options,
    finish,
    is_live,
    length,
    limit_of_line,
    numbers,
    shoot,
    slope_limit_option,
    stderr_option,
    typed_stderr_mm,
    verdict_line,
)
from rig.errors import BadInput


@click.command("two-peg")
@click.option(
    "--sight",
    "sights",
    multiple=True,
    metavar="A,B,DIST_A,DIST_B[,STDERR]",
    help="Readings on both pegs and the laser's distances from them; twice or more. A standard "
    "error on each makes them weigh by it, else they weigh the same.",
)
@click.option("--rise", metavar="LENGTH", help="Known rise of B over A; then one sight will do.")
@click.option(
    "--dist",
    "distances",
    multiple=True,
    metavar="DIST_A,DIST_B",
    help="Live: where the laser will stand, once for each sight.",
)
@click.option(
    "--correct/--no-correct",
    default=None,
    help="Take this error off every shot of the job from now on (the radial part only), or no "
    "longer. Needs where the laser stood: --laser on rig survey, plan and set.",
)
@slope_limit_option
@stderr_option
@check_options
@click.pass_context
def command(
    context: click.Context,
    /,
    sights: tuple[str, ...],
    rise: str | None,
    distances: tuple[str, ...],
    correct: bool | None,
    limit: float | None,
    stderr_mm: float | None,
    job_path: Path | None,
    as_json: bool,
    **options: Any,
) -> None:
    """Find how far the line climbs or falls with distance.

    Read two fixed pegs with the laser in the middle, then again with it beside one of them: what
    the difference of the readings changes by is the line's error over the difference in distance.
    """
    from rig.survey.capture import Stand
    from rig.survey.laser.two_peg import BLIND, PegSight, two_peg
    from rig.survey.laser.verdict import SIGMAS, checked_limit, judge

    unit = options["unit"]
    live = is_live(options, sights, "--sight")
    session = None
    rise_mm = None if rise is None else length(rise, unit, "rise")
    names = ("A", "B", "DIST_A", "DIST_B")
    with bench(job_path, as_json) as place:
        weighted = False
        if live:
            ways = [_way(text, unit) for text in distances]
            if len(ways) < (2 if rise_mm is None else 1):
                raise BadInput("Live, say where the laser will stand: --dist DIST_A,DIST_B, twice.")
            # Refused now rather than after the walk.
            two_peg([PegSight(0.0, 0.0, a, b, 1.0) for a, b in ways], rise_mm)
            stands = []
            for n, (a, b) in enumerate(ways, 1):
                laser = f"laser {a / 1000:.1f} m from A and {b / 1000:.1f} m from B"
                stands += [Stand(f"A{n}", where=f"peg A, {laser}"), Stand(f"B{n}", where="peg B")]
            taken, session = shoot(place, "two-peg", stands, options)
            pairs = zip(taken[::2], taken[1::2], ways, strict=True)
            read = [
                PegSight(
                    a["reading_mm"],
                    b["reading_mm"],
                    *way,
                    ((a["stderr_mm"] ** 2 + b["stderr_mm"] ** 2) / 2.0) ** 0.5,
                )
                for a, b, way in pairs
            ]
        else:
            counts = {text.count(",") for text in sights}
            weighted = counts == {4}
            doubt = typed_stderr_mm(unit, stderr_mm)
            if weighted:
                rows = [numbers(s, unit, (*names, "STDERR"), "--sight") for s in sights]
            else:
                rows = [[*numbers(s, unit, names, "--sight"), doubt] for s in sights]
            read = [PegSight(*row) for row in rows]
        found = two_peg(read, rise_mm, weighted)
        most, whose = limit_of_line(place, limit)
        verdict = judge(found.error_mm_per_m, found.stderr_mm_per_m, checked_limit(most))
        result = {
            "error_mm_per_m": found.error_mm_per_m,
            "stderr_mm_per_m": found.stderr_mm_per_m,
            "rise_mm": found.rise_mm,
            "residuals_mm": [float(r) for r in found.residuals_mm],
            "redundancy": found.redundancy,
            "chance_agree": found.agree,
            "limit_mm_per_m": most,
            "chance_in": verdict.chance_in,
            "verdict": verdict.word,
            "ok": verdict.ok,
        }
        way = "climbs" if found.error_mm_per_m >= 0 else "falls"
        lines = [
            f"The line {way} {abs(found.error_mm_per_m):.3f} mm for each metre from the laser "
            f"(± {2 * found.stderr_mm_per_m:.3f}): "
            f"{place.length(5.0 * abs(found.error_mm_per_m))} in 5 m.",
            verdict_line(verdict, f"{most:.3f} mm/m", whose),
        ]
        # The chance of disagreeing this much by noise, beyond three sigma of a normal.
        if found.agree is not None and found.agree < 0.0027:
            lines.append(
                f"! The sights disagree more than their doubt allows ({SIGMAS:g} sigma): a misread "
                "staff or a peg that moved? The doubt is widened by it."
            )
        lines += [
            BLIND,
            "Good habits: stand the laser in the middle, or as far from A as from B, and the "
            "radial error drops out.",
        ]
        inputs = {
            "sights": [[s.a_mm, s.b_mm, s.dist_a_mm, s.dist_b_mm, s.stderr_mm] for s in read],
            "rise_mm": rise_mm,
            "weighted": weighted,
        }
        if correct is not None:
            lines.append(_correct(place, found, correct))
        finish(context, place, "two-peg", inputs, result, lines, live=live, session=session)


def _correct(place: Any, found: Any, wanted: bool) -> str:
    """Keep a two-peg test's error to be taken off every shot, or forget it."""
    from rig.job.settings import RadialError
    from rig.study.lasers import correct_radial

    if place.job is None:
        raise BadInput("--correct needs a job whose shots to correct: --job PATH.")
    if not wanted:
        correct_radial(place.job, None)
        return "No error is taken off the shots any more."
    error = RadialError(error_mm_per_m=found.error_mm_per_m, stderr_mm_per_m=found.stderr_mm_per_m)
    correct_radial(place.job, error)
    return (
        f"From now on {found.error_mm_per_m:+.3f} mm/m of distance from the laser are taken off "
        "every shot of this job where it is known where the laser stood. Plan again: rig plan"
    )


def _way(text: str, unit: str | None) -> tuple[float, float]:
    a, b = numbers(text, unit, ("DIST_A", "DIST_B"), "--dist")
    return a, b
