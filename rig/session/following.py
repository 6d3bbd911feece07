"""Follow a session that runs in another process by the job's log, and change nothing.

The log holds raw messages and acts; the same machine, fed with them, says again what it said there.
"""

from collections.abc import Iterable, Iterator
from typing import Any

from rig.events import Doubtful, Drifted, Event, Jolted, PutBack, SetAside, SetUp
from rig.job.rows import Session, StoredReading
from rig.job.store import Job
from rig.session.as_of import JobAsOf
from rig.session.beam import DARK_S
from rig.session.items import End
from rig.session.kind import Beginning, Kind
from rig.session.kinds import kinds
from rig.session.run import announcements, step
from rig.session.scene import Scene
from rig.session.sources import StoredItems, as_logged, profile_of
from rig.session.watcher import Followed

TOLD_LATER_S = 1.5
"""What a session logs reaches the disk within about a second; no deadline is fired ahead of it."""


class Follower:
    """One session, followed from its start.

    Parameters
    ----------
    job : Job
        Open for reading.
    session : Session
        Of a kind that there is.

    Raises
    ------
    CannotAnswer
        Where the job no longer holds what the session stood on.
    BadInput
        Where the session's settings are not as floor-rig writes them.
    """

    def __init__(self, job: Job, session: Session) -> None:
        self._job, self.session = job, session
        self.kind: Kind[Any] = kinds()[session.kind]
        with as_logged(job.path, session.id):
            self.begun = Beginning(
                job=JobAsOf(job, session),
                settings=self.kind.read(session.capture),
                setup=session.setup,
                rod=profile_of(session),
                boot_id=session.boot_id,
                monotonic_s=session.monotonic_s,
                utc_s=session.utc_s,
            )
        self.machine = self.kind.machine(self.begun)
        self._watcher = self.kind.watcher(self.begun)
        units = session.capture.get("units", job.units.system)
        self._items = StoredItems(self.begun.rod, units)
        self._reading = self._event = 0
        self._has_begun = False
        self._caught_up = False
        self._once: set[str] = set()
        self._answered: set[str] = set()
        self.ended = False

    def scene(self, acts: tuple[str, ...] = (), quiet_s: float = DARK_S) -> Scene:
        """Return what a page shows of it, as it begins."""
        return self.kind.scene(self.begun, acts, quiet_s)

    def news(self, utc_s: float) -> Iterator[Event]:
        """Tell what the session has told since the last call."""
        machine = self.machine
        if not self._has_begun:
            self._has_begun = True
            yield from machine.start(0.0)
        for stored in self._job.messages_since(self.session.id, self._reading, self._event):
            if isinstance(stored, StoredReading):
                self._reading = stored.id
            else:
                self._event = stored.id
            item = self._items.item(stored)
            if item is None:
                continue
            yield from announcements(item)
            if not machine.finished:
                yield from self._watched(step(machine, item))
            if isinstance(item, End):
                self.ended = True
        if not self.ended and not machine.finished:
            now_s = utc_s - self.session.utc_s - TOLD_LATER_S
            yield from self._watched(machine.tick(max(0.0, now_s)))
        yield from self._found()
        self._caught_up = True

    def close(self) -> None:
        """Follow no more."""
        if self._watcher is not None:
            self._watcher.close()

    def _watched(self, events: Iterable[Event]) -> Iterator[Event]:
        """Let the watcher hear as it did beside the session itself, and tell what it found."""
        for event in events:
            if self._watcher is not None and isinstance(event, Followed):
                self._watcher.hear(event)
                if isinstance(event, Jolted | SetAside | PutBack):
                    for label in event.labels:
                        self._touch(label)
                elif not isinstance(event, Drifted | SetUp):
                    self._touch(event.label)
            yield event
            yield from self._found()

    def _touch(self, label: str) -> None:
        """Note what became of a shot: the watcher is still at old ones while this catches up."""
        if self._caught_up:
            self._answered.discard(label)
        elif label in self._once:
            self._answered.add(label)
        self._once.add(label)

    def _found(self) -> Iterator[Event]:
        """What the watcher found, less doubts of shots that were undone or taken again since."""
        for told in self._watcher.news() if self._watcher is not None else ():
            if not isinstance(told, Doubtful) or told.label not in self._answered:
                yield told
