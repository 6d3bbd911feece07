"""SQLite's log beside the job file: how what it holds gets into the file, and what that costs.

A commit is one sync, of the log. To put it into the file as well, so that a copy of the file alone
has it, would be three more. So the pages are written without a sync, and the log, which has them
safe, is kept from beginning anew until the file is synced, with many commits at once.
"""

import contextlib
import os
import sqlite3
import time
from collections.abc import Callable

MOST_PAGES = 1_000
"""A log so long is put into the file with a sync, and begins anew."""
_WAITS_S = (0.002, 0.01)
_PAGES_A_COMMIT = 5
_ROWS_A_PAGE = 30


class WriteAheadLog:
    """The log of the one writer, whose commits are counted.

    Parameters
    ----------
    connection : sqlite3.Connection
        The writer's, with ``synchronous = FULL`` and no checkpoints of its own.
    connect : callable
        Opens another connection to the same file, which only reads.
    """

    def __init__(
        self, connection: sqlite3.Connection, connect: Callable[[], sqlite3.Connection]
    ) -> None:
        self._connection, self._connect = connection, connect
        self._holder: sqlite3.Connection | None = None
        self._pages = 0  # about so many
        self._is_unsynced = False
        self._is_long = False  # has pages that are not in the file
        self.is_behind = False
        """What is committed stands in the log only, not yet in the file."""

    def committed(self, rows: int, in_bulk: bool) -> None:
        """Hear that so many rows were committed; put all into the file unless that can wait."""
        self._pages += _PAGES_A_COMMIT + rows // _ROWS_A_PAGE
        self._is_long = True
        self.is_behind = self.is_behind or not in_bulk
        if self._pages >= MOST_PAGES:
            self.put_into_file(synced=True)
        elif not in_bulk:
            self.put_into_file()

    def put_into_file(self, synced: bool = False) -> bool:
        """Bring what the log holds into the file itself; return whether all of it is there.

        A reader may be in the way for a moment; what is left then comes with the next call.
        """
        if synced:
            self._let_go()
        synced = synced or not self._hold()
        for wait_s in (None, *_WAITS_S):
            if wait_s is not None:
                time.sleep(wait_s)  # one of nothing would be a turn of the scheduler's
            logged, done = self._checkpoint(synced)
            if logged == done:
                self.is_behind = self._is_long = False
                self._is_unsynced = not synced
                self._pages = 0 if synced else logged
                break
        return not self.is_behind

    def finish(self) -> bool:
        """Bring all into the file, synced, before the log is let go; return whether that is so."""
        if self._is_unsynced and not self._is_long:
            # SQLite syncs the file only where it has a page to put into it.
            try:
                (version,) = self._connection.execute("PRAGMA user_version").fetchone()
                self._connection.execute("BEGIN IMMEDIATE")
                self._connection.execute(f"PRAGMA user_version = {version}")
                self._connection.execute("COMMIT")
            except sqlite3.Error:
                os.sync()
        return self.put_into_file(synced=True)

    def empty(self) -> None:
        """Put what the log holds into the file, wherever that is now."""
        self.close()
        if self._is_unsynced:
            os.sync()
        with contextlib.suppress(sqlite3.Error):
            self._connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")

    def close(self) -> None:
        """Close the second connection."""
        if self._holder is not None:
            self._holder.close()
            self._holder = None

    def _checkpoint(self, synced: bool) -> tuple[int, int]:
        """Return how many pages the log has, and how many of them are in the file now."""
        if not synced:
            self._connection.execute("PRAGMA synchronous = OFF")
        try:
            found = self._connection.execute("PRAGMA wal_checkpoint(PASSIVE)").fetchone()
            return int(found[1]), int(found[2])
        except sqlite3.Error:
            return 1, 0  # it is on the disk all the same, and the next write tells what is wrong
        finally:
            if not synced:
                self._connection.execute("PRAGMA synchronous = FULL")

    def _hold(self) -> bool:
        """Keep the log from beginning anew: who reads its last state needs it as it is."""
        try:
            if self._holder is None:
                self._holder = self._connect()
            self._let_go()
            self._holder.execute("BEGIN")
            self._holder.execute("SELECT id FROM job").fetchone()
        except sqlite3.Error:  # no more descriptors, say
            self._let_go()
            return False
        return True

    def _let_go(self) -> None:
        if self._holder is not None and self._holder.in_transaction:
            self._holder.execute("ROLLBACK")
