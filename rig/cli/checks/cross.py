"""`rig check cross`: the line's tilt from one target, the laser turned by quarter turns."""

import math
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
    shoot,
    slope_limit_option,
    stderr_option,
    typed_stderr_mm,
    verdict_line,
)
from rig.cli.options import Lengths
from rig.errors import BadInput

# How far a paced or taped distance may be off what the plan says (common practice, no source).
OFF_SHARE, OFF_MM = 0.05, 100.0


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
@click.option("--setup", help="The set-up that is corrected.  [default: the last one's]")
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
    from rig.survey.capture import Stand
    from rig.survey.laser.cross import BLIND, HEADINGS, Turn, cross
    from rig.survey.laser.verdict import checked_limit, judge_tilt

    unit = options["unit"]
    live = is_live(options, readings, "--reading")
    away = [length(text, unit, "dist") for text in distances]
    if len(set(away)) != len(away) or len(away) > 2:
        raise BadInput("The cross takes one distance, or two that differ.")
    session = None
    with bench(job_path, as_json) as place:
        place.setup = setup or place.setup
        ways = None
        if correct:
            ways = _ways(place, away, laser, target, turned)
        turns = []
        if live:
            round_to = f"turn the laser {turned}" if turned else "turn the laser"
            stands = [
                Stand(
                    f"{h} at {d / 1000:.1f} m",
                    where=f"{round_to} to heading {h}, the rod stays {d / 1000:.1f} m off",
                )
                for d in away
                for h in HEADINGS
            ]
            back = f"{round_to} on to heading 0 again, the rod stays {away[-1] / 1000:.1f} m off"
            stands.append(Stand("0 again", where=back))
            taken, session = shoot(place, "cross", stands, options)
            order = [(h, d) for d in away for h in HEADINGS] + [(0, away[-1])]
            turns = [
                Turn(heading, sight["reading_mm"], dist_mm, sight["stderr_mm"])
                for sight, (heading, dist_mm) in zip(taken, order, strict=True)
            ]
        else:
            if len(readings) % len(away):
                raise BadInput("With two distances each needs the same count of readings.")
            doubt, each = typed_stderr_mm(unit, stderr_mm), len(readings) // len(away)
            for n, text in enumerate(readings):
                heading, _, value = text.partition(",")
                turns.append(
                    Turn(_heading(heading), length(value, unit, "reading"), away[n // each], doubt)
                )
        found = cross(turns, length(rise, unit, "rise"))
        if correct and (turns[-1].heading_deg % 360 or found.left_mm_per_m is None):
            raise BadInput(
                "To correct a tilt, read heading 0 once more at the end (a fifth --reading 0,R): "
                "it shows how well the line comes back, and that the laser is left at heading 0."
            )
        most, whose = limit_of_line(place, limit)
        x, y = found.tilt_mm_per_m
        verdict = judge_tilt(x, y, found.stderr_mm_per_m, checked_limit(most))
        result = {
            "tilt_mm_per_m": [x, y],
            "stderr_mm_per_m": found.stderr_mm_per_m,
            "closure_mm": found.closure_mm,
            "closure_allowed_mm": found.closure_allowed_mm,
            "return_mm": found.return_mm,
            "return_allowed_mm": found.return_allowed_mm,
            "cone_mm_per_m": found.cone_mm_per_m,
            "cone_stderr_mm_per_m": found.cone_stderr_mm_per_m,
            "left_mm_per_m": found.left_mm_per_m,
            "corrected": None,
            "limit_mm_per_m": most,
            "chance_in": verdict.chance_in,
            "verdict": verdict.word,
            "ok": verdict.ok and found.closes,
        }
        steepest = (x * x + y * y) ** 0.5
        lines = [
            f"Tilt: {x:+.3f} mm/m towards heading 0, {y:+.3f} mm/m towards heading 90 "
            f"(each ± {2 * found.stderr_mm_per_m:.3f}); at its steepest {steepest:.3f} mm/m, "
            f"{place.length(5.0 * steepest)} in 5 m.",
            verdict_line(verdict, f"{most:.3f} mm/m", whose),
        ]
        if found.closes:
            lines.append(
                f"The readings close within {abs(found.closure_mm):.2f} mm; noise allows "
                f"{found.closure_allowed_mm:.2f} mm."
            )
        else:
            lines.append(
                f"! They do not agree: r0 + r180 - r90 - r270 is {found.closure_mm:+.2f} mm and "
                f"noise allows {found.closure_allowed_mm:.2f} mm"
                + (
                    ""
                    if found.return_mm is None
                    else f"; a heading read again differs by {found.return_mm:+.2f} mm, "
                    f"{found.return_allowed_mm:.2f} mm allowed"
                )
                + ". Laser or rod moved meanwhile, or one reading is wrong: do the check again."
            )
        if found.return_mm is None:
            lines.append(
                "Read heading 0 again at the end (a fifth --reading): a laser knocked half-way "
                "closes all the same, and looks tilted."
            )
        if found.cone_mm_per_m is None or found.cone_stderr_mm_per_m is None:
            lines.append(BLIND)
        else:
            lines.append(
                f"Cone: the line climbs {found.cone_mm_per_m:+.3f} mm/m with distance (± "
                f"{2 * found.cone_stderr_mm_per_m:.3f}), if both targets stand as said against "
                "the laser (--rise)."
            )
        inputs: dict[str, Any] = {
            "readings": [[t.heading_deg, t.reading_mm, t.dist_mm, t.stderr_mm] for t in turns]
        }
        if ways is not None and not found.closes:
            lines.append("! Nothing is corrected by readings that do not agree.")
        elif ways is not None:
            inputs |= {"laser_mm": laser, "target_mm": target, "turned": turned}
            result["corrected"], line = _correct_tilt(place, found, ways)
            lines.append(line)
        elif correct is False:
            lines.append(_forget_tilt(place))
        finish(context, place, "cross", inputs, result, lines, live=live, session=session)


def _ways(
    place: Any,
    away: list[float],
    laser: tuple[float, float] | None,
    target: tuple[float, float] | None,
    turned: str | None,
) -> tuple[tuple[float, float], tuple[float, float], bool]:
    """Return laser, way to the target and whether it turns clockwise, or refuse to correct."""
    from rig.study.lasers import refuse_shot

    if place.job is None:
        raise BadInput("--correct needs a job whose shots to correct: --job PATH.")
    if laser is None or target is None or turned is None:
        raise BadInput(
            "--correct needs to know which way the laser faces: --laser X,Y and --target X,Y on "
            "the plan, and --turned clockwise or counter-clockwise."
        )
    if len(away) != 1:
        raise BadInput("--correct takes one distance.")
    towards = target[0] - laser[0], target[1] - laser[1]
    told = math.hypot(*towards)
    if abs(told - away[0]) > max(OFF_SHARE * away[0], OFF_MM):
        raise BadInput(
            f"--laser and --target stand {place.length(told)} apart, but --dist says "
            f"{place.length(away[0])}: the direction would be wrong."
        )
    refuse_shot(place.job, place.setup)
    return laser, towards, turned == "clockwise"


def _correct_tilt(place: Any, found: Any, ways: Any) -> tuple[dict[str, Any], str]:
    """Keep a cross check's tilt to be taken off every shot of a set-up."""
    from rig.study.lasers import correct_tilt
    from rig.survey.laser.cross import on_plan

    laser, towards, clockwise = ways
    x, y = on_plan(found.tilt_mm_per_m, towards, clockwise)
    correct_tilt(place.job, place.setup, laser, (x, y), found.left_mm_per_m)
    corrected = {
        "setup": place.setup,
        "slope_mm_per_m": [x, y],
        "stderr_mm_per_m": found.left_mm_per_m,
    }
    return corrected, (
        f"From now on {x:+.3f} mm/m along x and {y:+.3f} mm/m along y are taken off the shots of "
        f"set-up {place.setup} (each ± {2 * found.left_mm_per_m:.3f}). This holds only while the "
        "laser stays at heading 0 as it stands now: not turned, not levelled anew, not switched "
        f"off. Shoot with --setup {place.setup}; a laser that was touched is a new set-up."
    )


def _forget_tilt(place: Any) -> str:
    from rig.study.lasers import forget_tilt

    if place.job is None:
        raise BadInput("--no-correct needs a job: --job PATH.")
    forget_tilt(place.job, place.setup)
    return f"No tilt is taken off the shots of set-up {place.setup} any more."


def _heading(text: str) -> float:
    try:
        return float(text.strip().removesuffix("deg").removesuffix("°"))
    except ValueError:
        raise BadInput(
            f"The heading {text!r} is no number: write --reading 90,1.502m, heading first."
        ) from None
