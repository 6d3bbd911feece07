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
    from rig.study.checks import check_words, rod_check

    with bench(job_path, as_json) as place:
        both = [numbers(text, unit, ("ROD", "TAPE"), "--pair") for text in pairs]
        doubt = typed_stderr_mm(unit, stderr_mm)
        check = rod_check([(a, b) for a, b in both], stderr_mm=doubt, limit_mm=limit)
        lines = check_words(check, place.units)
        finish(context, place, check, {"pairs_mm": both}, lines, live=False)
