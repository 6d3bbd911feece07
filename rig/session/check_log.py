"""Keeps a live check in the job, where there is one: what the rod said, and the sights taken."""

from collections.abc import Callable, Iterable

from rig.events import Event, ShotTaken, Undone
from rig.job.store import Job
from rig.session.items import End, FromRod, Item, Log, Typed
from rig.session.recorder import Recorder


class CheckLog(Log):
    """The log of a check: its sights are no shots of the floor.

    Parameters
    ----------
    job : Job or None
        Open for writing.
    start : int or callable
        The session's id, or what starts it where there is a job.

    Attributes
    ----------
    session : int or None
        The session's id, once the rod is reached.
    sights : list of ShotTaken
        The sights that stand, by the order in which they were taken.
    """

    def __init__(self, job: Job | None, start: int | Callable[[], int]) -> None:
        self._job, self._start = job, start
        self.session: int | None = None
        self._recorder: Recorder | None = None
        self._utc_s = 0.0
        self.sights: list[ShotTaken] = []

    def begin(self) -> None:
        """Start the session."""
        if self._job:
            self.session = self._start if isinstance(self._start, int) else self._start()
            self._recorder = Recorder(self._job, self.session)

    def item(self, item: Item) -> None:
        """Keep one item as it came."""
        match item:
            case Typed(reading, _):
                self._utc_s = reading.utc_s
            case End() | FromRod():
                pass
            case _:
                self._utc_s = item.utc_s
        if self._recorder:
            self._recorder.item(item)

    def holds(self, item: Item | None, events: Iterable[Event]) -> bool:
        """Nobody hears of a sight before it is taken, and kept where there is a job."""
        return any(isinstance(event, (ShotTaken, Undone)) for event in events)

    def keep(self, *events: Event) -> None:
        """Take sights, or take them back, and keep that."""
        for event in events:
            self._keep(event)
        if self._job and any(isinstance(event, (ShotTaken, Undone)) for event in events):
            self._job.flush()

    def _keep(self, event: Event) -> None:
        kind: str
        time_s: float | None
        match event:
            case ShotTaken():
                self.sights.append(event)
                kind, time_s = "sight", event.time_s
            case Undone():
                self.sights.pop()
                kind, time_s = "undone", None
            case _:
                return
        if self._job:
            self._job.log_event(self.session, time_s, self._utc_s, kind, event.as_json())

    def flush(self) -> None:
        """Commit what is still in memory."""
        if self._job:
            self._job.flush()
