"""The job's plan, refused where what it stands on has changed since."""

from typing import TYPE_CHECKING

from rig.errors import CannotAnswer
from rig.language import join, say
from rig.study.rooms import refuse_several
from rig.words.plan import plan_is_stale

if TYPE_CHECKING:
    from rig.job.rows import Plan
    from rig.job.store import Job


def fresh_plan(job: "Job", *, bags: bool = False) -> "Plan":
    """Return the job's plan.

    Parameters
    ----------
    job : Job
    bags : bool
        Whether its bags must stand too, not only its plane.

    Raises
    ------
    CannotAnswer
        Where there is none, or shots or settings have changed since it was made.
    """
    refuse_several(job)
    plan = job.current_plan()
    if plan is None:
        raise CannotAnswer(say("The job has no plan yet. Make one first: rig plan"))
    changed = job.changed_since(plan)
    if changed:
        raise CannotAnswer(plan_is_stale(changed))
    changed = job.changed_since(plan, bags=True) if bags else []
    if changed:
        raise CannotAnswer(
            say(
                "The plan's bags are stale: since it was made, {changed} changed. Run rig plan "
                "again.",
                changed=join(", ", changed),
            )
        )
    return plan
