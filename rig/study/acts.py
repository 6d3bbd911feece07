"""What was done in a job, less what was taken back."""

from collections.abc import Iterable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rig.job.rows import StoredEvent
    from rig.job.store import Job


def taken_back(job: "Job") -> set[int]:
    """Return the ids of the events that were taken back."""
    return {one for event in job.events(["undo"]) for one in event.data.get("events", ())}


def standing(job: "Job", kinds: Iterable[str]) -> "list[StoredEvent]":
    """Return events of some kinds, in their order, less those that were taken back."""
    gone = taken_back(job)
    return [event for event in job.events(kinds) if event.id not in gone]
