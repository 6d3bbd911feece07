"""A job file as one object: what was measured, decided and done, kept so that nothing is lost.

Readings and acts are buffered; every change commits them with it in one transaction that is on the
disk before the call returns. SQLite's errors leave as `JobUnusable`, in words for a person.
"""

import os
import sqlite3
import time
from collections.abc import Iterable, Iterator, Mapping, Sequence
from math import hypot, isfinite
from typing import Any, Self

from rig.errors import BadInput, JobUnusable
from rig.job import batches, checks, description, markers, opening, plans, sessions, shots
from rig.job.file import JobFile
from rig.job.rows import (
    SAME_PLACE_MM,
    Batch,
    Check,
    DoorEnds,
    Marker,
    Plan,
    Point,
    Ring,
    Session,
    Shot,
    StoredEvent,
    StoredReading,
)
from rig.job.settings import Settings, settings_of
from rig.units import Units

_MOST_WAITING = 10_000  # so that a device nobody shoots with cannot fill the memory
_LARGEST = 2**63


class Job(JobFile):
    """A job, by what can be kept in it and asked of it. Made by `create` or `open`."""

    @classmethod
    def create(
        cls,
        path: str | os.PathLike[str],
        settings: Settings,
        walls: Sequence[Sequence[float]],
        openings: Iterable[Sequence[Sequence[float]]] = (),
        doors: Iterable[Any] = (),
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
                "INSERT INTO job (id, made_utc_s, units, denominator) VALUES (1, ?, 'in', 32)",
                (time.time(),),
            )
            description.write_settings(connection, settings)
            description.write_outline(connection, walls, openings, doors)

        opening.create_file(os.fspath(path), fill)
        return cls.open(path, write=True)

    # What the job is about

    @property
    def settings(self) -> Settings:
        """What the job was told.

        Raises
        ------
        JobUnusable
            Where the file keeps a setting that is not as floor-rig writes it.
        """
        with self._reading() as connection:
            stored = description.read_settings(connection)
        try:
            return settings_of(stored)
        except ValueError as error:
            raise JobUnusable(
                f"{self.path}: what it keeps as {error} is not as floor-rig writes it; go on with "
                "a copy of the job from before."
            ) from error

    @property
    def units(self) -> Units:
        """How the job writes its quantities."""
        settings = self.settings
        return Units(settings.units, settings.denominator)

    def update_settings(self, settings: Settings) -> None:
        """Put settings in place of those there. The event `edit` keeps old and new values."""
        with self._writing("the settings were not changed") as connection:
            old = description.read_settings(connection)
            description.write_settings(connection, settings)
            new = description.read_settings(connection)
            changed = [key for key in {**old, **new} if old.get(key) != new.get(key)]
            if changed:
                self._note(
                    "edit",
                    {
                        "old": {key: old.get(key) for key in changed},
                        "new": {key: new.get(key) for key in changed},
                    },
                )

    def outline_rings(self) -> tuple[Ring, tuple[Ring, ...], tuple[DoorEnds, ...]]:
        """Return walls, openings and doors (mm) in the order they were given."""
        with self._reading() as connection:
            return description.read_outline(connection)

    def set_outline(
        self,
        walls: Sequence[Sequence[float]],
        openings: Iterable[Sequence[Sequence[float]]] = (),
        doors: Iterable[Any] = (),
    ) -> None:
        """Put an outline in place of the old one, which the event `edit` keeps."""
        with self._writing("the outline was not changed") as connection:
            old = description.read_outline(connection)
            description.write_outline(connection, walls, openings, doors)
            new = description.read_outline(connection)
            if new != old:
                names = ("walls", "openings", "doors")
                self._note(
                    "edit",
                    {
                        "old": dict(zip(names, old, strict=True)),
                        "new": dict(zip(names, new, strict=True)),
                    },
                )

    def material_rules(self) -> list[dict[str, Any]]:
        """Return the rules for materials that the job keeps, in the order they came."""
        with self._reading() as connection:
            return description.read_material_rules(connection)

    def keep_material_rules(self, rules: Iterable[Mapping[str, Any]], *, edited: bool) -> None:
        """Keep rules for materials.

        Parameters
        ----------
        rules : iterable of mappings
            `key`, `text`, `source`, `per`, `amount`, `unit`, `package`.
        edited : bool
            The user's change stands before what is there, and the event `edit` keeps both. Else
            only rules that the job does not have yet are added.
        """
        with self._writing("the rules for materials were not kept") as connection:
            old = {row["key"]: row for row in description.read_material_rules(connection)}
            new = [dict(rule) for rule in rules if edited or rule["key"] not in old]
            description.write_material_rules(connection, new)
            if edited:
                names = [f"material {rule['key']}" for rule in new]
                was = [old.get(rule["key"], {}).get("amount") for rule in new]
                now = [rule["amount"] for rule in new]
                self._note(
                    "edit",
                    {
                        "old": dict(zip(names, was, strict=True)),
                        "new": dict(zip(names, now, strict=True)),
                    },
                )

    def set_points(self, points: Iterable[tuple[str, float, float, int]]) -> None:
        """Put a grid of (label, x_mm, y_mm, order) in place of the old one.

        The event `grid` keeps each grid, so that a session replays over the one it walked.
        """
        with self._writing("the grid was not changed") as connection:
            description.write_points(connection, points)
            rows = [(p.label, p.x_mm, p.y_mm, p.order) for p in description.read_points(connection)]
            self._note("grid", {"points": rows})

    def points(self) -> list[Point]:
        """Return the grid in the order of the walk."""
        with self._reading() as connection:
            return description.read_points(connection)

    # Sessions and the raw log

    def start_session(
        self,
        kind: str,
        setup: str,
        source: str,
        profile_text: str,
        capture: Mapping[str, Any],
        boot_id: str,
        utc_s: float,
        *,
        monotonic_s: float | None = None,
    ) -> int:
        """Begin a live run and return its id; a set-up not met before becomes the next one.

        `utc_s` is the wall clock, `monotonic_s` the machine's monotonic clock, at time 0.
        """
        with self._writing("no session was begun") as connection:
            setup_id = shots.setup_id(connection, setup)
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
            return [name for (name,) in connection.execute("SELECT name FROM setup ORDER BY id")]

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
    ) -> int:
        """Buffer a message of the device and return the id it will have.

        Raises
        ------
        BadInput
            If a value cannot be kept; it would spoil the commit of all that waits.
        """
        if not (isfinite(time_s) and isfinite(utc_s) and (value_mm is None or isfinite(value_mm))):
            raise BadInput(f"the reading {raw!a} has a time or value that is not finite.")
        if session_id not in self._setup_of:
            raise BadInput(f"there is no session {session_id} in {self.path}.")
        if not raw.isascii():
            description.storable(raw, "a reading")
        if seq is not None and not -_LARGEST <= seq < _LARGEST:
            raise BadInput(f"the reading {raw!a} has a sequence number too large to keep.")
        if len(self._log) >= _MOST_WAITING:
            self.flush()
        return self._log.reading(session_id, time_s, utc_s, raw, value_mm, status, seq)

    def log_event(
        self,
        session_id: int | None,
        time_s: float | None,
        utc_s: float,
        kind: str,
        data: Mapping[str, Any],
    ) -> int:
        """Buffer an act or an event and return the id it will have.

        `data` is kept as it is now. `session_id` and `time_s` are None outside any session.

        Raises
        ------
        BadInput
            If a value cannot be kept.
        """
        if not (isfinite(utc_s) and (time_s is None or isfinite(time_s))):
            raise BadInput(f"the event {kind} has a time that is not finite.")
        if session_id is not None and session_id not in self._setup_of:
            raise BadInput(f"there is no session {session_id} in {self.path}.")
        text = description.to_json(data, f"the event {kind}")
        if len(self._log) >= _MOST_WAITING:
            self.flush()
        return self._log.event(
            session_id, time_s, utc_s, description.text(kind, "an event's kind"), text
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
    ) -> int:
        """Commit a shot with all that came before it, and return its id.

        It supersedes the current shot of its kind at its label; a benchmark only that of its own
        set-up.

        Raises
        ------
        BadInput
            If no shot can be so.
        JobUnusable
            If it did not get to the disk; then no part of it did.
        """
        setup_id = self._setup(session_id)
        with self._writing("the last shot was not kept") as connection:
            return shots.add(
                connection,
                session_id=session_id,
                setup_id=setup_id,
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

    def correct_shots(self, session_id: int, rows: Iterable[Mapping[str, Any]]) -> list[int]:
        """Commit shots as they read once corrected, each as `add_shot` takes it, all or none.

        Each takes the place of the current one at its label for good: to undo it brings the
        uncorrected one back no more.
        """
        setup_id = self._setup(session_id)
        with self._writing("the shots were not corrected") as connection:
            return [shots.correct(connection, session_id, setup_id, row) for row in rows]

    def set_aside(self, shot_ids: Iterable[int]) -> None:
        """Take several current shots out of use, all or none; nothing comes back in their place."""
        with self._writing("the shots were not set aside") as connection:
            for shot_id in shot_ids:
                shots.set_aside(connection, shot_id)

    def supersede(self, shot_id: int, by: int | None = None) -> None:
        """Take a current shot out of use; an undone one (`by` None) points at itself.

        The shot that an undone one had taken the place of counts again; a marker
        that an undone shot showed to be set is no longer set.
        """
        with self._writing("the shot was not undone") as connection:
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
        with self._writing("no shot was relabelled") as connection:
            done = shots.relabel(connection, list(moves))
            if done:
                self._note("relabel", {"moves": done}, session_id, time_s, utc_s)
        return [move["new"] for move in done]

    def shots(self, kinds: Iterable[str] | None = None, current: bool = True) -> list[Shot]:
        """Return shots in the order they were written, of one kind or several or all.

        With `current` only those that are not superseded.
        """
        with self._reading() as connection:
            return shots.select(connection, kinds, current)

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

    def import_shots(self, rows: Iterable[Mapping[str, Any]]) -> list[int]:
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
        with self._writing("no shot was imported") as connection:
            ids = shots.import_rows(connection, rows, utc_s)
            if ids:
                self._note("import", {"shots": len(ids), "first": ids[0]}, utc_s=utc_s)
        return ids

    # Checks of the laser and the rod

    def add_check(
        self,
        kind: str,
        inputs: Mapping[str, Any],
        result: Mapping[str, Any],
        ok: bool,
        *,
        session_id: int | None = None,
    ) -> int:
        """Keep a check with what it was made from, and return its id."""
        with self._writing("the check was not kept") as connection:
            return checks.add(connection, kind, inputs, result, ok, session_id, time.time())

    def checks(self) -> list[Check]:
        """Return all checks in their order."""
        with self._reading() as connection:
            return checks.select(connection)

    # Plans

    def save_plan(
        self,
        inputs: Mapping[str, Any],
        result: Mapping[str, Any],
        a: float,
        b: float,
        c: float,
        *,
        shot_ids: Iterable[int] | None = None,
    ) -> Plan:
        """Keep a plan, with the shots, the outline and the settings it stands on.

        Parameters
        ----------
        inputs, result : mapping
            As JSON holds them, arrays as lists.
        a, b, c : float
            The finished plane z = a + b·x + c·y in mm.
        shot_ids : iterable of int, optional
            The shots it was made from; else the current floor, benchmark and threshold shots, which
            is right where the job was open for writing since they were read.
        """
        with self._writing("the plan was not kept") as connection:
            return plans.save(connection, inputs, result, (a, b, c), shot_ids, time.time())

    def current_plan(self) -> Plan | None:
        """Return the last plan, or None where there is none yet."""
        with self._reading() as connection:
            return plans.current(connection)

    def plan(self, plan_id: int) -> Plan | None:
        """Return a plan by its number, or None where there is none."""
        with self._reading() as connection:
            return plans.of_id(connection, plan_id)

    def first_plan(self) -> Plan | None:
        """Return the first plan, or None where there is none yet."""
        with self._reading() as connection:
            return plans.first(connection)

    def changed_since(self, plan: Plan, bags: bool = False) -> list[str]:
        """Name what has changed under a plan's plane; empty where it still stands.

        Labels of floor, benchmark and threshold shots that are new, gone, moved or read otherwise,
        in the order of their labels; then "outline", "covering", "minimum cover", "maximum cover";
        with `bags` also what changes only the count of bags ("bag yield", "waste", …). A benchmark
        sighted from a set-up that has no shot in the plan is no change.
        """
        with self._reading() as connection:
            return plans.changed_since(connection, plan, bags)

    # Markers

    def save_markers(
        self, layout: Iterable[Mapping[str, Any]], *, plan_id: int | None = None
    ) -> None:
        """Keep a layout of markers, in its order, in place of the old one.

        Parameters
        ----------
        layout : iterable of mappings
            `label`, `x_mm`, `y_mm`, `target_reading_mm`, `stick_out_mm`, `stick_out_stderr_mm`.
            A marker that was set stays so where its label, place and target stay.
        plan_id : int, optional
            The plan it is for; else the current one.

        Raises
        ------
        CannotAnswer
            If there is no plan.
        """
        with self._writing("the markers were not kept") as connection:
            markers.save(connection, layout, plan_id)

    def markers(self) -> list[Marker]:
        """Return the current layout in its order."""
        with self._reading() as connection:
            return markers.select(connection)

    def set_marker(
        self,
        label: str,
        residual_mm: float,
        reading_mm: float,
        stderr_mm: float,
        n: int,
        session_id: int,
        time_s: float,
        utc_s: float,
    ) -> int:
        """Commit that a marker stands at its height, with the shot that shows it and all before.

        Returns the id of the shot, of kind marker at the marker's place.
        """
        setup_id = self._setup(session_id)
        with self._writing("the last marker was not kept") as connection:
            return markers.mark_set(
                connection,
                label,
                residual_mm,
                session_id=session_id,
                setup_id=setup_id,
                reading_mm=reading_mm,
                stderr_mm=stderr_mm,
                n=n,
                time_s=time_s,
                utc_s=utc_s,
            )

    def unset_marker(self, label: str) -> None:
        """Take back that a marker was set; its shot counts as undone."""
        with self._writing("the marker was not changed") as connection:
            markers.unset(connection, label)

    # The pour

    def save_pour_plan(self, rows: Iterable[Mapping[str, Any]], plan: Mapping[str, Any]) -> None:
        """Keep the schedule of a pour; the event `pour_plan` keeps each whole.

        Parameters
        ----------
        rows : iterable of mappings
            The batches: `n`, `bags`, `water_l`, `volume_l`, `mix_s`, `pour_s`, `x_mm`, `y_mm`.
        plan : mapping
            What the live log goes by, as JSON holds it.
        """
        with self._writing("the plan of the pour was not kept") as connection:
            batches.save(connection, rows)
            self._note("pour_plan", plan)

    def batches(self) -> list[Batch]:
        """Return the batches poured, in their order, then those that are planned."""
        with self._reading() as connection:
            return batches.select(connection)

    def pour_batch(self, n: int, bags: float, session_id: int, utc_s: float) -> None:
        """Commit that a batch was poured, with all that was logged before."""
        self._setup(session_id)
        with self._writing("the last batch was not kept") as connection:
            batches.pour(connection, n, bags, session_id, utc_s)

    def unpour_batch(self) -> None:
        """Take back the batch that was poured last; it is planned again."""
        with self._writing("the batch was not taken back") as connection:
            batches.unpour(connection)
