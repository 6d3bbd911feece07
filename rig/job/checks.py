"""Checks of the laser and the rod, kept with what they were made from.

Functions over a connection inside the caller's transaction.
"""

import sqlite3

from rig.job.description import text, to_json
from rig.job.rows import Check, Given
from rig.job.trouble import stored_json

_COLUMNS = "id, session_id, utc_s, kind, inputs, result, ok"


def add(
    connection: sqlite3.Connection,
    kind: str,
    inputs: Given,
    result: Given,
    ok: bool,
    session_id: int | None,
    utc_s: float,
) -> int:
    """Write a check and return its id."""
    cursor = connection.execute(
        f'INSERT INTO "check" ({_COLUMNS[4:]}) VALUES (?, ?, ?, ?, ?, ?)',
        (
            session_id,
            utc_s,
            text(kind, "the check's kind"),
            to_json(inputs, "the check's inputs"),
            to_json(result, "the check's result"),
            int(ok),
        ),
    )
    return int(cursor.lastrowid or 0)


def select(connection: sqlite3.Connection) -> list[Check]:
    """Return all checks in their order."""
    rows = connection.execute(f'SELECT {_COLUMNS} FROM "check" ORDER BY id')
    return [
        Check(
            number,
            session,
            utc_s,
            kind,
            stored_json(inputs, dict),
            stored_json(result, dict),
            bool(ok),
        )
        for number, session, utc_s, kind, inputs, result, ok in rows
    ]
