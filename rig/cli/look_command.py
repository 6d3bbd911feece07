"""`rig look`: what a straightedge showed between the shots."""

from pathlib import Path

import click

from rig.cli.options import Length, Lengths, job_option, json_option, show
from rig.errors import BadInput
from rig.language import say


@click.command()
@job_option
@click.option(
    "--from", "from_mm", type=Lengths("X", "Y"), required=True, help="Where the edge begins."
)
@click.option("--to", "to_mm", type=Lengths("X", "Y"), required=True, help="Where it ends.")
@click.option("--gap", "gap_mm", type=Length(above=0.0), help="The largest gap under it.")
@click.option(
    "--at", "at_mm", type=Lengths("X", "Y"), help="Where that is; at an end where the edge rocks."
)
@click.option("--flat", is_flag=True, help="No gap, no rocking.")
@json_option
def command(
    job_path: Path,
    from_mm: tuple[float, float],
    to_mm: tuple[float, float],
    gap_mm: float | None,
    at_mm: tuple[float, float] | None,
    flat: bool,
    as_json: bool,
) -> None:
    """Tell what a straightedge showed between the shots: flat, or a gap and where.

    rig floor names the places that are worth it. What a look rules out, the next rig floor and
    rig plan no longer hold bags against; rig undo takes a look back.
    """
    from rig.job.store import Job
    from rig.study.looked import keep_look
    from rig.surface.looked import Looked

    if flat == (gap_mm is not None) or (gap_mm is None) != (at_mm is None):
        raise BadInput(say("Say what the edge showed: --flat, or --gap 1/8in with --at X,Y."))
    with Job.open(job_path, write=True) as job:
        answer = keep_look(job, Looked(from_mm, to_mm, gap_mm or 0.0, at_mm))
    show(
        answer.as_json(),
        as_json,
        say("{answer}\nNext: rig floor, then rig plan", answer=answer.text),
    )
