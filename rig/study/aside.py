"""The history of a point: what was read there and what counts of it; and setting a shot aside."""

import time
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from rig.errors import BadInput
from rig.language import say
from rig.record import Record
from rig.study.acts import standing

if TYPE_CHECKING:
    from rig.job.rows import Shot
    from rig.job.store import Job

EVENT = "set_aside"
State = Literal["used", "replaced", "aside", "undone"]


@dataclass(frozen=True, slots=True, kw_only=True)
class PastShot(Record):
    """A shot of a point, and whether it counts."""

    id: int
    reading_mm: float
    stderr_mm: float
    setup: str
    utc_s: float
    state: State


def history_of(job: "Job", label: str, kind: str = "floor") -> list[PastShot]:
    """Return every shot that was taken at a point, the last first.

    Raises
    ------
    BadInput
        There is none.
    """
    every = [one for one in job.shots(kinds=[kind], current=False) if one.point == label]
    if not every:
        raise BadInput(say("{label} was never shot.", label=label[:40]))
    aside = {n for event in standing(job, ["jolt", EVENT]) for n in event.data.get("shots", ())}
    return [
        PastShot(
            id=one.id,
            reading_mm=one.reading_mm,
            stderr_mm=one.stderr_mm,
            setup=one.setup,
            utc_s=one.utc_s,
            state=_state(one, aside),
        )
        for one in reversed(every)
    ]


def _state(shot: "Shot", aside: set[int]) -> State:
    if shot.superseded_by is None:
        return "used"
    if shot.superseded_by != shot.id:
        return "replaced"
    return "aside" if shot.id in aside else "undone"


def set_aside(job: "Job", label: str, kind: str = "floor") -> None:
    """Set the shot of a point aside: it is kept, not used, and the point asked for again.

    Raises
    ------
    BadInput
        None of it counts.
    """
    found = [one for one in job.shots(kinds=[kind]) if one.point == label]
    if not found:
        raise BadInput(say("No shot of {label} counts.", label=label[:40]))
    put_aside(job, found)


def put_aside(job: "Job", shots: "Iterable[Shot]") -> None:
    """Set shots of one kind aside, all or none; an event keeps which."""
    shots = list(shots)
    ids = [one.id for one in shots]
    told = {
        "setup": shots[0].setup,
        "kind": shots[0].kind,
        "labels": [one.point for one in shots],
        "text": "",
        "shots": ids,
        "by_hand": True,
    }
    with job.together(say("the shot was not set aside")):
        job.set_aside(ids)
        job.log_event(None, None, time.time(), EVENT, told)
