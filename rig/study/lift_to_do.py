"""Which lift of a job's plan is to be poured next, and what is ready for it."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rig.study.markers_answer import laid_lift
from rig.study.plan_answer import read_plan
from rig.study.pour_log import last_pour_plan, lifts_poured

if TYPE_CHECKING:
    from rig.job.store import Job


@dataclass(frozen=True, slots=True)
class LiftToDo:
    """Which lift is to be poured next, and how far that is; `lift` is None for all at once.

    Attributes
    ----------
    lift : int or None
    of : int
        How many lifts the plan has.
    laid, planned : bool
        Whether markers are laid out and a pour is planned for it.
    poured : bool
        Whether nothing is left to pour.
    """

    lift: int | None
    of: int
    laid: bool
    planned: bool
    poured: bool


def lift_to_do(job: "Job") -> LiftToDo:
    """Tell which lift of a job's plan comes next; a pour of all at once ends them all."""
    row, made, done = job.current_plan(), last_pour_plan(job), lifts_poured(job)
    of = 1 if row is None else max(read_plan(row).answer.lifts, 1)
    left = [n for n in range(1, of + 1) if n not in done]
    poured = bool(done) and (of == 1 or None in done or not left)
    if of == 1 or poured:
        return LiftToDo(None, of, True, made is not None, poured)
    wished = None if made is None else made[1].inputs.lift
    whole = made is not None and wished is None
    planned = whole or (wished == left[0])
    laid = laid_lift(job, of) == left[0] or (whole and not done)
    return LiftToDo(left[0], of, laid, planned, False)
