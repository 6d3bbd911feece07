"""`rig check`: whether today's line, and the rod, are good enough."""

import math
from pathlib import Path
from typing import Any

import click

from rig.cli.check_options import (
    bench,
    check_job_option,
    check_options,
    finish,
    is_live,
    length,
    numbers,
    shoot,
    slope_limit_option,
    stderr_option,
    typed_stderr_mm,
    verdict_line,
    watch,
)
from rig.cli.options import SECONDS, Length, Lengths, json_option, unit_option
from rig.errors import BadInput

# How far a paced or taped distance may be off what the plan says (common practice, no source).
OFF_SHARE, OFF_MM = 0.05, 100.0


@click.group()
def command() -> None:
    """Check the laser and the rod: five minutes, with the rod in hand.

    Readings are typed with the command or taken live (--serial, --typed). Exits 1 where the best
    estimate breaks the limit; the doubt is told beside. No job is needed; where there is one, the
    check is kept in it.
    """


@command.command("two-peg")
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
def two_peg_command(
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
        most, whose = _limit(place, limit)
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


@command.command("cross")
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
def cross_command(
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
        most, whose = _limit(place, limit)
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


@command.command("repeat")
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
def repeat_command(
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


@command.command("drift")
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
def drift_command(
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


@command.command("rod")
@click.option(
    "--pair",
    "pairs",
    multiple=True,
    metavar="ROD,TAPE",
    help="What rod and tape read at one place; three or more, high and low, tell the scale too.",
)
@click.option("--limit", type=Length(above=0.0), default="1mm", show_default=True,
              help="Most that the rod's zero may be off.")  # fmt: skip
@stderr_option
@unit_option
@check_job_option
@json_option
@click.pass_context
def rod_command(
    context: click.Context,
    /,
    pairs: tuple[str, ...],
    limit: float,
    stderr_mm: float | None,
    unit: str | None,
    job_path: Path | None,
    as_json: bool,
) -> None:
    """Compare the rod with a tape: its zero, its scale; and what being out of plumb does.

    A zero offset is the same in every shot and cancels as long as survey and markers use the same
    rod; put it into the profile (zero_offset_mm) where a tape or a second rod comes in.
    """
    from rig.survey.laser.rod import PLUMB_DEG, against_tape, out_of_plumb_mm
    from rig.survey.laser.verdict import judge

    with bench(job_path, as_json) as place:
        both = [numbers(text, unit, ("ROD", "TAPE"), "--pair") for text in pairs]
        found = against_tape([(a, b) for a, b in both], typed_stderr_mm(unit, stderr_mm))
        verdict = judge(found.zero_offset_mm, found.stderr_mm, limit)
        reach = sum(rod for rod, _ in both) / len(both)
        plumb = [{"tilt_deg": tilt, "error_mm": out_of_plumb_mm(reach, tilt)} for tilt in PLUMB_DEG]
        result = {
            "zero_offset_mm": found.zero_offset_mm,
            "stderr_mm": found.stderr_mm,
            "scale_mm_per_m": found.scale_mm_per_m,
            "scale_stderr_mm_per_m": found.scale_stderr_mm_per_m,
            "sd_mm": found.sd_mm,
            "plumb": plumb,
            "limit_mm": limit,
            "chance_in": verdict.chance_in,
            "verdict": verdict.word,
            "ok": verdict.ok,
        }
        way = "more" if found.zero_offset_mm >= 0 else "less"
        lines = [
            f"The rod reads {abs(found.zero_offset_mm):.2f} mm {way} than the tape (± "
            f"{2 * found.stderr_mm:.2f}); zero_offset_mm = {-found.zero_offset_mm:.2f} in its "
            "profile makes them agree.",
            verdict_line(verdict, f"{limit:.2f} mm", "for the zero"),
        ]
        if found.scale_mm_per_m is not None and found.scale_stderr_mm_per_m is not None:
            lines.append(
                f"Its scale is off by {found.scale_mm_per_m:+.2f} mm in each metre (± "
                f"{2 * found.scale_stderr_mm_per_m:.2f})."
            )
        lines.append(f"Out of plumb, a reading of {place.length(reach)} is too long by:")
        lines += [f"  {row['tilt_deg']:.1f}°: {row['error_mm']:.2f} mm" for row in plumb]
        lines.append("rig survey --rock waves the rod through plumb and takes the vertex.")
        finish(context, place, "rod", {"pairs_mm": both}, result, lines, live=False)


def _correct(place: Any, found: Any, wanted: bool) -> str:
    """Keep a two-peg test's error to be taken off every shot, or forget it."""
    from rig.live.lasers import CORRECTION

    if place.job is None:
        raise BadInput("--correct needs a job whose shots to correct: --job PATH.")
    if not wanted:
        place.job.update_settings({CORRECTION: None})
        return "No error is taken off the shots any more."
    kept = {
        "error_mm_per_m": found.error_mm_per_m,
        "stderr_mm_per_m": found.stderr_mm_per_m,
    }
    place.job.update_settings({CORRECTION: kept})
    return (
        f"From now on {found.error_mm_per_m:+.3f} mm/m of distance from the laser are taken off "
        "every shot of this job where it is known where the laser stood. Plan again: rig plan"
    )


def _ways(
    place: Any,
    away: list[float],
    laser: tuple[float, float] | None,
    target: tuple[float, float] | None,
    turned: str | None,
) -> tuple[tuple[float, float], tuple[float, float], bool]:
    """Return laser, way to the target and whether it turns clockwise, or refuse to correct."""
    from rig.live.lasers import refuse_shot

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
    from rig.live.lasers import correct_tilt
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
    from rig.live.lasers import forget_tilt

    if place.job is None:
        raise BadInput("--no-correct needs a job: --job PATH.")
    forget_tilt(place.job, place.setup)
    return f"No tilt is taken off the shots of set-up {place.setup} any more."


def _way(text: str, unit: str | None) -> tuple[float, float]:
    a, b = numbers(text, unit, ("DIST_A", "DIST_B"), "--dist")
    return a, b


def _limit(place: Any, given: float | None) -> tuple[float, str]:
    from rig.live.lasers import limit_of

    if given is not None:
        return given, "--limit"
    return limit_of(place.job, place.outline, place.setup)


def _heading(text: str) -> float:
    try:
        return float(text.strip().removesuffix("deg").removesuffix("°"))
    except ValueError:
        raise BadInput(
            f"The heading {text!r} is no number: write --reading 90,1.502m, heading first."
        ) from None
