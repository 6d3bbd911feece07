"""Keeps a live check in the job, where there is one: what the rod said, and the sights taken."""

from collections.abc import Callable
from typing import Any

from rig.job.store import Job
from rig.session.recorder import Recorder
from rig.session.run import Item


class CheckLog:
    """The log of a check: its sights are no shots of the floor.

    Parameters
    ----------
    job : Job or None
        Open for writing.
    start : callable
        Starts the session, where there is a job, and returns its id.

    Attributes
    ----------
    session : int or None
        The session's id, once the rod is reached.
    sights : list of dict
        The `shot` events that stand, by the order in which they were taken.
    """

    def __init__(self, job: Job | None, start: Callable[[], int]) -> None:
        self._job, self._start = job, start
        self.session: int | None = None
        self._recorder: Recorder | None = None
        self._utc_s = 0.0
        self.sights: list[dict[str, Any]] = []

    def begin(self) -> None:
        """Start the session."""
        if self._job:
            self.session = self._start()
            self._recorder = Recorder(self._job, self.session)

    def item(self, item: Item) -> None:
        """Keep one item as it came."""
        self._utc_s = getattr(item, "utc_s", self._utc_s)
        if self._recorder:
            self._recorder.item(item)

    def event(self, event: dict[str, Any]) -> None:
        """Take a sight, or take it back, and keep that."""
        if event["event"] == "shot":
            self.sights.append(event)
        elif event["event"] == "undone":
            self.sights.pop()
        else:
            return
        if self._job:
            kind = "sight" if event["event"] == "shot" else "undone"
            self._job.log_event(self.session, event.get("time_s"), self._utc_s, kind, event)
            self._job.flush()

    def flush(self) -> None:
        """Commit what is still in memory."""
        if self._job:
            self._job.flush()
