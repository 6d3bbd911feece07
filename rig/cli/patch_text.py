"""`rig plan --patch`: the least work that passes a rule, for people and as JSON."""

from pathlib import Path

from rig.cli.jobs import outline_of
from rig.cli.options import show
from rig.language import say


def patch_floor(
    job_path: Path,
    room_name: str | None,
    rule_given: str,
    grind: float | None,
    fill: float | None,
    confidence: float,
    why: bool,
    as_json: bool,
) -> None:
    """Plan patches and print them; the job's stored plan, if any, stays as it is."""
    from rig.cli.progress import working
    from rig.flatness.rules import load_rule
    from rig.job.store import Job
    from rig.report.patch_part import patch_text
    from rig.study.patching import patch_answer
    from rig.study.rooms import in_room, refuse_several

    rule = load_rule(rule_given)
    with Job.open(job_path) as job, working(say("Looking for the least work")):
        refuse_several(in_room(job, room_name))
        told, units = patch_answer(job, outline_of(job), rule, confidence, fill, grind), job.units
    show(told.as_json(), as_json, patch_text(told, units, why=why))
