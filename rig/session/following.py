"""Follow a session that runs in another process by the job's log, and change nothing.

The log holds raw messages and acts; the same machine, fed with them, says again what it said there.
"""

from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import TYPE_CHECKING, Any, cast

from rig.errors import CannotAnswer
from rig.job.rows import Marker, Session, Shot, StoredReading
from rig.room import Outline
from rig.session.machines import setting_machine, survey_machine
from rig.session.pouring import live_plan, pour_machine
from rig.session.run import End, Machine, announcements, step
from rig.session.sources import StoredItems, profile_of
from rig.session.watcher import HEARD, Watcher, watcher_of
from rig.study.pour_log import plan_of_pour

if TYPE_CHECKING:
    from rig.job.store import Job

FOLLOWED = ("survey", "set", "pour")
TOLD_LATER_S = 1.5
"""What a session logs reaches the disk within about a second; no deadline is fired ahead of it."""


class JobAsOf:
    """A job as it was when a session of it began; whatever else is asked is answered as of now."""

    def __init__(self, job: "Job", session: Session) -> None:
        self._job, self._session = job, session

    def __getattr__(self, name: str) -> Any:
        return getattr(self._job, name)

    def shots(self, kinds: Iterable[str] | None = None) -> list[Shot]:
        """Shots that were current then."""
        every = self._job.shots(kinds, current=False)
        then = {shot.id for shot in every if self._is_earlier(shot)}
        return [
            shot
            for shot in every
            if shot.id in then
            and (
                shot.superseded_by is None
                or (shot.superseded_by not in then and shot.superseded_by != shot.id)
            )
        ]

    def markers(self) -> list[Marker]:
        """Markers of the layout, those that were set since then as not set."""
        begun = self._session.utc_s
        return [
            replace(marker, residual_mm=None) if (marker.set_utc_s or 0.0) >= begun else marker
            for marker in self._job.markers()
        ]

    def sessions(self) -> list[Session]:
        """Sessions before it."""
        return [session for session in self._job.sessions() if session.id < self._session.id]

    def _is_earlier(self, shot: Shot) -> bool:
        if shot.session_id is not None:
            return shot.session_id < self._session.id
        return shot.utc_s < self._session.utc_s


class Follower:
    """One session, followed from its start.

    Parameters
    ----------
    job : Job
        Open for reading.
    session : Session
        Of a kind in `FOLLOWED`.
    outline : Outline

    Raises
    ------
    CannotAnswer
        Where the job no longer holds what the session stood on.
    """

    def __init__(self, job: "Job", session: Session, outline: Outline) -> None:
        self._job, self.session = job, session
        self.profile = profile_of(session)
        self.then = cast("Job", JobAsOf(job, session))
        self.machine = self._machine(outline)
        units = session.capture.get("units", job.settings.units)
        self._items = StoredItems(self.profile, units)
        self._reading = self._event = 0
        self._begun = False
        self._watcher: Watcher | None = None
        self._caught_up = False
        self._once: set[str] = set()
        self._answered: set[str] = set()
        if session.kind == "survey":
            self._watcher = watcher_of(self.then, session.capture["kind"], session.setup)
        self.ended = False

    def news(self, utc_s: float) -> Iterator[dict[str, Any]]:
        """Tell what the session has told since the last call."""
        machine = self.machine
        if not self._begun:
            self._begun = True
            yield from (event.as_json() for event in machine.start(0.0))
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
                yield from self._watched(event.as_json() for event in step(machine, item))
            if isinstance(item, End):
                self.ended = True
        if not self.ended and not machine.finished:
            now_s = utc_s - self.session.utc_s - TOLD_LATER_S
            yield from self._watched(event.as_json() for event in machine.tick(max(0.0, now_s)))
        yield from self._found()
        self._caught_up = True

    def close(self) -> None:
        """Follow no more."""
        if self._watcher is not None:
            self._watcher.close()

    def _watched(self, events: Iterable[dict[str, Any]]) -> Iterator[dict[str, Any]]:
        """Let the watcher hear as it did beside the session itself, and tell what it found."""
        for event in events:
            if self._watcher is not None and event["event"] in HEARD:
                self._watcher.hear(event)
                if event["event"] != "drift":
                    for label in event.get("labels", [event["label"]]):
                        self._touch(label)
            yield event
            yield from self._found()

    def _touch(self, label: str) -> None:
        """Note what became of a shot: the watcher is still at old ones while this catches up."""
        if self._caught_up:
            self._answered.discard(label)
        elif label in self._once:
            self._answered.add(label)
        self._once.add(label)

    def _found(self) -> Iterator[dict[str, Any]]:
        """What the watcher found, less doubts of shots that were undone or taken again since."""
        for told in self._watcher.news() if self._watcher is not None else ():
            if told["event"] != "doubtful" or told["label"] not in self._answered:
                yield told

    def _machine(self, outline: Outline) -> Machine:
        session, then = self.session, self.then
        capture = session.capture
        resolution_mm = self.profile.resolution_mm if self.profile else 0.0
        foot_mm = self.profile.foot_mm if self.profile else 0.0
        if session.kind == "survey":
            return survey_machine(then, outline, capture, resolution_mm, foot_mm)
        if session.kind == "set":
            plan = then.current_plan()
            if plan is None:
                raise CannotAnswer("The job has no plan.")
            return setting_machine(
                then,
                plan,
                outline,
                setup=session.setup,
                tolerance_mm=capture["tolerance_mm"],
                dwell_s=capture["dwell_s"],
                walk_s=capture["walk_s"],
                still_mm=capture["still_mm"],
                resolution_mm=resolution_mm,
                foot_mm=foot_mm,
                start_marker=capture.get("marker"),
                skip_check=capture.get("skip_check", False),
            )
        made = plan_of_pour(then, capture["pour_plan"])
        return pour_machine(
            then,
            made,
            live_plan(made, capture["bags"], then.units),
            session.boot_id,
            session.monotonic_s or 0.0,
            session.utc_s,
        )
