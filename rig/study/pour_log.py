"""What a job knows of its pours: the plan that stands, what was ticked, logged and learnt."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from rig.errors import CannotAnswer
from rig.pour.crew import Roles, Times, work_of
from rig.pour.forecast import SEED
from rig.pour.pace import Pace, Past, learn
from rig.pour.prepour import STEPS
from rig.pour.sheet import Sheet
from rig.pour.simulation import draw
from rig.pour.true_clock import Act, Stretch
from rig.study.acts import kept_in
from rig.study.pour_answer import KeptPour, PourEnd, PourPlan, PourWish, Prepour, PrepourStep
from rig.study.site_log import site_log
from rig.units import Units
from rig.words import moment, say
from rig.words import pour as words

if TYPE_CHECKING:
    from rig.job.rows import Plan, Session, StoredEvent, StoredReading
    from rig.job.store import Job

MOST_POURS = 5
"""A crew is known by so many of its last pours; those before were other people's, or other days'
(our own figure, no source)."""
RUNS_TO_LEARN = 100
FORGOTTEN_S = 12 * 3600.0
"""A pour that nobody has logged anything of for so long is over."""


@dataclass(frozen=True)
class Learnt:
    """What a crew's pours taught: their pace, of `pours` of them, and the yield of the last.

    `yield_l` is None where that pour left it unknown.
    """

    pace: Pace
    pours: int
    yield_l: float | None
    text: str


@dataclass(frozen=True)
class StandingPour:
    """A pour plan that a job holds, by its `id`, and the plan under it."""

    id: int
    wish: PourWish
    answer: PourPlan
    plan: "Plan"


def last_pour_plan(job: "Job") -> tuple[int, KeptPour] | None:
    """Return the pour plan that was made last, and its id."""
    made = _made(job)
    return (made[-1].id, _kept(made[-1])) if made else None


def _made(job: "Job") -> "list[StoredEvent]":
    """Return the events of pour plans, those of the room that a job is narrowed to."""
    made, room = job.events(["pour_plan"]), job.room
    return [one for one in made if room is None or room.has_plan(one.data["inputs"])]


def lifts_poured(job: "Job") -> list[int | None]:
    """Return which lifts were poured to their end, in their order; None is all at once."""
    return [plan.data["inputs"].get("lift") for _, plan in _here(job) if plan is not None]


def _done(job: "Job") -> "Iterator[tuple[StoredEvent, StoredEvent | None]]":
    """Yield the end of each pour, in whichever room, and the pour plan that it went by."""
    done = job.events(["pour_done"])
    if not done:
        return
    plans = {one.id: one for one in job.events(["pour_plan"])}
    plan_of = {
        message.id: plans.get(session.capture.get("pour_plan", 0))
        for session in job.sessions()
        if session.kind == "pour"
        for message in job.stored_messages(session.id)
        if message.what == "event" and message.kind == "pour_done"
    }
    for event in done:
        yield event, plan_of.get(event.id)


def _here(job: "Job") -> "Iterator[tuple[StoredEvent, StoredEvent | None]]":
    """Yield those of `_done` that are of the room that a job is narrowed to."""
    room = job.room
    for event, plan in _done(job):
        if room is None or (plan is not None and room.has_plan(plan.data["inputs"])):
            yield event, plan


def current_pour_plan(job: "Job", plan: "Plan") -> StandingPour:
    """Return the pour plan that stands, refusing one of another plan."""
    made = last_pour_plan(job)
    if made is None:
        raise CannotAnswer(say("The pour has no plan yet. Make one first: rig pour plan"))
    pour_plan_id, kept = made
    if kept.plan_id != plan.id:
        raise CannotAnswer(
            say("The plan of the pour is stale: rig plan was run since. Run rig pour plan again.")
        )
    return StandingPour(pour_plan_id, kept.inputs, kept.result, plan)


def plan_of_pour(job: "Job", pour_plan_id: int) -> StandingPour:
    """Return the pour plan that a pour was begun by, and the plan under it, whatever came since.

    Raises
    ------
    CannotAnswer
        Where the job no longer holds them.
    """
    for event in job.events(["pour_plan"]):
        if event.id == pour_plan_id:
            kept = _kept(event)
            plan = job.plan(kept.plan_id)
            if plan is not None:
                return StandingPour(event.id, kept.inputs, kept.result, plan)
    raise CannotAnswer(say("The job does not hold the plan of this pour any more."))


def open_pour(job: "Job", utc_s: float) -> StandingPour | None:
    """Return the plan of the pour that is under way: batches are logged, and it was not ended."""
    made = _made(job)
    if not made:
        return None
    stretches = stretches_of(job, made[-1].id)
    poured = any(name == "batch" for stretch in stretches for _, name, _ in stretch.acts)
    if not poured or utc_s - max(one.last_utc_s for one in stretches) > FORGOTTEN_S:
        return None
    return plan_of_pour(job, made[-1].id)


def _pours_with_plans(job: "Job") -> Iterator[tuple[PourEnd, PourPlan | None]]:
    """Yield how each pour of two batches or more ended, in whichever room, and its plan."""
    for event, plan in _done(job):
        ended = _end(event)
        if ended.interval_s:
            yield ended, None if plan is None else _kept(plan).result


def pours_ended(job: "Job") -> list[tuple[float, PourEnd]]:
    """Return how each pour of a room ended, or of all rooms, and its time of day (UTC, s)."""
    return [(event.utc_s, _end(event)) for event, _ in _here(job)]


def _end(event: "StoredEvent") -> PourEnd:
    return kept_in(event, PourEnd, say("log of a pour"))


def learnt_from(job: "Job", times: Times, before: Pace, units: Units) -> Learnt | None:
    """Return what the pours of a job taught of its crew, or None.

    Parameters
    ----------
    job : Job
    times : Times
        What the next plan goes by: the pace is learnt against these.
    before : Pace
        What is known of the pace without any pour.
    units : Units
        Those it is said in.
    """
    ended = list(_pours_with_plans(job))[-MOST_POURS:]
    if not ended:
        return None
    last = ended[-1][0]
    yield_l = last.known_yield_l if last.share > 0 else None
    pasts = [
        past_of(plan, times, one.batches, one.interval_s)
        for one, plan in ended
        if plan is not None and one.interval_s
    ]
    pace = learn(pasts, before)
    text = words.learnt(last.interval_s or 0.0, last.planned_interval_s, yield_l, units)
    if pasts:
        text += " " + words.pace_learnt(len(pasts), pace.hands, pace.hands_sd)
    return Learnt(pace, len(pasts), yield_l, text)


def past_of(
    plan: PourPlan, times: Times, batches: int, interval_s: float, runs: int = RUNS_TO_LEARN
) -> Past:
    """Simulate a pour that was logged, by the times that the next plan goes by."""
    poured, away = plan.batches[: max(2, batches)], (plan.exit.x_mm, plan.exit.y_mm)
    own = replace(times, mix_s=plan.mix_time_s, slake_s=plan.sheet.slake_time_s or times.slake_s)
    work = work_of(
        own,
        [one.bags for one in poured],
        [math.dist((one.x_mm, one.y_mm), away) if one.way_mm is None else one.way_mm
         for one in poured],
        [one.area_m2 for one in poured],
    )  # fmt: skip
    rng = np.random.default_rng(SEED)
    drawn = draw(work, runs, rng, times.spread_by_hand, times.spread_by_clock)
    told = plan.roles
    roles = Roles(told.mixing, told.carrying, told.spreading, told.helpers, alone=plan.crew == 1)
    return Past(drawn, roles, plan.buckets, interval_s)


def prepour_of(job: "Job") -> Prepour:
    """Return the list before the pour, as `rig pour list --json` prints it."""
    ticked = ticked_of(job)
    steps = tuple(
        PrepourStep(key=one.key, text=one.text, why=one.why, ticked=one.key in ticked)
        for one in STEPS
    )
    left = tuple(one.key for one in steps if not one.ticked)
    return Prepour(prepour=steps, left=left, asks=site_log(job).asks)


def ticked_of(job: "Job", in_sessions: bool = True) -> list[str]:
    """Return the steps ticked since the last pour was done, those of the live log too or not."""
    ticked: list[str] = []
    for event in job.events(["tick", "ticked", "unticked", "pour_done"]):
        if event.kind == "pour_done":
            ticked = []
            continue
        step = str(event.data["step"])
        if event.kind == "tick" or (event.kind == "ticked" and in_sessions):
            ticked.append(step)
        elif event.kind == "unticked" and step in ticked and in_sessions:
            ticked.remove(step)
    return ticked


def after(sheet: Sheet, done_utc_s: float, lift: tuple[int, int] | None = None) -> Sequence[str]:
    """Say what comes after a pour that was done then (UTC, s), by the sheet, in local time.

    `lift` is which of how many it was.
    """

    def at(seconds: float | None) -> str | None:
        if seconds is None:
            return None
        return moment(done_utc_s + seconds, "weekday")

    if lift is not None and lift[0] < lift[1]:
        return words.after_lift(lift[0], at(sheet.walk_on_s))
    return words.after(at(sheet.walk_on_s), at(sheet.cover_after_s))


def stretches_of(job: "Job", pour_plan_id: int, stopped: bool = False) -> list[Stretch]:
    """Return the sessions of the pour that is under way; those `stopped` too where asked for."""
    found: list[Stretch] = []
    for session in job.sessions():
        if session.kind != "pour" or session.capture.get("pour_plan") != pour_plan_id:
            continue
        stretch = _stretch(job, session)
        found.append(stretch)
        if not stopped and any(name == "stop" for _, name, _ in stretch.acts):
            found = []
    return found


def is_act(message: "StoredReading | StoredEvent") -> bool:
    """Tell whether a message of a pour's log is an act: a word, a key, a press of a button."""
    if message.what == "reading":
        return message.status == "button"
    return message.kind == "act"


def _stretch(job: "Job", session: "Session") -> Stretch:
    acts: list[Act] = []
    last_s, last_utc_s = 0.0, session.utc_s
    for message in job.stored_messages(session.id):
        if message.what == "event" and message.kind == "end":
            continue  # it bears the time of day of what came before it
        time_s = message.time_s or 0.0
        last_s, last_utc_s = max(time_s, last_s), message.utc_s
        if not is_act(message):
            continue
        if message.what == "reading":
            acts.append((time_s, "batch", None))
        else:
            acts.append((time_s, message.data["act"], message.data["argument"]))
    return Stretch(
        session.boot_id, session.monotonic_s, session.utc_s, tuple(acts), last_s, last_utc_s
    )


def _kept(event: "StoredEvent") -> KeptPour:
    return kept_in(event, KeptPour, say("plan of a pour"))
