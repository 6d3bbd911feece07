"""Which job a file is of, whatever it is called and wherever a copy of it lies."""

import hashlib
import secrets
import sqlite3

from rig.job.trouble import stored_json


def new_uid() -> str:
    """Return the identity of a job that begins: 128 random bits as 32 hex digits."""
    return secrets.token_hex(16)


def derived_uid(connection: sqlite3.Connection) -> str | None:
    """Return the identity of a job that began before jobs had one; None where there is no job.

    It is made from what every copy of it has had since its first day: when it was made, its first
    outline and its first session.
    """
    made = connection.execute("SELECT made_utc_s FROM job").fetchone()
    if made is None:
        return None
    first = connection.execute(
        "SELECT kind, source, boot_id, utc_s, monotonic_s FROM session ORDER BY id LIMIT 1"
    ).fetchone()
    told = repr((made[0], _first_walls(connection), first))
    return hashlib.sha256(told.encode()).hexdigest()[:32]


def _first_walls(connection: sqlite3.Connection) -> list[list[float]]:
    """Return the walls as they were before any edit."""
    edited = connection.execute(
        "SELECT data FROM event WHERE kind = 'edit' AND json_valid(data) "
        "AND json_type(data, '$.old.walls') = 'array' ORDER BY id LIMIT 1"
    ).fetchone()
    if edited is not None:
        walls = stored_json(edited[0], dict)["old"]["walls"]
    else:
        walls = connection.execute(
            "SELECT x_mm, y_mm FROM outline WHERE ring = 0 ORDER BY corner"
        ).fetchall()
    return [[float(x_mm), float(y_mm)] for x_mm, y_mm in walls]
