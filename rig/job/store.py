"""A job file as one object: what was measured, decided and done, kept so that nothing is lost.

Readings and acts are buffered; every change commits them with it in one transaction that is on the
disk before the call returns. SQLite's errors leave as `JobUnusable`, in words for a person.
"""

import os
import sqlite3
import time
from collections.abc import Iterable, Iterator, Sequence
from math import hypot, isfinite
from typing import Self

from rig.errors import BadInput
from rig.job import checks, description, opening, sessions, shots
from rig.job.described import Described
from rig.job.identity import new_uid
from rig.job.planned import Planned
from rig.job.rows import (
    SAME_PLACE_MM,
    Check,
    DoorGiven,
    Given,
    Move,
    Point,
    Session,
    Shot,
    StoredEvent,
    StoredReading,
)
from rig.job.settings import Settings
from rig.language import say

_MOST_WAITING = 10_000  # so that a device nobody shoots with cannot fill the memory
_LARGEST = 2**63


class Job(Described, Planned):
    """A job, by what can be kept in it and asked of it. Made by `create` or `open`."""

    @classmethod
    def create(
        cls,
        path: str | os.PathLike[str],
        settings: Settings,
        walls: Sequence[Sequence[float]],
        openings: Iterable[Sequence[Sequence[float]]] = (),
        doors: Iterable[DoorGiven] = (),
    ) -> Self:
        """Make a job file and open it for writing.

        Parameters
        ----------
        path : path
            Where no file is yet, in a folder that is there.
        settings : Settings
        walls : sequence of (x, y)
            Corners in mm, the first not repeated.
        openings : iterable of rings
            Each as `walls`.
        doors : iterable
            Each four numbers (x, y, end x, end y in mm) or a record with those attributes.

        Raises
        ------
        BadInput
            If there is a file already, no such folder, or a value is wrong.
        JobUnusable
            If the file cannot be written.
        """

        def fill(connection: sqlite3.Connection) -> None:
            connection.execute(
                "INSERT INTO job (id, made_utc_s, units, denominator, uid) "
                "VALUES (1, ?, 'in', 32, ?)",
                (time.time(), new_uid()),
            )
            description.write_settings(connection, settings)
            description.write_outline(connection, walls, openings, doors)

        opening.create_file(os.fspath(path), fill)
        return cls.open(path, write=True)

    # Sessions and the raw log

    def start_session(
        self,
        kind: str,
        setup: str,
        source: str,
        profile_text: str,
        capture: Given,
        boot_id: str,
        utc_s: float,
        *,
        monotonic_s: float | None = None,
        rod: str | None = None,
        stand: str | None = None,
    ) -> int:
        """Begin a live run and return its id; a set-up not met before becomes the next one.

        `utc_s` is the wall clock, `monotonic_s` the machine's monotonic clock, at time 0. Of
        several rods `rod` is which it is, and `stand` where the laser stands for all of them.
        """
        with self._writing(say("no session was begun")) as connection:
            setup_id = shots.setup_id(connection, setup, stand)
            session_id = sessions.start(
                connection,
                kind=kind,
                setup_id=setup_id,
                source=source,
                profile_text=profile_text,
                capture=capture,
                boot_id=boot_id,
                utc_s=utc_s,
                monotonic_s=monotonic_s,
                rod=rod,
            )
        self._setup_of[session_id] = setup_id
        return session_id

    def sessions(self) -> list[Session]:
        """Return all sessions in their order."""
        with self._reading() as connection:
            return sessions.select(connection)

    def setups(self) -> list[str]:
        """Return the set-ups in the order they were met; the first is set-up 1."""
        with self._reading() as connection:
            return [
                name
                for (name,) in connection.execute(
                    "SELECT substr(name, 1, 64) FROM setup ORDER BY id"
                )
            ]

    def tell_stand(self, setup: str, stand: str) -> None:
        """Keep where the laser stands at a set-up that is one rod's of several."""
        with self._writing(say("the stand was not kept")) as connection:
            number = shots.setup_id(connection, setup, stand)
            connection.execute("UPDATE setup SET stand = ? WHERE id = ?", (stand, number))

    def last_setup(self) -> str | None:
        """Return the set-up of the last session, else of the last shot, or None."""
        with self._reading() as connection:
            return sessions.last_setup(connection)

    def log_reading(
        self,
        session_id: int,
        time_s: float,
        utc_s: float,
        raw: str,
        value_mm: float | None,
        status: str,
        seq: int | None,
        box_s: float | None = None,
    ) -> int:
        """Buffer a message of the device and return the id it will have.

        `box_s` is the steady clock of the box at one of several rods.

        Raises
        ------
        BadInput
            If a value cannot be kept; it would spoil the commit of all that waits.
        """
        told = (time_s, utc_s, 0.0 if value_mm is None else value_mm, box_s or 0.0)
        if not all(map(isfinite, told)):
            raise BadInput(
                say("the reading {raw!a} has a time or value that is not finite.", raw=raw)
            )
        if session_id not in self._setup_of:
            raise BadInput(
                say(
                    "there is no session {session_id} in {path}.",
                    session_id=session_id,
                    path=self.path,
                )
            )
        if not raw.isascii():
            description.storable(raw, "a reading")
        if seq is not None and not -_LARGEST <= seq < _LARGEST:
            raise BadInput(
                say("the reading {raw!a} has a sequence number too large to keep.", raw=raw)
            )
        if len(self._log) >= _MOST_WAITING:
            self.flush()
        return self._log.reading(session_id, time_s, utc_s, raw, value_mm, status, seq, box_s)

    def log_event(
        self,
        session_id: int | None,
        time_s: float | None,
        utc_s: float,
        kind: str,
        data: Given,
    ) -> int:
        """Buffer an act or an event and return the id it will have.

        `data` is kept as it is now. `session_id` and `time_s` are None outside any session.

        Raises
        ------
        BadInput
            If a value cannot be kept.
        """
        if not (isfinite(utc_s) and (time_s is None or isfinite(time_s))):
            raise BadInput(say("the event {kind} has a time that is not finite.", kind=kind))
        if session_id is not None and session_id not in self._setup_of:
            raise BadInput(
                say(
                    "there is no session {session_id} in {path}.",
                    session_id=session_id,
                    path=self.path,
                )
            )
        text = description.to_json(data, say("the event {kind}", kind=kind))
        if len(self._log) >= _MOST_WAITING:
            self.flush()
        return self._log.event(
            session_id, time_s, utc_s, description.text(kind, say("an event's kind")), text
        )

    def stored_messages(self, session_id: int) -> Iterator[StoredReading | StoredEvent]:
        """Yield a session's readings and events in the order in which they came.

        A writer commits what waits first.
        """
        if self._lock is not None:
            self.flush()
        with self._reading() as connection:
            yield from sessions.messages(connection, session_id)

    def messages_since(
        self, session_id: int, reading_id: int, event_id: int
    ) -> list[StoredReading | StoredEvent]:
        """Return what has come into a session after a reading and an event, for who follows it."""
        with self._reading() as connection:
            return sessions.messages_since(connection, session_id, reading_id, event_id)

    def events(self, kinds: Iterable[str] | None = None) -> list[StoredEvent]:
        """Return events of the whole job, edits and relabellings included, in their order."""
        if self._lock is not None:
            self.flush()
        with self._reading() as connection:
            return sessions.select_events(connection, kinds)

    # Shots

    def add_shot(
        self,
        session_id: int,
        *,
        point: str,
        x_mm: float | None,
        y_mm: float | None,
        reading_mm: float,
        stderr_mm: float,
        n: int,
        kind: str,
        time_s: float,
        utc_s: float,
        setup: str | None = None,
    ) -> int:
        """Commit a shot with all that came before it, and return its id.

        It supersedes the current shot of its kind at its label; a benchmark only that of its own
        set-up. `setup` is where the laser was found to stand anew; else the session's counts.

        Raises
        ------
        BadInput
            If no shot can be so.
        JobUnusable
            If it did not get to the disk; then no part of it did.
        """
        known = self._setup(session_id)
        with self._writing(say("the last shot was not kept")) as connection:
            return shots.add(
                connection,
                session_id=session_id,
                setup_id=known if setup is None else shots.setup_id(connection, setup),
                point=point,
                x_mm=x_mm,
                y_mm=y_mm,
                reading_mm=reading_mm,
                stderr_mm=stderr_mm,
                n=n,
                kind=kind,
                time_s=time_s,
                utc_s=utc_s,
            )

    def correct_shots(
        self, session_id: int, rows: Iterable[Given], setup: str | None = None
    ) -> list[int]:
        """Commit shots as they read once corrected, each as `add_shot` takes it, all or none.

        Each takes the place of the current one at its label for good: to undo it brings the
        uncorrected one back no more. `setup` as there.
        """
        known = self._setup(session_id)
        with self._writing(say("the shots were not corrected")) as connection:
            setup_id = known if setup is None else shots.setup_id(connection, setup)
            return [shots.correct(connection, session_id, setup_id, row) for row in rows]

    def set_aside(self, shot_ids: Iterable[int]) -> None:
        """Take several current shots out of use, all or none; nothing comes back in their place."""
        with self._writing(say("the shots were not set aside")) as connection:
            for shot_id in shot_ids:
                shots.set_aside(connection, shot_id)

    def put_back(self, shot_ids: Iterable[int]) -> list[int]:
        """Put shots in use again that were set aside; return the ids of those that are.

        One whose label has a later shot stays as it is.
        """
        with self._writing(say("the shots were not put in use again")) as connection:
            return shots.put_back(connection, shot_ids)

    def unrelabel(self, moves: Sequence[Move]) -> None:
        """Take back a relabelling, by the moves that its event keeps."""
        with self._writing(say("the labels were not put back")) as connection:
            shots.unrelabel(connection, moves)

    def supersede(self, shot_id: int, by: int | None = None) -> None:
        """Take a current shot out of use; an undone one (`by` None) points at itself.

        The shot that an undone one had taken the place of counts again; a marker
        that an undone shot showed to be set is no longer set.
        """
        with self._writing(say("the shot was not undone")) as connection:
            shots.supersede(connection, shot_id, by)

    def relabel(
        self,
        moves: Iterable[tuple[int, str, float | None, float | None]],
        *,
        session_id: int | None = None,
        time_s: float | None = None,
        utc_s: float | None = None,
    ) -> list[int]:
        """Give shots other labels, all or none, and return the ids they have now.

        Parameters
        ----------
        moves : iterable of (shot id, new label, x_mm, y_mm)
            Each current shot is written again and superseded by the new one, as is any other at
            the new label; two may change places.
        session_id, time_s, utc_s
            Of the event `relabel`, where it is done in a session.
        """
        with self._writing(say("no shot was relabelled")) as connection:
            done = shots.relabel(connection, list(moves))
            if done:
                self._note(
                    "relabel",
                    {"moves": [move.as_json() for move in done]},
                    session_id,
                    time_s,
                    utc_s,
                )
        return [move.new for move in done]

    def shots(self, kinds: Iterable[str] | None = None, current: bool = True) -> list[Shot]:
        """Return shots in the order they were written, of one kind or several or all.

        With `current` only those that are not superseded.
        """
        with self._reading() as connection:
            found = shots.select(connection, kinds, current)
        return shots.of_room(found, self.room)

    def unshot(self, kind: str) -> list[Point]:
        """Return the grid's points, in the order of the walk, that have no shot of a kind.

        A shot that bears a point's label but was taken elsewhere, on an earlier grid, is none.
        """
        done = {shot.point: shot for shot in self.shots(kinds=[kind])}
        return [
            point
            for point in self.points()
            if (shot := done.get(point.label)) is None
            or shot.x_mm is None
            or shot.y_mm is None
            or hypot(shot.x_mm - point.x_mm, shot.y_mm - point.y_mm) > SAME_PLACE_MM
        ]

    def import_shots(self, rows: Iterable[Given]) -> list[int]:
        """Take a table of shots, all or none, and return their ids.

        Parameters
        ----------
        rows : iterable of mappings
            `point` (the label), `x_mm`, `y_mm` (None for a benchmark), `reading_mm`, `stderr_mm`;
            `setup` ("1" unless given), `kind` ("floor"), `n` (1).

        Raises
        ------
        BadInput
            If a row cannot be a shot, or a label is there twice.
        """
        utc_s = time.time()
        with self._writing(say("no shot was imported")) as connection:
            ids = shots.import_rows(connection, rows, utc_s)
            if ids:
                self._note("import", {"shots": len(ids), "first": ids[0]}, utc_s=utc_s)
        return ids

    # Checks of the laser and the rod

    def add_check(
        self,
        kind: str,
        inputs: Given,
        result: Given,
        ok: bool,
        *,
        session_id: int | None = None,
    ) -> int:
        """Keep a check with what it was made from, and return its id."""
        with self._writing(say("the check was not kept")) as connection:
            return checks.add(connection, kind, inputs, result, ok, session_id, time.time())

    def checks(self) -> list[Check]:
        """Return all checks in their order."""
        with self._reading() as connection:
            return checks.select(connection)
