"""From the plan of a pour to its live log, and back into the job."""

from typing import TYPE_CHECKING, Any

from rig.pour.clock_text import minutes
from rig.pour.estimate import ONE_SIDED_95, Prior
from rig.pour.pouring import LivePlan, PlannedBatch, Pouring, Strip
from rig.pour.true_clock import on_one_clock
from rig.session.recorder import Recorder
from rig.session.run import Act, Item
from rig.study.pour_plan import FORGOTTEN_S, stretches_of, ticked_of

if TYPE_CHECKING:
    from rig.job.rows import Plan, StoredEvent
    from rig.job.store import Job


def live_plan(told: dict[str, Any], plan: "Plan", bags: float | None, units: str) -> LivePlan:
    """Turn a stored pour plan into what the live log goes by, and says in the job's units."""
    result = told["result"]
    batches = tuple(
        PlannedBatch(b["n"], b["strip"], b["bags"], b["x_mm"], b["y_mm"], b["where"])
        for b in result["batches"]
    )
    strips = tuple(
        Strip(s["strip"], s["share_end"], s["share"], tuple(s["markers"])) for s in result["strips"]
    )
    seams = tuple((b["n"] - 1, later - 1) for b in result["batches"] for later in b["meets"])
    volume = plan.result["volume_l"]
    prior = Prior(
        volume["mean"],
        (volume["p95"] - volume["mean"]) / ONE_SIDED_95,
        result["yield_l"],
        result["yield_doubt"],
    )
    return LivePlan(
        batches,
        strips,
        seams,
        result["working_time_s"],
        result["lead_s"],
        result["interval_s"],
        float(plan.result["bags"]["p95"] if bags is None else bags),
        prior,
        units,
    )


def pour_machine(
    job: "Job", told: "StoredEvent", live: LivePlan, boot_id: str, monotonic_s: float, utc_s: float
) -> Pouring:
    """Make the live log, with what earlier sessions of this pour logged, by the true clock."""
    stretches = stretches_of(job, told.id)
    history, notes = on_one_clock(stretches, boot_id, monotonic_s, utc_s)
    if history and -history[-1][0] > FORGOTTEN_S:
        notes.append(
            f"The last entry is {minutes(-history[-1][0])} old: if this is a new pour, make a new "
            "plan for it (rig pour plan)."
        )
    ended = [event for event in job.events(["pour_done"]) if event.id > told.id]
    if ended:
        notes.append(
            "The pour of this plan was ended with stop: what is logged now counts as another one. "
            "For a new pour make a new plan first (rig pour plan)."
        )
    if not told.data["result"]["feasible"]:
        notes.append(f"The plan says this pour is not safe. {told.data['result']['advice']}")
    return Pouring(live, history, ticked_of(job, in_sessions=False), notes)


class PourRecorder(Recorder):
    """The job's side of a pour: every act is on the disk before anything else happens."""

    def __init__(self, job: "Job", session_id: int, planned_interval_s: float) -> None:
        super().__init__(job, session_id)
        self._planned_interval_s = planned_interval_s

    def item(self, item: Item) -> None:
        """Keep one item, an act at once."""
        super().item(item)
        if isinstance(item, Act):
            self.flush()

    def event(self, event: dict[str, Any]) -> None:
        """Make durable what the machine decided."""
        time_s, utc_s = self._now
        match event["event"]:
            case "batch":
                at = utc_s - (time_s - event["time_s"])
                self._job.pour_batch(event["n"], event["bags"], self._session, at)
            case "undone" if event["label"].startswith("batch"):
                self._job.unpour_batch()
            case "undone" if event["label"].startswith("tick"):
                step = event["label"].removeprefix("tick ")
                self._job.log_event(self._session, time_s, utc_s, "unticked", {"step": step})
                self.flush()
            case "ticked":
                told = {"step": event["step"]}
                self._job.log_event(self._session, time_s, utc_s, "ticked", told)
                self.flush()
            case "done":
                told = {**event, "planned_interval_s": self._planned_interval_s}
                self._job.log_event(self._session, time_s, utc_s, "pour_done", told)
                self.flush()
