"""`rig undo`: take back the last act, or the one named."""

from pathlib import Path

import click

from rig.cli.options import job_option, json_option, show
from rig.errors import BadInput
from rig.language import join, moment, put, say
from rig.words.undo import NOTHING


@click.command()
@job_option
@click.argument("act", metavar="[ID]", required=False)
@click.option("--list", "lists", is_flag=True, help="Show what can be taken back, newest first.")
@json_option
def command(job_path: Path, act: str | None, lists: bool, as_json: bool) -> None:
    """Take back the last act, or the one of an ID that --list shows.

    A shot, a skip, an edit of the room, a grid, a relabelling, a table, shots set aside, a laser
    set up again, a marker set, a batch. Nothing is deleted: what was done stays in the log.
    """
    from rig.job.store import Job
    from rig.session.undoing import take_back
    from rig.study.acts import ActsAnswer, acts_of
    from rig.study.undo import act_called

    if lists:
        if act is not None:
            raise BadInput(say("Give --list or an ID, not both."))
        with Job.open(job_path) as job:
            acts = acts_of(job)
        rows = [
            put(
                "{id:>5}  {when}  {what}",
                id=one.id,
                when=moment(one.utc_s, "minute"),
                what=one.what,
            )
            for one in acts
        ]
        told = ActsAnswer(acts=tuple(one.as_act for one in acts))
        show(told.as_json(), as_json, join("\n", rows) or NOTHING)
        return
    with Job.open(job_path, write=True) as job:
        answer = take_back(job, act_called(job, act))
    show(answer.as_json(), as_json, answer.text)
