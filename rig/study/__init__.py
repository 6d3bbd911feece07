"""A job in, typed answers out: what commands, page, report and scripts reckon with.

For scripts::

    from rig import study

    with study.open_job("job.sqlite") as job:
        print(study.floor(job).range_mm)

Every answer is a frozen record whose `as_json()` is what the command of its name prints with
`--json`. Lengths are in mm, heights relative to the laser's line at set-up 1, negative below it.
A job is opened for reading unless `write=True` is given; nothing here writes into it.
"""

from dataclasses import replace
from os import PathLike
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from rig.job.store import Job
    from rig.study.floor_answer import FloorAnswer, HeightsAnswer
    from rig.study.house_plan import HousePlan
    from rig.study.markers_answer import MarkersAnswer
    from rig.study.plan_answer import PlanAnswer
    from rig.study.plane import PlanWish
    from rig.study.proof_answer import FloorProof

# Each of these answers is made in a module named after it, as `floor_answer`: a module `floor`
# would take the place of the function. What they need is loaded when they are called, so that
# `rig --help` waits for none of it.


def open_job(path: "str | PathLike[str]", *, write: bool = False, room: str | None = None) -> "Job":
    """Open a job file; use it as a context manager, so that it is closed again.

    With `room` every answer is of that room of a job that has several; without it `plan` answers
    for all of them together.

    Raises
    ------
    BadInput
        No such file.
    JobUnusable
        It is damaged, newer than this program, or, with `write`, held by another process.
    """
    from rig.job.store import Job
    from rig.study.rooms import in_room

    job = Job.open(path, write=write)
    try:
        return in_room(job, room)
    except BaseException:
        job.close()
        raise


def floor(
    job: "Job", *, points: "ArrayLike | None" = None, confidence: float = 0.95
) -> "FloorAnswer":
    """Tell what a floor is like, as `rig floor`.

    Parameters
    ----------
    job : Job
    points : array, shape (m, 2), optional
        Places in mm whose heights to tell too.
    confidence : float

    Raises
    ------
    CannotAnswer
        Too few or collinear shots, or set-ups that are not tied.
    """
    from rig.study.floor_answer import study_floor

    return study_floor(job, points=points, confidence=confidence)[1]


def heights(job: "Job", x_mm: "ArrayLike", y_mm: "ArrayLike") -> "HeightsAnswer":
    """Tell the height of the floor at places.

    Parameters
    ----------
    job : Job
    x_mm, y_mm : array, shape (m,)

    Returns
    -------
    HeightsAnswer
        With arrays `z_mm` and `stderr_mm`, shape (m,).
    """
    from rig.study.floor_answer import heights_answer

    return heights_answer(job, x_mm, y_mm)


def plan(
    job: "Job", wish: "PlanWish | None" = None, *, confidence: float | None = None
) -> "PlanAnswer | HousePlan":
    """Choose a finished plane and tell what it takes, as `rig plan`; it is not kept.

    Parameters
    ----------
    job : Job
    wish : PlanWish, optional
        Level unless said.
    confidence : float, optional
        Else that of the wish, 0.95 unless said.
    """
    from rig.study.picture import picture_of
    from rig.study.plan_answer import plan_answer
    from rig.study.plane import PlanWish
    from rig.study.room import outline_of
    from rig.study.rooms import has_several

    wish = wish or PlanWish()
    if confidence is not None:
        wish = replace(wish, confidence=confidence)
    if has_several(job):
        from rig.study.house_plan import house_plan

        return house_plan(job, wish)
    return plan_answer(job, picture_of(job, outline_of(job), wish.confidence), wish)


def markers(job: "Job", *, reach_mm: float | None = None) -> "MarkersAnswer":
    """Lay out the depth markers of the job's plan, as `rig markers`; they are not kept.

    Parameters
    ----------
    job : Job
    reach_mm : float, optional
        No place is farther than this from a marker; 4 ft, or 1.2 m, unless said.

    Raises
    ------
    CannotAnswer
        No plan yet, or one whose shots have changed since.
    """
    from rig.study.markers_answer import markers_answer

    return markers_answer(job, reach_mm)


def proof(job: "Job", rule: str, *, confidence: float = 0.95) -> "FloorProof":
    """Judge a floor against a tolerance, as `rig flatness`.

    Parameters
    ----------
    job : Job
    rule : str
        Key of a rule (`rig rules`), or path of a file of the user's own.
    confidence : float
        How sure to be of in, and of out.

    Raises
    ------
    BadInput
        A rule that is not known.
    CannotAnswer
        No shots to judge, or too few.
    """
    from rig.flatness.rules import load_rule
    from rig.study.proof_answer import proof as judged
    from rig.study.room import outline_of

    return judged(job, outline_of(job), load_rule(rule), confidence)
