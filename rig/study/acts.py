"""What was done in a job, newest first, and what of it can be taken back."""

import time
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NamedTuple, TypeVar

from rig.errors import JobUnusable
from rig.record import OMITTED, Record, from_json
from rig.words import say
from rig.words import undo as words

if TYPE_CHECKING:
    from rig.job.rows import Batch, Marker, Shot, StoredEvent
    from rig.job.store import Job

R = TypeVar("R", bound=Record)

UNDONE = "undo"
"""Kind of the event that keeps what was taken back."""
KINDS = (
    "edit",
    "grid",
    "relabel",
    "import",
    "jolt",
    "drift",
    "set_aside",
    "setup",
    "skipped",
    "look",
    "drag",
    "site",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Act(Record):
    """Something that was done: `id` names it for `rig undo`, `when` is UTC (ISO 8601)."""

    id: str
    what: str
    when: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ActsAnswer(Record):
    """What can be taken back, newest first, as `rig undo --list --json` prints it."""

    acts: tuple[Act, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class UndoAnswer(Record):
    """What was taken back, as `rig undo --json` prints it.

    Attributes
    ----------
    undone, what : str
        The act's id, and the act in words.
    text : str
        What came of it.
    shots : tuple of str or None
        Labels of shots that are in use again.
    """

    undone: str
    what: str
    text: str
    shots: tuple[str, ...] | None = field(default=None, metadata=OMITTED)


class Done(NamedTuple):
    """An act as the job has it: one shot, one marker, one batch, or the events of one change."""

    id: str
    what: str
    utc_s: float
    events: "tuple[StoredEvent, ...]" = ()
    shot: "Shot | None" = None
    marker: "Marker | None" = None
    batch: "Batch | None" = None

    @property
    def as_act(self) -> Act:
        """Return it as it is told."""
        when = time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(self.utc_s))
        return Act(id=self.id, what=self.what, when=when)


def taken_back(job: "Job") -> set[int]:
    """Return the ids of the events that were taken back, and of those that did so."""
    gone: set[int] = set()
    for event in job.events([UNDONE]):
        # What was logged between `after` and this came of taking it back.
        gone.update(event.data["events"], range(event.data["after"] + 1, event.id))
    return gone


def standing(job: "Job", kinds: Iterable[str]) -> "list[StoredEvent]":
    """Return events of some kinds, in their order, less those that were taken back."""
    gone = taken_back(job)
    return [event for event in job.events(kinds) if event.id not in gone]


def kept_in(event: "StoredEvent", kind: type[R], what: str) -> R:
    """Return the record that an event keeps; a refusal calls it the job's `what`.

    Raises
    ------
    JobUnusable
        Where it is not as floor-rig writes it.
    """
    try:
        return from_json(kind, event.data)
    except ValueError as error:
        raise JobUnusable(
            say("The job's {what} cannot be read: {error}.", what=what, error=error)
        ) from None


def acts_of(job: "Job") -> list[Done]:
    """Return what can be taken back, newest first.

    Raises
    ------
    JobUnusable
        Where the job keeps an act that is not as floor-rig writes it.
    """
    try:
        done = [*_of_events(job), *_of_shots(job), *_of_batches(job)]
    except (KeyError, TypeError, ValueError, AttributeError, OverflowError) as error:
        raise JobUnusable(
            say(
                "{path}: its log holds an act that is not as floor-rig writes it ({name__}: "
                "{error}).",
                path=job.path,
                name__=type(error).__name__,
                error=str(error)[:60],
            )
        ) from error
    return sorted(done, key=lambda one: (one.utc_s, one.id.startswith("e"), _number(one)))[::-1]


def _number(done: Done) -> int:
    return int(done.id[1:])


def _of_events(job: "Job") -> Iterable[Done]:
    changes: dict[tuple[str, float | int], list[StoredEvent]] = {}
    places = {one.label for one in job.points()} | {one.label for one in job.markers()}
    shots = {shot.point: shot.utc_s for shot in job.shots(("floor", "finished", "marker"))}
    for event in standing(job, (*KINDS, "unskipped")):
        if event.kind == "unskipped":
            _forget_skip(changes, str(event.data["label"]))
            continue
        if event.kind == "edit" and set(event.data["new"]) == {"typed_unit"}:
            continue  # the first reading settled it, nobody did
        if event.kind == "skipped":
            label = str(event.data["label"])
            if label not in places or shots.get(label, 0.0) > event.utc_s:
                continue  # a sight, or a place that was shot since
        if event.kind == "drift" and "shots" not in event.data:
            continue  # an older floor-rig did not keep which shots it spread it over
        # What one command changed has one time of day.
        whole = event.utc_s if event.kind == "edit" else event.id
        changes.setdefault((event.kind, whole), []).append(event)
    for events in changes.values():
        last = events[-1]
        yield Done(f"e{last.id}", words.event(events, job.units), last.utc_s, tuple(events))


def _forget_skip(changes: "dict[tuple[str, float | int], list[StoredEvent]]", label: str) -> None:
    """Drop the last skip of a label, which was taken back on the spot."""
    skips = [
        key for key, (one, *_) in changes.items()
        if one.kind == "skipped" and one.data["label"] == label
    ]  # fmt: skip
    if skips:
        del changes[skips[-1]]


def _of_shots(job: "Job") -> Iterable[Done]:
    units = job.units
    markers = {one.shot_id: one for one in job.markers() if one.shot_id is not None}
    imported = _imported(job)
    for shot in job.shots():
        if shot.id in imported:
            continue
        marker = markers.get(shot.id)
        if marker is not None:
            what = words.marker_set(marker.label)
            yield Done(f"s{shot.id}", what, shot.utc_s, marker=marker, shot=shot)
        elif shot.kind != "marker":
            yield Done(f"s{shot.id}", words.shot(shot, units), shot.utc_s, shot=shot)


def _imported(job: "Job") -> set[int]:
    """Return the ids of shots that came in a table: they go as they came, together."""
    return {shot for event in job.events(["import"]) for shot in event.imported}


def _of_batches(job: "Job") -> Iterable[Done]:
    for batch in job.batches():
        if batch.poured_utc_s is not None:
            yield Done(f"b{batch.id}", words.batch(batch.n), batch.poured_utc_s, batch=batch)
