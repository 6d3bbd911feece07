"""An open job file: its connection, its lock, and the one way in which changes get onto the disk.

What may be written and read is `store.Job`; this is how it gets in and out.
"""

import contextlib
import os
import sqlite3
import time
from collections.abc import Iterator
from types import TracebackType
from typing import Self

from rig.errors import BadInput, JobUnusable
from rig.job import description, opening
from rig.job.identity import derived_uid
from rig.job.lock import Place, WriterLock
from rig.job.log import Log
from rig.job.rows import Given, RoomView
from rig.job.trouble import plain_words
from rig.job.wal import WriteAheadLog
from rig.language import say


class JobFile:
    """The open file, a context manager that closes it.

    Only one writer has a job at a time; readers need no leave. A method that writes either does
    all it says and has it on the disk, or raises and changes nothing; what waited in the buffer
    waits on.
    """

    def __init__(self, path: str, connection: sqlite3.Connection, lock: WriterLock | None) -> None:
        self.path = path
        self.room: RoomView | None = None
        """The room that all is told and kept for, where the job has several and one was asked."""
        self._connection = connection
        self._lock = lock
        self._closed = False
        self._is_together = False
        self._change_s: float | None = None  # when the change at hand was begun
        self._log = Log(connection)
        file = os.path.realpath(path)
        self._wal = WriteAheadLog(connection, lambda: opening.connect_beside(file))
        self._place = Place(file)
        self._setup_of = dict(connection.execute("SELECT id, setup_id FROM session"))

    @classmethod
    def open(cls, path: str | os.PathLike[str], write: bool = False, wait_s: float = 5.0) -> Self:
        """Open a job file that is there.

        Parameters
        ----------
        path : path
            The job file.
        write : bool
            Whether to become its one writer.
        wait_s : float
            How long to wait for another writer, or another program's lock, to end.

        Raises
        ------
        BadInput
            If there is no such file.
        JobUnusable
            If it is not a job file, damaged, newer than this program, or locked.
        """
        path = os.fspath(path)
        file = opening.existing(path)
        lock = WriterLock(file) if write else None
        connection = None
        try:
            if lock is not None:
                lock.acquire(wait_s)
                connection = opening.connect_to_write(file, path, wait_s, lock)
            else:
                connection = opening.connect_to_read(file, path, wait_s)
            with plain_words(path):
                return cls(path, connection, lock)
        except BaseException:
            if connection is not None:
                connection.close()
            if lock is not None:
                lock.release()
            raise

    def close(self) -> None:
        """Write what waits and let go of the file; does nothing the second time."""
        if self._closed:
            return
        try:
            if self._lock is not None:
                self.flush()
        finally:
            self._closed = True
            if self._lock is not None and self._wal.finish():
                self._lock.mark(False)
            self._wal.close()
            self._connection.close()
            if self._lock is not None:
                self._lock.release()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        # Where the block failed already, its own error says more than that the rest was not kept.
        with contextlib.suppress(JobUnusable) if error else contextlib.nullcontext():
            self.close()

    def flush(self) -> None:
        """Commit what waits in the buffer."""
        if len(self._log):
            with self._writing(say("the last readings were not kept"), in_bulk=True):
                pass
        if self._wal.is_behind and not self._is_together:
            self._wal.put_into_file()

    @contextlib.contextmanager
    def together(self, lost: str = say("the last act was not kept")) -> Iterator[None]:
        """Commit all that the block writes as one change, or nothing of it.

        Parameters
        ----------
        lost : str
            What did not get into the file when the block fails, as a clause.
        """
        if self._is_together:
            yield
            return
        with self._writing(lost):
            self._is_together, self._change_s = True, time.time()
            try:
                yield
            finally:
                self._is_together, self._change_s = False, None

    def copy_to(self, path: str | os.PathLike[str]) -> None:
        """Copy the job as it is on the disk now, beside whoever writes to it.

        Raises
        ------
        BadInput
            If there is a file already, or no such folder.
        JobUnusable
            If the copy cannot be written.
        """
        with self._reading() as connection:
            opening.copy_file(connection, os.fspath(path))

    def snapshot(self) -> bytes:
        """Return the job as a plain file's bytes, as it is on the disk now."""
        from rig.job.snapshot import snapshot

        return snapshot(self._connection, self.path)

    def content_hash(self) -> str:
        """Return SHA-256 over every row of every table, however the file lies on the disk."""
        from rig.job.content import content_hash

        with self._reading() as connection:
            return content_hash(connection)

    @property
    def uid(self) -> str:
        """Which job it is, in every copy of it: 32 hex digits."""
        with self._reading() as connection:
            (uid,) = connection.execute("SELECT uid FROM job").fetchone()
            return str(uid or derived_uid(connection))

    @property
    def size_bytes(self) -> int:
        """How large the job is on the disk."""
        with self._reading() as connection:
            (pages,) = connection.execute("PRAGMA page_count").fetchone()
            (page_bytes,) = connection.execute("PRAGMA page_size").fetchone()
        return int(pages) * int(page_bytes)

    @contextlib.contextmanager
    def _reading(self) -> Iterator[sqlite3.Connection]:
        with plain_words(self.path):
            yield self._connection

    @contextlib.contextmanager
    def _writing(self, lost: str, in_bulk: bool = False) -> Iterator[sqlite3.Connection]:
        if self._lock is None:
            raise JobUnusable(
                say("{path} is open for reading only: {lost}.", path=self.path, lost=lost)
            )
        connection = self._connection
        if self._is_together:
            with plain_words(self.path, lost):
                yield connection
            return
        gone = self._place.gone()
        if gone is not None:
            self._wal.empty()
            raise JobUnusable(
                say(
                    "{gone} was moved or deleted while {path} was in use: {lost}; put it back "
                    "where it was, then start again.",
                    gone=gone,
                    path=self.path,
                    lost=lost,
                )
            )
        waiting_events = self._log.waiting_events
        try:
            with plain_words(self.path, lost):
                connection.execute("BEGIN IMMEDIATE")
                yield connection
                self._log.write(connection)
                connection.execute("COMMIT")
                rows = len(self._log)
                self._log.clear()
        except BaseException:
            self._log.drop_events(waiting_events)
            # The error at hand says more than one met while clearing up.
            with contextlib.suppress(sqlite3.Error):
                if connection.in_transaction:
                    connection.execute("ROLLBACK")
                self._log.catch_up(connection)
            raise
        self._wal.committed(rows, in_bulk)

    def _note(
        self,
        kind: str,
        data: Given,
        session_id: int | None = None,
        time_s: float | None = None,
        utc_s: float | None = None,
    ) -> None:
        self._log.event(
            session_id,
            time_s,
            (self._change_s or time.time()) if utc_s is None else utc_s,
            kind,
            description.to_json(data, say("the event {kind}", kind=kind)),
        )

    def _setup(self, session_id: int) -> int:
        setup_id = self._setup_of.get(session_id)
        if setup_id is None:
            raise BadInput(
                say(
                    "there is no session {session_id} in {path}.",
                    session_id=session_id,
                    path=self.path,
                )
            )
        return int(setup_id)
