"""Which places a survey is to shoot, and where an earlier walk stopped."""

from collections.abc import Sequence

from rig.errors import BadInput
from rig.job.store import Job
from rig.language import say
from rig.room import contains
from rig.study.grid import points_of
from rig.study.room import outline_of

WALKED = ("floor", "finished")
KINDS = (*WALKED, "benchmark", "threshold")
Place = tuple[str, float | None, float | None]


def places_to_shoot(
    job: Job, kind: str, labels: Sequence[str] = (), at: tuple[float, float] | None = None
) -> list[Place]:
    """Return the places that a session is to shoot, in order.

    Parameters
    ----------
    job : Job
    kind : {"floor", "finished", "benchmark", "threshold"}
    labels : sequence of str
        A benchmark's or threshold's name, grid points to shoot again, or a name for `at`.
    at : (x_mm, y_mm), optional
        Where a threshold is, or a place beside the grid.

    Raises
    ------
    BadInput
        Where that is no place, or nothing is left.
    CannotAnswer
        Where there is no grid yet.
    """
    if kind not in WALKED:
        return [_fixed_place(job, kind, labels, at)]
    if at is not None:
        return [_own_place(job, labels, at)]
    points: list[Place] = [(p.label, p.x_mm, p.y_mm) for p in points_of(job)]
    if labels:
        known = {point[0]: point for point in points}
        unknown = [label for label in labels if label.upper() not in known]
        if unknown:
            raise BadInput(
                say("There is no grid point {unknown!r}; see rig grid.", unknown=unknown[0])
            )
        return [known[label.upper()] for label in labels]
    left: list[Place] = [(p.label, p.x_mm, p.y_mm) for p in job.unshot(kind)]
    if not left:
        raise BadInput(
            say("Every point has a shot. Shoot one again with --label LABEL, or go on: rig floor.")
        )
    return left


def _fixed_place(
    job: Job, kind: str, labels: Sequence[str], at: tuple[float, float] | None
) -> Place:
    """A benchmark or a threshold, under the name that it had before."""
    if len(labels) != 1:
        raise BadInput(
            say("A threshold needs one name: --label T1.")
            if kind == "threshold"
            else say("A benchmark needs one name: --label BM1.")
        )
    (label,) = labels
    if kind == "threshold" and at is None:
        raise BadInput(say("A threshold needs its place: --at X,Y."))
    if label.upper() in {point.label for point in job.points()}:
        raise BadInput(
            say(
                "{label} is a grid point: give the threshold a name of its own, as --label T1.",
                label=label,
            )
            if kind == "threshold"
            else say(
                "{label} is a grid point: give the benchmark a name of its own, as --label BM1.",
                label=label,
            )
        )
    shot_before = {shot.point.upper(): shot.point for shot in job.shots(kinds=[kind])}
    x_mm, y_mm = at or (None, None)
    return shot_before.get(label.upper(), label), x_mm, y_mm


def _own_place(job: Job, labels: Sequence[str], at: tuple[float, float]) -> Place:
    """A point beside the grid, as `rig floor` suggests them."""
    if len(labels) != 1:
        raise BadInput(say("A place beside the grid needs one name: --label N1 --at X,Y."))
    known = {p.label: (p.x_mm, p.y_mm) for p in job.points()}
    if known.get(labels[0], at) != at:
        raise BadInput(
            say(
                "{labels} is a grid point elsewhere; give the place another name.", labels=labels[0]
            )
        )
    if not contains(outline_of(job), at[0], at[1]).all():
        raise BadInput(say("--at lies outside the floor; give X,Y from the room's corner."))
    return labels[0], at[0], at[1]


def last_shot(job: Job, kind: str, setup: str) -> tuple[str, float] | None:
    """The last shot that this line gave, for a walk that is taken up again."""
    if kind not in WALKED:
        return None
    mine = [shot for shot in job.shots(kinds=[kind]) if shot.setup == setup]
    return (mine[-1].point, mine[-1].reading_mm) if mine else None
