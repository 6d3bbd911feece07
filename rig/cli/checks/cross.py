"""`rig check cross`: the line's tilt from one target, the laser turned by quarter turns."""

import math
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import click

from rig.cli.checks.shared import (
    Bench,
    bench,
    check_options,
    finish,
    is_live,
    length,
    limit_of_line,
    shoot,
    slope_limit_option,
    stderr_option,
    typed_stderr_mm,
)
from rig.cli.options import Lengths, Name
from rig.errors import BadInput
from rig.words import checks as words
from rig.words import say

if TYPE_CHECKING:
    from rig.study.checks import CrossCheck
    from rig.survey.laser.cross import Turn

# How far a paced or taped distance may be off what the plan says (common practice, no source).
OFF_SHARE, OFF_MM = 0.05, 100.0

Place = tuple[float, float]


class Facing(NamedTuple):
    """Which way the laser faces at heading 0: what a correction needs to know."""

    laser: Place
    towards: Place
    clockwise: bool


@click.command("cross")
@click.option(
    "--dist",
    "distances",
    multiple=True,
    required=True,
    metavar="D",
    help="From the laser to the target; a second one, with readings of its own after those of "
    "the first, tells the cone.",
)
@click.option(
    "--reading",
    "readings",
    multiple=True,
    metavar="HEADING,R",
    help="The target's reading with the laser turned to 0, 90, 180, 270; four a distance or more.",
)
@click.option(
    "--rise",
    metavar="LENGTH",
    default="0mm",
    show_default=True,
    help="With two distances: how far the second target stands over the first, against the laser.",
)
@click.option(
    "--correct/--no-correct",
    default=None,
    help="Take this tilt off every shot of one set-up, or no longer. For a set-up without shots, "
    "whose laser stays at heading 0 as the check leaves it. Needs --laser, --target, --turned.",
)
@click.option(
    "--setup", type=Name(), help="The set-up that is corrected.  [default: the last one's]"
)
@click.option("--laser", type=Lengths("X", "Y"), help="Where the laser stands, to correct.")
@click.option("--target", type=Lengths("X", "Y"), help="Where the target stands, to correct.")
@click.option(
    "--turned",
    type=click.Choice(["clockwise", "counter-clockwise"]),
    help="Which way the laser is turned, seen from above, to correct.",
)
@slope_limit_option
@stderr_option
@check_options
@click.pass_context
def command(
    context: click.Context,
    /,
    distances: tuple[str, ...],
    readings: tuple[str, ...],
    rise: str,
    correct: bool | None,
    setup: str | None,
    laser: tuple[float, float] | None,
    target: tuple[float, float] | None,
    turned: str | None,
    limit: float | None,
    stderr_mm: float | None,
    job_path: Path | None,
    as_json: bool,
    **options: Any,
) -> None:
    """Find the line's tilt from one fixed target, the laser turned by quarter turns.

    Leave the rod where it stands and turn the laser on its tripod, the same way each time, to 0,
    90, 180 and 270 degrees. To correct the tilt, turn on to 0 again, read once more, and from then
    on leave the laser alone: turned, levelled anew or set up anew it has another slope.
    """
    from rig.study.checks import check_words, cross_check

    unit = options["unit"]
    live = is_live(options, readings, "--reading")
    session = None
    with bench(job_path, as_json) as place:
        away = [length(text, unit, "dist") for text in distances]
        if len(set(away)) != len(away) or len(away) > 2:
            raise BadInput(say("The cross takes one distance, or two that differ."))
        place.setup = setup or place.setup
        facing = _facing(place, away, laser, target, turned) if correct else None
        if live:
            turns, session = _shot(place, away, turned, options)
        else:
            turns = _typed(readings, away, unit, typed_stderr_mm(unit, stderr_mm))
        most, whose = limit_of_line(place, limit)
        check = cross_check(turns, limit_mm_per_m=most, rise_mm=length(rise, unit, "rise"))
        inputs: dict[str, object] = {
            "readings": [[t.heading_deg, t.reading_mm, t.dist_mm, t.stderr_mm] for t in turns]
        }
        if facing is not None:
            check = _correct(place, check, facing, turns)
        if check.corrected is not None:
            inputs |= {"laser_mm": laser, "target_mm": target, "turned": turned}
        lines = check_words(check, place.units, whose)
        if facing is not None and check.corrected is None:
            lines.append(words.NOT_CORRECTED)
        elif correct is False:
            lines.append(_forget_tilt(place))
        finish(context, place, check, inputs, lines, live=live, session=session)


