"""Where a job stands: which of its steps are done, how far, and what comes next."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rig.record import Record
from rig.words import steps as words

if TYPE_CHECKING:
    from rig.job.settings import Settings
    from rig.job.store import Job


@dataclass(frozen=True, slots=True, kw_only=True)
class StepStands(Record):
    """A step of the job: its key, whether it is done, and how it stands in words."""

    key: str
    done: bool
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Stands(Record):
    """A job's steps in their order, and the first that is to be done.

    Attributes
    ----------
    steps : tuple of StepStands
    next : str
        A key of them.
    text : str
        Where the job stands, in one line.
    last_utc_s : float or None
        When a session last ran.
    """

    steps: tuple[StepStands, ...]
    next: str
    text: str
    last_utc_s: float | None


def stands_of(job: "Job") -> Stands:
    """Tell where a job stands."""
    has_product = _has_product(job.settings)
    points, left = job.points(), job.unshot("floor")
    benchmarks = {shot.point for shot in job.shots(kinds=["benchmark"])}
    shots = job.shots(kinds=["floor"])
    plan, markers = job.current_plan(), job.markers()
    stale = [] if plan is None else job.changed_since(plan)
    is_set = [marker for marker in markers if marker.is_set]
    kinds = {event.kind for event in job.events(["pour_plan", "pour_done"])}
    planned, poured = "pour_plan" in kinds, "pour_done" in kinds
    finished = job.shots(kinds=["finished"])
    unproved = job.unshot("finished")
    all_set = bool(markers) and len(is_set) == len(markers)
    shot = len(points) - len(left)
    surveyed = bool(shots) and (not points or not left)
    steps = (
        _step("room", True, words.room()),
        _step("product", has_product, words.product(has_product)),
        _step("grid", bool(points or shots), words.grid(len(points))),
        _step("survey", surveyed, words.shot(shot, len(points), sorted(benchmarks))),
        _step("floor", plan is not None, words.floor(len(shots))),
        _step("plan", plan is not None and not stale, words.plan(plan is not None, stale)),
        _step("markers", bool(markers), words.markers(len(markers))),
        _step("set", all_set, words.are_set(len(is_set), len(markers))),
        _step("pour", planned, words.pour(planned)),
        _step("log", poured, words.log(poured)),
        _step(
            "proof",
            bool(finished) and not unproved,
            words.proof(len(points) - len(unproved), len(points)),
        ),
        _step("report", False, words.report()),
    )
    following = next(step for step in steps if not step.done)
    times = [session.utc_s for session in job.sessions()]
    return Stands(
        steps=steps,
        next=following.key,
        text=words.stands(following.key, following.text),
        last_utc_s=max(times, default=None),
    )


def following(stands: Stands, key: str) -> str:
    """Return the step to go to from one that has nothing left to do, else nothing."""
    keys = [step.key for step in stands.steps]
    if key not in keys:
        return stands.next
    n = keys.index(key)
    if not (stands.steps[n].done or key == "floor"):
        return ""
    return next((step.key for step in stands.steps[n + 1 :] if not step.done), "")


def _has_product(settings: "Settings") -> bool:
    return settings.bag_yield_l is not None and settings.min_cover_mm is not None


def _step(key: str, done: bool, text: str) -> StepStands:
    return StepStands(key=key, done=done, text=text)
