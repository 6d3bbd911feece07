"""Sessions and what was logged in them, read back in the order in which it came.

Functions over a connection.
"""

import sqlite3
from collections.abc import Iterable, Iterator
from dataclasses import replace

from rig.job.description import finite, storable, text, to_json
from rig.job.rows import Given, Row, Session, StoredEvent, StoredReading
from rig.job.trouble import stored_json

_EVENT = "SELECT ifnull(reading_id, 0), time_s, kind, data, utc_s, id FROM event"


def start(
    connection: sqlite3.Connection,
    *,
    kind: str,
    setup_id: int,
    source: str,
    profile_text: str,
    capture: Given,
    boot_id: str,
    utc_s: float,
    monotonic_s: float | None,
    rod: str | None = None,
) -> int:
    """Write a session and return its id."""
    cursor = connection.execute(
        "INSERT INTO session (kind, setup_id, source, profile_text, capture, boot_id, utc_s, "
        "monotonic_s, rod) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
        (
            text(kind, "the session's kind"),
            setup_id,
            text(source, "the session's source"),
            storable(profile_text, "the profile"),
            to_json(capture, "the capture settings"),
            storable(boot_id, "the boot's id"),
            finite(utc_s, "the session's start"),
            None if monotonic_s is None else finite(monotonic_s, "the session's start"),
            None if rod is None else text(rod, "the rod's name"),
        ),
    )
    return int(cursor.lastrowid or 0)


def select(connection: sqlite3.Connection) -> list[Session]:
    """Return all sessions in their order."""
    rows = connection.execute(
        "SELECT session.id, kind, substr(setup.name, 1, 64), source, profile_text, capture, "
        "boot_id, utc_s, monotonic_s, rod FROM session JOIN setup ON setup.id = setup_id "
        "ORDER BY session.id"
    )
    sessions = (Session(*row) for row in rows)
    return [
        replace(session, capture=stored_json(str(session.capture), dict)) for session in sessions
    ]


def last_setup(connection: sqlite3.Connection) -> str | None:
    """Return the set-up that the last session ended in, else that of the last shot, or None.

    The laser may have been found to stand anew in that session; what was taken back, was not.
    """
    row = connection.execute(
        "SELECT json_extract(data, '$.name') FROM event WHERE kind = 'setup' "
        "AND session_id = (SELECT max(id) FROM session) AND NOT EXISTS (SELECT 1 FROM event AS "
        "later, json_each(later.data, '$.events') AS gone WHERE later.kind = 'undo' "
        "AND gone.value = event.id) ORDER BY id DESC LIMIT 1"
    ).fetchone()
    if row is not None and row[0]:
        return str(row[0])
    for table in ("session", "shot"):
        row = connection.execute(
            f"SELECT substr(setup.name, 1, 64) FROM {table} JOIN setup ON setup.id = setup_id "
            f"ORDER BY {table}.id DESC LIMIT 1"
        ).fetchone()
        if row is not None:
            return str(row[0])
    return None


def messages(
    connection: sqlite3.Connection, session_id: int
) -> Iterator[StoredReading | StoredEvent]:
    """Yield the readings and events of a session, each event behind the reading it followed."""
    readings = connection.execute(
        "SELECT time_s, utc_s, raw, value_mm, status, seq, id FROM reading "
        "WHERE session_id = ? ORDER BY id",
        (session_id,),
    )
    events = connection.execute(f"{_EVENT} WHERE session_id = ? ORDER BY id", (session_id,))
    event = events.fetchone()
    for reading in readings:
        while event is not None and event[0] < reading[-1]:
            yield _event(event)
            event = events.fetchone()
        yield StoredReading("reading", *reading)
    while event is not None:
        yield _event(event)
        event = events.fetchone()


def messages_since(
    connection: sqlite3.Connection, session_id: int, reading_id: int, event_id: int
) -> list[StoredReading | StoredEvent]:
    """Return what a session has after a reading and an event, as of one moment."""
    begun = not connection.in_transaction
    if begun:
        connection.execute("BEGIN")
    try:
        readings = connection.execute(
            "SELECT time_s, utc_s, raw, value_mm, status, seq, id FROM reading "
            "WHERE session_id = ? AND id > ? ORDER BY id",
            (session_id, reading_id),
        ).fetchall()
        events = connection.execute(
            f"{_EVENT} WHERE session_id = ? AND id > ? ORDER BY id", (session_id, event_id)
        ).fetchall()
    finally:
        if begun:
            connection.execute("ROLLBACK")
    # An event stands behind the reading it followed.
    rows: list[tuple[int, int, StoredReading | StoredEvent]] = [
        (row[-1], 0, StoredReading("reading", *row)) for row in readings
    ]
    rows += [(row[0], row[-1], _event(row)) for row in events]
    return [row[2] for row in sorted(rows, key=lambda row: row[:2])]


def select_events(
    connection: sqlite3.Connection, kinds: Iterable[str] | None = None
) -> list[StoredEvent]:
    """Return the events of the whole job in their order."""
    if kinds is None:
        return [_event(row) for row in connection.execute(f"{_EVENT} ORDER BY id")]
    wanted = (kinds,) if isinstance(kinds, str) else tuple(kinds)
    marks = ", ".join("?" * len(wanted))
    rows = connection.execute(f"{_EVENT} WHERE kind IN ({marks}) ORDER BY id", wanted)
    return [_event(row) for row in rows]


def _event(row: Row) -> StoredEvent:
    _, time_s, kind, data, utc_s, event_id = row
    return StoredEvent("event", time_s, kind, stored_json(data, dict), utc_s, event_id)
