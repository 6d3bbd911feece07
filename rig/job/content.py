"""A fingerprint of all that a job holds, by which a report can be told to be of this job."""

import hashlib
import sqlite3


def content_hash(connection: sqlite3.Connection) -> str:
    """Return SHA-256 over every row of every table, in their order, floats written exactly.

    How SQLite lays the file out does not count: a copy, or one that was vacuumed, is the same.
    """
    digest = hashlib.sha256()
    tables = connection.execute(
        "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite%' "
        "ORDER BY name"
    ).fetchall()
    for (name,) in tables:
        rows = connection.execute(f'SELECT * FROM "{name}" ORDER BY rowid')
        columns = [column[0] for column in rows.description]
        digest.update(repr((name, columns)).encode())
        for row in rows:
            digest.update(repr(row).encode())
    return digest.hexdigest()
