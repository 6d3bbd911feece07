"""`rig check two-peg`: how far the line climbs or falls with distance."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from rig import units
from rig.cli.checks.shared import (
    Bench,
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
)
from rig.errors import BadInput
from rig.language import say

if TYPE_CHECKING:
    from rig.study.checks import TwoPegCheck
    from rig.survey.laser.two_peg import PegSight

_NAMES = ("A", "B", "DIST_A", "DIST_B")


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
    from rig.study.checks import check_words, two_peg_check

    unit = options["unit"]
    live = is_live(options, sights, "--sight")
    session = None
    with bench(job_path, as_json) as place:
        rise_mm = None if rise is None else length(rise, unit, "rise")
        if live:
            ways = [_way(text, unit) for text in distances]
            read, session = _shot(place, ways, rise_mm, options)
            weighted = False
        else:
            read, weighted = _typed(sights, unit, stderr_mm)
        most, whose = limit_of_line(place, limit)
        check = two_peg_check(read, limit_mm_per_m=most, rise_mm=rise_mm, weighted=weighted)
        lines = check_words(check, place.units, whose)
        inputs = {
            "sights": [[s.a_mm, s.b_mm, s.dist_a_mm, s.dist_b_mm, s.stderr_mm] for s in read],
            "rise_mm": rise_mm,
            "weighted": weighted,
        }
        if correct is not None:
            lines.append(_correct(place, check, correct))
        finish(context, place, check, inputs, lines, live=live, session=session)


def _shot(
    place: Bench,
    ways: Sequence[tuple[float, float]],
    rise_mm: float | None,
    options: dict[str, Any],
) -> "tuple[list[PegSight], int | None]":
    """Take the sights live, the laser at each of the places in turn."""
    from rig.session.checks import peg_sights, peg_stands

    if len(ways) < (2 if rise_mm is None else 1):
        raise BadInput(say("Live, say where the laser will stand: --dist DIST_A,DIST_B, twice."))
    stands = peg_stands(ways, place.units, rise_mm)
    taken, session = shoot(place, "two-peg", stands, options)
    return peg_sights(taken, ways), session


def _typed(
    sights: Sequence[str], unit: str | None, stderr_mm: float | None
) -> "tuple[list[PegSight], bool]":
    """Read the sights as typed, and say whether each has a standard error of its own."""
    from rig.survey.laser.two_peg import PegSight

    weighted = {len(units.parted(text, len(_NAMES) + 1)) for text in sights} == {5}
    if weighted:
        rows = [numbers(text, unit, (*_NAMES, "STDERR"), "--sight") for text in sights]
    else:
        doubt = typed_stderr_mm(unit, stderr_mm)
        rows = [[*numbers(text, unit, _NAMES, "--sight"), doubt] for text in sights]
    return [PegSight(*row) for row in rows], weighted


def _correct(place: Bench, check: "TwoPegCheck", wanted: bool) -> str:
    """Keep a two-peg test's error to be taken off every shot, or forget it."""
    from rig.job.settings import RadialError
    from rig.study.lasers import correct_radial
    from rig.words import checks as words

    if place.job is None:
        raise BadInput(say("--correct needs a job whose shots to correct: --job PATH."))
    if not wanted:
        correct_radial(place.job, None)
        return words.NO_ERROR_TAKEN
    error = RadialError(error_mm_per_m=check.error_mm_per_m, stderr_mm_per_m=check.stderr_mm_per_m)
    correct_radial(place.job, error)
    return words.climb_taken_off(check.error_mm_per_m, place.units)


def _way(text: str, unit: str | None) -> tuple[float, float]:
    a, b = numbers(text, unit, ("DIST_A", "DIST_B"), "--dist")
    return a, b
