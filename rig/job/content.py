"""A fingerprint of all that a job holds, by which a report can be told to be of this job."""

import hashlib
import sqlite3

from rig.job.identity import derived_uid
from rig.job.schema import LATER


def content_hash(connection: sqlite3.Connection) -> str:
    """Return SHA-256 over every row of every table, in their order, floats written exactly.

    How SQLite lays the file out does not count: a copy, or one that was vacuumed, is the same.
    Nor does a column that came with a later floor-rig, as long as nothing new stands in it: a job
    that was brought up to date is the job that it was.
    """
    digest = hashlib.sha256()
    later = [(table, told.partition(" ")[0]) for table, told in LATER]
    tables = connection.execute(
        "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite%' "
        "ORDER BY name"
    ).fetchall()
    for (name,) in tables:
        (*every,) = connection.execute("SELECT name FROM pragma_table_info(?)", (name,))
        columns = [column for (column,) in every if (name, column) not in later]
        listed = ", ".join(f'"{column}"' for column in columns)
        rows = connection.execute(f'SELECT {listed} FROM "{name}" ORDER BY rowid')
        digest.update(repr((name, columns)).encode())
        for row in rows:
            digest.update(repr(row).encode())
    for table, column in later:
        if not _has(connection, table, column):
            continue
        found = connection.execute(
            f'SELECT rowid, "{column}" FROM "{table}" WHERE "{column}" IS NOT NULL ORDER BY rowid'
        ).fetchall()
        if found and (column != "uid" or found != [(1, derived_uid(connection))]):
            digest.update(repr((table, column, found)).encode())
    return digest.hexdigest()


def _has(connection: sqlite3.Connection, table: str, column: str) -> bool:
    named = connection.execute("SELECT name FROM pragma_table_info(?)", (table,))
    return any(name == column for (name,) in named)
