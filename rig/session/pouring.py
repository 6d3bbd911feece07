"""From the plan of a pour to its live log, and back into the job."""

from collections.abc import Iterable
from typing import TYPE_CHECKING

from rig.devices.clock import RUNS_IN_SLEEP
from rig.devices.reading import Reading
from rig.errors import BadInput
from rig.events import Event, PourDone, Poured, Ticked, Undone
from rig.pour.estimate import ONE_SIDED_95, Prior
from rig.pour.live_plan import LivePlan, PlannedBatch, Strip
from rig.pour.pouring import Pouring
from rig.pour.true_clock import before_this_start, on_one_clock
from rig.session.items import Act, Item
from rig.session.recorder import Recorder
from rig.study.lifting import takes
from rig.study.pour_log import (
    FORGOTTEN_S,
    StandingPour,
    pours_ended,
    stretches_of,
    ticked_of,
)
from rig.units import Units
from rig.words import numeral, say
from rig.words import pour_log as words
from rig.words.pour import CLOCK_MAY_STAND, too_early

if TYPE_CHECKING:
    from rig.job.store import Job


def live_plan(made: StandingPour, bags: float, units: Units) -> LivePlan:
    """Turn a stored pour plan into what the live log goes by, and says in the job's units."""
    answer, taken = made.answer, takes(made.plan, made.wish.lift)
    return LivePlan(
        batches=tuple(
            PlannedBatch(b.n, b.strip, b.bags, b.x_mm, b.y_mm, b.where) for b in answer.batches
        ),
        strips=tuple(Strip(s.strip, s.share_end, s.share, s.markers) for s in answer.strips),
        seams=tuple((b.n - 1, later - 1) for b in answer.batches for later in b.meets),
        working_s=answer.working_time_s,
        lead_s=answer.lead_s,
        interval_s=answer.interval_s,
        bags=bags,
        prior=Prior(
            taken.volume_l,
            (taken.volume_p95_l - taken.volume_l) / ONE_SIDED_95,
            answer.yield_l,
            answer.yield_doubt,
        ),
        units=units,
    )


def pour_machine(
    job: "Job",
    made: StandingPour,
    live: LivePlan,
    boot_id: str,
    monotonic_s: float,
    utc_s: float,
) -> Pouring:
    """Make the live log, with what earlier sessions of this pour logged, by the true clock."""
    stretches = stretches_of(job, made.id)
    history, notes = on_one_clock(stretches, boot_id, monotonic_s, utc_s)
    if history and -history[-1][0] > FORGOTTEN_S:
        notes.append(words.old_entry(-history[-1][0]))
    if any(event.id > made.id for event in job.events(["pour_done"])):
        notes.append(words.ENDED_BEFORE)
    if not made.answer.feasible:
        notes.append(words.not_safe(made.answer.advice))
    lift, walk_on_s = made.wish.lift, made.answer.sheet.walk_on_s
    if lift is not None and lift > 1 and walk_on_s is not None and not history:
        left_s = max((at for at, _ in pours_ended(job)), default=utc_s) + walk_on_s - utc_s
        if left_s > 0:
            notes.append(too_early(lift, left_s))
    if not RUNS_IN_SLEEP:
        notes.append(CLOCK_MAY_STAND)
    by_day = before_this_start(stretches, boot_id)
    return Pouring(live, history, ticked_of(job, in_sessions=False), notes, by_day)


def bags_on_site(made: StandingPour, bags: float | None) -> float:
    """Return how many bags are on site: as said, else those of the plan, to be 95 % sure.

    Raises
    ------
    BadInput
        More than the room can take.
    """
    planned = takes(made.plan, made.wish.lift).bags_p95
    if bags is None:
        return float(planned)
    if bags > 3.0 * planned:
        raise BadInput(
            say(
                "--bags {bags} is more than the room can take: the plan is for {planned}. "
                "Count again, or plan again.",
                bags=numeral(bags, "g"),
                planned=planned,
            )
        )
    return bags


class PourRecorder(Recorder):
    """The job's side of a pour: an act and what came of it are on the disk before it is told."""

    def __init__(self, job: "Job", session_id: int, planned_interval_s: float) -> None:
        super().__init__(job, session_id)
        self._planned_interval_s = planned_interval_s
        self._has_act = False

    def item(self, item: Item) -> None:
        """Keep one item; an act is committed with what comes of it, be that nothing."""
        super().item(item)
        self._has_act = _is_act(item)

    def holds(self, item: Item | None, events: Iterable[Event]) -> bool:
        """Nobody hears what came of an act before both are on the disk."""
        return _is_act(item) or any(isinstance(event, PourDone) for event in events)

    def keep(self, *events: Event) -> None:
        """Commit an act with what came of it, all or nothing."""
        if self._has_act or any(isinstance(event, PourDone) for event in events):
            self._has_act = False
            with self._job.together():
                for event in events:
                    self._keep(event)

    def _keep(self, event: Event) -> None:
        time_s, utc_s = self._now
        match event:
            case Poured():
                at = utc_s - (time_s - event.time_s)
                self._job.pour_batch(event.n, event.bags, self._session, at)
            case Undone() if event.label.startswith("batch"):
                self._job.unpour_batch()
            case Undone() if event.label.startswith("tick"):
                step = event.label.removeprefix("tick ")
                self._job.log_event(self._session, time_s, utc_s, "unticked", {"step": step})
            case Ticked():
                told = {"step": event.step}
                self._job.log_event(self._session, time_s, utc_s, "ticked", told)
            case PourDone():
                done = {**event.as_json(), "planned_interval_s": self._planned_interval_s}
                self._job.log_event(self._session, time_s, utc_s, "pour_done", done)


def _is_act(item: Item | None) -> bool:
    return isinstance(item, Act) or (isinstance(item, Reading) and item.status == "button")
