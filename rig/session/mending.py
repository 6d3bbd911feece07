"""Brings what a job says of a pour to what its log of acts says.

Acts and what came of them are one change now; an older floor-rig that was killed between the two
left a batch in the log that was poured by nobody.
"""

import time
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from rig.errors import RigError
from rig.events import PourDone, Poured, Ticked, Undone
from rig.pour.pouring import Pouring
from rig.pour.true_clock import on_one_clock
from rig.record import from_json
from rig.session.kinds.pour import PourSettings
from rig.session.pouring import live_plan
from rig.study.pour_log import StandingPour, is_act, plan_of_pour, stretches_of
from rig.words import pour_log as words
from rig.words import say

if TYPE_CHECKING:
    from rig.job.rows import Batch, Session
    from rig.job.store import Job


@dataclass(frozen=True)
class Holes:
    """Batches and ticks of a pour that its log has and its record lacks, or the other way round.

    Attributes
    ----------
    batches : tuple of (n, bags, session, utc_s)
        That are to be marked as poured.
    undone : tuple of int
        Ids of batches that were taken back.
    ticks : tuple of (session, time_s, utc_s, step)
        That are to be kept.
    done : tuple of (session, time_s, utc_s, what is kept of it) or None
        The end of the pour.
    """

    batches: tuple[tuple[int, float, int, float], ...] = ()
    undone: tuple[int, ...] = ()
    ticks: tuple[tuple[int, float, float, str], ...] = ()
    done: tuple[int, float, float, Mapping[str, Any]] | None = None

    def __bool__(self) -> bool:
        return bool(self.batches or self.undone or self.ticks or self.done)


def holes_of(job: "Job") -> Holes:
    """Return what is to be mended in the record of the pour that was planned last."""
    made = job.events(["pour_plan"])
    if not made:
        return Holes()
    sessions = {
        one.id: one
        for one in job.sessions()
        if one.kind == "pour" and one.capture.get("pour_plan") == made[-1].id
    }
    try:
        return _holes(job, plan_of_pour(job, made[-1].id), sessions) if sessions else Holes()
    except (RigError, ValueError):
        return Holes()  # whoever needs that plan says what is wrong with it


def mend(job: "Job") -> list[str]:
    """Mend the record, and return what is to be said of it; a second time there is nothing."""
    holes = holes_of(job)
    if not holes:
        return []
    with job.together(say("the record of the pour was not mended")):
        job.unpour_batches(holes.undone)
        for n, bags, session, utc_s in holes.batches:
            job.pour_batch(n, bags, session, utc_s)
        for session, time_s, utc_s, step in holes.ticks:
            job.log_event(session, time_s, utc_s, "ticked", {"step": step})
        if holes.done:
            session, time_s, utc_s, data = holes.done
            job.log_event(session, time_s, utc_s, "pour_done", data)
        told = {
            "batches": [n for n, *_ in holes.batches],
            "undone": len(holes.undone),
            "ticks": [step for *_, step in holes.ticks],
            "done": holes.done is not None,
        }
        job.log_event(None, None, time.time(), "mended", told)
    return [words.mended(len(holes.batches), len(holes.undone))]


def _holes(job: "Job", made: StandingPour, sessions: "dict[int, Session]") -> Holes:
    stretches = stretches_of(job, made.id, stopped=True)
    acts, _ = on_one_clock(stretches, "", 0.0, 0.0)
    told_in, ticked, ended = _told(job, sessions)
    bags = from_json(PourSettings, sessions[max(sessions)].capture).bags
    machine = Pouring(live_plan(made, bags, job.units))
    done = None
    poured: list[tuple[int, float, int, float]] = []
    ticks: list[tuple[int, float, float, str]] = []
    for (at_s, name, argument), (session, time_s, utc_s) in zip(acts, told_in, strict=True):
        for event in machine.act(name, at_s, argument):
            match event:
                case Poured():
                    # It may be an earlier press that counts only now.
                    poured.append((event.n, event.bags, session, utc_s - (at_s - event.time_s)))
                case Undone() if event.label.startswith("batch"):
                    poured.pop()
                case Ticked():
                    ticks.append((session, time_s, utc_s, event.step))
                case Undone() if event.label.startswith("tick"):
                    ticks.pop()
                case PourDone():
                    data = {**event.as_json(), "planned_interval_s": made.answer.interval_s}
                    done = (session, time_s, utc_s, data)
        if machine.finished:
            break
    kept = [one for one in job.batches() if one.session_id in sessions]
    batches, undone = _differences(poured, kept)
    return Holes(
        batches,
        undone,
        tuple(tick for tick in ticks if (tick[0], tick[3]) not in ticked),
        None if ended else done,
    )


def _told(
    job: "Job", sessions: "dict[int, Session]"
) -> tuple[list[tuple[int, float, float]], set[tuple[int, str]], bool]:
    """Return when each act was told (session, s, UTC s), the ticks kept, and whether an end is."""
    acts: list[tuple[int, float, float]] = []
    ticked: set[tuple[int, str]] = set()
    ended = False
    for session in sessions:
        for message in job.stored_messages(session):
            if is_act(message):
                acts.append((session, message.time_s or 0.0, message.utc_s))
            elif message.what == "event" and message.kind == "ticked":
                ticked.add((session, message.data.get("step", "")))
            elif message.what == "event" and message.kind == "pour_done":
                ended = True
    return acts, ticked, ended


def _differences(
    poured: list[tuple[int, float, int, float]], kept: "list[Batch]"
) -> tuple[tuple[tuple[int, float, int, float], ...], tuple[int, ...]]:
    """Return the batches poured that are not kept, and the ids of those kept that were not."""
    wanted: Counter[tuple[int, int | None]] = Counter((n, session) for n, _, session, _ in poured)
    there = Counter((one.n, one.session_id) for one in kept)
    missing = wanted - there
    batches = []
    for row in poured:
        key = (row[0], row[2])
        if missing[key] > 0:
            missing[key] -= 1
            batches.append(row)
    extra = there - wanted
    undone = []
    for one in reversed(kept):
        if extra[one.n, one.session_id] > 0:
            extra[one.n, one.session_id] -= 1
            undone.append(one.id)
    return tuple(batches), tuple(undone)
