"""A job file at one moment: its bytes, how far it has come, whether it goes on from another.

A copy is plain (no log beside it), the same bytes twice, and made beside whoever writes to the job.
"""

import contextlib
import hashlib
import os
import sqlite3
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from rig.errors import JobUnusable
from rig.job import schema
from rig.job.content import content_hash
from rig.job.identity import derived_uid
from rig.job.trouble import damaged, plain_words

Relation = Literal["same", "continues", "continued", "fork"]

_GROWING = {
    "reading": "id, session_id, time_s, utc_s, raw, value_mm, status, seq",
    "event": "id, session_id, reading_id, time_s, utc_s, kind, data",
    "shot": "id, session_id, setup_id, point, x_mm, y_mm, reading_mm, stderr_mm, n, kind, time_s, "
    "utc_s",
}
"""Tables that are only ever added to, by the columns that never change."""


@dataclass(frozen=True, slots=True)
class Heads:
    """The last rows of the tables that only grow, and a digest of all up to there."""

    reading: int
    event: int
    shot: int
    digest: str

    @property
    def rows(self) -> tuple[int, int, int]:
        """Ids of the last reading, event and shot."""
        return self.reading, self.event, self.shot


def snapshot(connection: sqlite3.Connection, path: str) -> bytes:
    """Return a job as a plain file's bytes, as of now.

    Raises
    ------
    JobUnusable
        Where it cannot be read, or there is no room for the copy.
    """
    with tempfile.TemporaryDirectory(prefix="rig-") as folder, plain_words(path):
        copy = os.path.join(folder, "job.sqlite")
        (guarded,) = connection.execute("PRAGMA query_only").fetchone()
        connection.execute("PRAGMA query_only = OFF")
        try:
            connection.execute("VACUUM INTO ?", (copy,))
        finally:
            connection.execute(f"PRAGMA query_only = {guarded}")
        with open(copy, "rb") as file:
            return file.read()


@contextlib.contextmanager
def opened(data: bytes, name: str) -> Iterator[sqlite3.Connection]:
    """Open the bytes of a job file in memory, looked over and brought up to date.

    Parameters
    ----------
    data : bytes
    name : str
        What refusals call it.

    Raises
    ------
    JobUnusable
        Where it is damaged, newer than this program, or no job file.
    """
    connection = sqlite3.connect(":memory:", isolation_level=None)
    try:
        with plain_words(name):
            connection.execute("PRAGMA trusted_schema = OFF")
            try:
                connection.deserialize(data)
            except MemoryError:
                raise damaged(name, "it is empty") from None
            if schema.version_of(connection, name) < len(schema.MIGRATIONS):
                schema.migrate(connection, name)
            schema.examine(connection, name)
            yield connection
    finally:
        connection.close()


def heads(connection: sqlite3.Connection, upto: tuple[int, int, int] | None = None) -> Heads:
    """Return how far a job has come, or what it was when it had come so far (`upto`)."""
    digest, found = hashlib.sha256(), [0, 0, 0]
    for nth, (table, columns) in enumerate(_GROWING.items()):
        limit = connection.execute(f"SELECT ifnull(max(id), 0) FROM {table}").fetchone()[0]
        if upto is not None:
            limit = min(limit, upto[nth])
        found[nth] = int(limit)
        for row in connection.execute(
            f"SELECT {columns} FROM {table} WHERE id <= ? ORDER BY id", (limit,)
        ):
            digest.update(repr(row).encode())
        digest.update(f"{table} {limit};".encode())
    reading, event, shot = found
    return Heads(reading, event, shot, digest.hexdigest())


def relation(one: sqlite3.Connection, other: sqlite3.Connection) -> Relation:
    """Tell how one version of a job stands to another: up to the smaller heads they must agree."""
    mine, theirs = heads(one), heads(other)
    if mine == theirs:
        return "same"
    if all(a >= b for a, b in zip(mine.rows, theirs.rows, strict=True)):
        return "continues" if heads(one, theirs.rows) == theirs else "fork"
    if all(a <= b for a, b in zip(mine.rows, theirs.rows, strict=True)):
        return "continued" if heads(other, mine.rows) == mine else "fork"
    return "fork"


def uid_of(connection: sqlite3.Connection) -> str:
    """Return which job a file is of."""
    (uid,) = connection.execute("SELECT uid FROM job").fetchone()
    found = uid or derived_uid(connection)
    if found is None:
        raise JobUnusable("it has no settings")
    return str(found)


__all__ = ["Heads", "Relation", "content_hash", "heads", "opened", "relation", "snapshot", "uid_of"]
