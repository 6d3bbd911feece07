"""`rig relabel`: move shots along the walk when they were tagged to the wrong points."""

from pathlib import Path

import click

from rig.cli.options import job_option, json_option, show
from rig.errors import BadInput
from rig.language import join, put, say


@click.command()
@job_option
@click.option("--from", "first", required=True, metavar="LABEL", help="The first wrong tag.")
@click.option(
    "--shift",
    required=True,
    type=int,
    metavar="N",
    help="Points along the walk; negative moves back.",
)
@click.option(
    "--kind", type=click.Choice(["floor", "finished"]), default="floor", show_default=True
)
@json_option
def command(job_path: Path, first: str, shift: int, kind: str, as_json: bool) -> None:
    """Mend wrong tags: shots from a label on move along the walk.

    A shot that lands on a point that has one already takes its place; the old one is kept in the
    log.
    """
    from rig.job.store import Job
    from rig.study.grid import relabel
    from rig.words import grid as words

    if shift == 0:
        raise BadInput(
            say("--shift 0 moves nothing; give 1 to move shots to the next point, or -1.")
        )
    with Job.open(job_path, write=True) as job:
        answer = relabel(job, first, shift, kind)
    lines = [put("  {now}", now=words.is_now(one.was, one.label)) for one in answer.moved]
    show(answer.as_json(), as_json, join("\n", [words.moved(answer.shots), *lines]))
