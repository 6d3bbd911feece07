"""Where a job stands: which of its steps are done, how far, and what comes next."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rig.record import Record
from rig.study.rooms import each_room
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
    """Tell where a job stands, or the room that it is narrowed to.

    Of several rooms together a step is done where it is done in each.
    """
    with each_room(job) as rooms:
        works = [_work_of(one) for one in rooms]
    has_product = _has_product(job.settings)
    steps = (
        _step("room", True, words.room()),
        _step("product", has_product, words.product(has_product)),
        *_of_the_floor(job),
        *_of_the_work(job, works),
        _proof(job),
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


@dataclass(frozen=True, slots=True)
class _Work:
    """What is made of a room: its plan, what has changed under it, markers, pour plan, pour."""

    plan: bool
    stale: list[str]
    laid: bool
    pour: bool
    poured: bool


def _work_of(job: "Job") -> _Work:
    plan = job.current_plan()
    laid, pour, poured = bool(job.markers()), False, False
    if job.events(["pour_plan"]):
        from rig.study.lift_to_do import lift_to_do

        stands = lift_to_do(job)
        laid, pour, poured = laid and stands.laid, stands.planned, stands.poured
    return _Work(
        plan=plan is not None,
        stale=[] if plan is None else job.changed_since(plan),
        laid=laid,
        pour=pour,
        poured=poured,
    )


def _of_the_floor(job: "Job") -> Iterator[StepStands]:
    points, left, shots = job.points(), job.unshot("floor"), job.shots(kinds=["floor"])
    benchmarks = {shot.point for shot in job.shots(kinds=["benchmark"])}
    told = words.shot(len(points) - len(left), len(points), sorted(benchmarks))
    yield _step("grid", bool(points or shots), words.grid(len(points)))
    yield _step("survey", bool(shots) and (not points or not left), told)


def _of_the_work(job: "Job", works: Sequence[_Work]) -> Iterator[StepStands]:
    planned, laid = [one.plan for one in works], [one.laid for one in works]
    pours, poured = [one.pour for one in works], [one.poured for one in works]
    stale = [label for one in works for label in one.stale]
    markers = job.markers()
    is_set = sum(marker.is_set for marker in markers)
    told = _told(planned, words.plan(True, stale), words.plan(False, ()))
    yield _step("floor", all(planned), words.floor(len(job.shots(kinds=["floor"]))))
    yield _step("plan", all(planned) and not stale, told)
    yield _step("markers", all(laid), words.markers(len(markers)))
    yield _step("set", all(laid) and is_set == len(markers), words.are_set(is_set, len(markers)))
    yield _step("pour", all(pours), _told(pours, words.pour(True), words.pour(False)))
    yield _step("log", all(poured), _told(poured, words.log(True), words.log(False)))


def _proof(job: "Job") -> StepStands:
    points, unproved = job.points(), job.unshot("finished")
    done = bool(job.shots(kinds=["finished"])) and not unproved
    return _step("proof", done, words.proof(len(points) - len(unproved), len(points)))


def _told(done: list[bool], text: str, missing: str) -> str:
    """Say how a step of several rooms stands: in how many it is done, where that differs."""
    if all(done):
        return text
    return words.of_rooms(sum(done), len(done)) if any(done) else missing


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
