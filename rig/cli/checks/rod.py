"""`rig check rod`: the rod against a tape."""

from pathlib import Path

import click

from rig.cli.checks.shared import (
    bench,
    check_job_option,
    finish,
    numbers,
    stderr_option,
    typed_stderr_mm,
    verdict_line,
)
from rig.cli.options import Length, json_option, unit_option


@click.command("rod")
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
def command(
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