def _shot(
    place: Bench, away: Sequence[float], turned: str | None, options: dict[str, Any]
) -> "tuple[list[Turn], int | None]":
    """Take the readings live, heading 0 once more at the end."""
    from rig.session.checks import cross_stands, cross_turns

    taken, session = shoot(place, "cross", cross_stands(away, place.units, turned), options)
    return cross_turns(taken, away), session


def _typed(
    readings: Sequence[str], away: Sequence[float], unit: str | None, doubt_mm: float
) -> "list[Turn]":
    """Read `HEADING,R` as typed, those of the first distance first."""
    from rig.survey.laser.cross import Turn

    if len(readings) % len(away):
        raise BadInput(say("With two distances each needs the same count of readings."))
    each = len(readings) // len(away)
    turns = []
    for n, text in enumerate(readings):
        heading, _, value = text.replace(";", ",", 1).partition(",")
        reading_mm = length(value, unit, "reading")
        turns.append(Turn(_heading(heading), reading_mm, away[n // each], doubt_mm))
    return turns


def _facing(
    place: Bench,
    away: Sequence[float],
    laser: Place | None,
    target: Place | None,
    turned: str | None,
) -> Facing:
    """Return which way the laser faces, or refuse to correct."""
    from rig.study.lasers import refuse_shot

    if place.job is None:
        raise BadInput(say("--correct needs a job whose shots to correct: --job PATH."))
    if laser is None or target is None or turned is None:
        raise BadInput(
            say(
                "--correct needs to know which way the laser faces: --laser X,Y and --target "
                "X,Y on the plan, and --turned clockwise or counter-clockwise."
            )
        )
    if len(away) != 1:
        raise BadInput(say("--correct takes one distance."))
    towards = target[0] - laser[0], target[1] - laser[1]
    told = math.hypot(*towards)
    if abs(told - away[0]) > max(OFF_SHARE * away[0], OFF_MM):
        raise BadInput(
            say(
                "--laser and --target stand {told} apart, but --dist says {away}: the "
                "direction would be wrong.",
                told=place.units.length(told),
                away=place.units.length(away[0]),
            )
        )
    refuse_shot(place.job, place.setup)
    return Facing(laser, towards, turned == "clockwise")


def _correct(
    place: Bench, check: "CrossCheck", facing: Facing, turns: Sequence["Turn"]
) -> "CrossCheck":
    """Keep a tilt to be taken off every shot of a set-up, where its readings agree."""
    from rig.study.checks import correct_cross

    if turns[-1].heading_deg % 360 or check.left_mm_per_m is None:
        raise BadInput(
            say(
                "To correct a tilt, read heading 0 once more at the end (a fifth --reading "
                "0,R): it shows how well the line comes back, and that the laser is left at "
                "heading 0."
            )
        )
    if not check.closes:
        return check
    assert place.job is not None
    return correct_cross(place.job, check, setup=place.setup, **facing._asdict())


def _forget_tilt(place: Bench) -> str:
    from rig.study.lasers import forget_tilt

    if place.job is None:
        raise BadInput(say("--no-correct needs a job: --job PATH."))
    forget_tilt(place.job, place.setup)
    return words.tilt_kept(place.setup)


def _heading(text: str) -> float:
    try:
        return float(text.strip().removesuffix("deg").removesuffix("°"))
    except ValueError:
        raise BadInput(
            say(
                "The heading {text!r} is no number: write --reading 90,1.502m, heading first.",
                text=text,
            )
        ) from None
