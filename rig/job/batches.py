"""Batches of the pour: the schedule that stands, and what was poured of it.

Functions over a connection inside the caller's transaction. A new schedule takes the place of what
is not poured of the old one, which the event `pour_plan` keeps; what was poured stays.
"""

import sqlite3
from collections.abc import Iterable

from rig.errors import BadInput
from rig.job.description import finite
from rig.job.rows import Batch, Given
from rig.language import say

_GIVEN = ("n", "bags", "water_l", "volume_l", "mix_s", "pour_s", "x_mm", "y_mm")
_COLUMNS = ", ".join(_GIVEN)


def save(connection: sqlite3.Connection, rows: Iterable[Given]) -> None:
    """Write a schedule; see `Job.save_pour_plan`."""
    wanted = [
        tuple(finite(row[key], say("{key} of batch {n}", key=key, n=row["n"])) for key in _GIVEN)
        for row in rows
    ]
    connection.execute("DELETE FROM batch WHERE poured_utc_s IS NULL")
    connection.executemany(
        f"INSERT INTO batch ({_COLUMNS}) VALUES (?, ?, ?, ?, ?, ?, ?, ?)", wanted
    )


def select(connection: sqlite3.Connection) -> list[Batch]:
    """Return what was poured, in its order, then what is planned."""
    rows = connection.execute(
        f"SELECT id, {_COLUMNS}, session_id, mixed_utc_s, poured_utc_s FROM batch "
        "ORDER BY poured_utc_s IS NULL, ifnull(poured_utc_s, n), id"
    )
    return [Batch(*row) for row in rows]


def pour(
    connection: sqlite3.Connection, n: int, bags: float, session_id: int, utc_s: float
) -> None:
    """Mark the planned batch as poured, or write one that was not planned."""
    at = finite(utc_s, say("the time of the batch"))
    row = connection.execute(
        "SELECT id FROM batch WHERE n = ? AND poured_utc_s IS NULL", (n,)
    ).fetchone()
    if row is None:
        connection.execute(
            "INSERT INTO batch (n, bags, session_id, poured_utc_s) VALUES (?, ?, ?, ?)",
            (n, bags, session_id, at),
        )
    else:
        connection.execute(
            "UPDATE batch SET session_id = ?, poured_utc_s = ? WHERE id = ?",
            (session_id, at, row[0]),
        )


def unpour(connection: sqlite3.Connection) -> None:
    """Take back the batch that was poured last."""
    row = connection.execute(
        "SELECT id FROM batch WHERE poured_utc_s IS NOT NULL "
        "ORDER BY session_id DESC, n DESC, id DESC LIMIT 1"
    ).fetchone()
    if row is None:
        raise BadInput(say("no batch was poured yet; there is nothing to undo."))
    connection.execute(
        "UPDATE batch SET session_id = NULL, poured_utc_s = NULL WHERE id = ?", (row[0],)
    )


def unpour_all(connection: sqlite3.Connection, ids: Iterable[int]) -> None:
    """Take back batches by their ids."""
    connection.executemany(
        "UPDATE batch SET session_id = NULL, poured_utc_s = NULL WHERE id = ?",
        [(one,) for one in ids],
    )
