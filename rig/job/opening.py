"""Making a job file whole or not at all, and opening one that has been looked over.

The database is only ever touched through SQLite: a plain descriptor on it, once closed, would drop
the locks that other connections of this process hold.
"""

import contextlib
import os
import secrets
import sqlite3
import stat
import urllib.parse
import warnings
from collections.abc import Callable

from rig.errors import BadInput, JobHeld, JobUnusable, JobWarning
from rig.job import schema
from rig.job.lock import WriterLock, is_marked
from rig.job.trouble import plain_words, primary_code
from rig.language import say


def create_file(path: str, fill: Callable[[sqlite3.Connection], None]) -> None:
    """Make a new job file.

    It is made under another name in the same folder and gets its own name when all is on the disk,
    so that there is never half a job at `path`.

    Parameters
    ----------
    path : str
        Where it shall be.
    fill : callable
        Given a connection inside the first transaction, writes what the job starts with.

    Raises
    ------
    BadInput
        If there is a file already, or no such folder.
    JobUnusable
        If it cannot be written.
    """

    def write(connection: sqlite3.Connection) -> None:
        schema.migrate(connection, path)
        connection.execute("BEGIN IMMEDIATE")
        fill(connection)
        connection.execute("COMMIT")

    _create(path, write)


def copy_file(source: sqlite3.Connection, path: str) -> None:
    """Make a copy of a job as of now, whole or not at all; whoever writes to it goes on.

    Raises
    ------
    BadInput
        If there is a file already, or no such folder.
    JobUnusable
        If it cannot be written.
    """
    _create(path, source.backup)


def _create(path: str, write: Callable[[sqlite3.Connection], None]) -> None:
    file = os.path.realpath(path)
    if os.path.lexists(file):
        raise BadInput(
            say(
                "there is a file at {path} already: it is left as it is. Give another name "
                "with --job.",
                path=path,
            )
        )
    folder = os.path.dirname(file)
    if not os.path.isdir(folder):
        raise BadInput(
            say(
                "there is no folder {folder} for the job file {path}: make it first.",
                folder=folder,
                path=path,
            )
        )
    for ending in ("-wal", "-journal"):
        # SQLite would play what is left of another job into the new one.
        if os.path.lexists(file + ending):
            raise BadInput(
                say(
                    "{ending} is left of an earlier job of this name: move it away, or give "
                    "another name with --job.",
                    ending=file + ending,
                )
            )
    draft = os.path.join(folder, f".{os.path.basename(file)}.{secrets.token_hex(4)}.new")
    try:
        with plain_words(path, say("no job was made")):
            _write_draft(draft, write)
        _give_name(draft, file)
        _sync(folder)
    except FileExistsError:
        raise BadInput(
            say("there is a file at {path} already: it is left as it is.", path=path)
        ) from None
    except OSError as error:
        raise JobUnusable(
            say("no job can be made at {path}: {strerror}.", path=path, strerror=error.strerror)
        ) from error
    finally:
        for ending in ("", "-journal", "-wal", "-shm"):
            with contextlib.suppress(OSError):
                os.unlink(draft + ending)


def existing(path: str) -> str:
    """Return the real path of a job file that is there.

    Raises
    ------
    BadInput
        If there is none, or it is no file.
    JobUnusable
        If it may not be looked at, or is empty.
    """
    file = os.path.realpath(path)
    try:
        found = os.stat(file)
    except (FileNotFoundError, NotADirectoryError):
        raise BadInput(say("no job file at {path}: make one with `rig new`.", path=path)) from None
    except OSError as error:
        raise JobUnusable(
            say("{path} cannot be opened: {strerror}.", path=path, strerror=error.strerror)
        ) from error
    if not stat.S_ISREG(found.st_mode):
        raise BadInput(say("{path} is not a file: give the job file with --job.", path=path))
    if found.st_size == 0:
        raise JobUnusable(
            say("{path} is empty: it is not a job file. Make one with `rig new`.", path=path)
        )
    return file


def connect_to_write(file: str, path: str, wait_s: float, lock: WriterLock) -> sqlite3.Connection:
    """Open a job file whose writer lock the caller holds; an older one is brought up to date."""
    if lock.found_mark and not _has_log(file, empty=True):
        warnings.warn(_without_log(path), JobWarning, stacklevel=2)
    if lock.found_mark:
        os.sync()  # the file may not have what its log has, and the log may begin anew now
    with plain_words(path):
        connection = _connect(file, "mode=rw", wait_s)
        try:
            if schema.version_of(connection, path) < len(schema.MIGRATIONS):
                schema.migrate(connection, path)
            schema.examine(connection, path)
            connection.execute("PRAGMA journal_mode = WAL")
            connection.execute("PRAGMA synchronous = FULL")
            connection.execute("PRAGMA wal_autocheckpoint = 0")  # `rig.job.wal` does that
            connection.execute("PRAGMA foreign_keys = ON")
            # A trial write, to fail here and not at the first shot where another program has the
            # file or it is read-only (BEGIN IMMEDIATE alone lets the latter pass).
            connection.execute("BEGIN IMMEDIATE")
            connection.execute(f"PRAGMA user_version = {len(schema.MIGRATIONS)}")
            connection.execute("ROLLBACK")
            lock.mark(True)
        except BaseException:
            connection.close()
            raise
    return connection


def connect_beside(file: str) -> sqlite3.Connection:
    """Open once more what this process writes to, to read a state of it."""
    connection = _connect(file, "mode=rw", 0.0)
    connection.execute("PRAGMA query_only = ON")
    return connection


def connect_to_read(file: str, path: str, wait_s: float) -> sqlite3.Connection:
    """Open a job file for reading, without its lock, beside a writer if there is one."""
    with plain_words(path):
        # Asked again, since a writer that ends meanwhile takes away first its mark, then its log.
        if is_marked(file) and not _has_log(file, empty=True) and is_marked(file):
            warnings.warn(_without_log(path), JobWarning, stacklevel=2)
        has_log = _has_log(file)
        connection, version = _look_into(file, path, wait_s)
        try:
            if version < len(schema.MIGRATIONS):
                connection = _brought_up_to_date(connection, file, path, wait_s)
            schema.examine(connection, path)
            connection.execute("PRAGMA query_only = ON")
            if has_log and is_marked(file):
                _settle(file)
        except BaseException:
            connection.close()
            raise
    return connection


def _brought_up_to_date(
    old: sqlite3.Connection, file: str, path: str, wait_s: float
) -> sqlite3.Connection:
    """Bring an older file up to date; one that may not be written to only in a copy in memory."""
    lock = WriterLock(file)
    try:
        lock.acquire(wait_s)
        try:
            connect_to_write(file, path, wait_s, lock).close()
        finally:
            lock.mark(False)
            lock.release()
    except JobHeld:
        raise
    except JobUnusable:
        copy = _set_up(sqlite3.connect(":memory:", isolation_level=None, check_same_thread=False))
        old.backup(copy)
        schema.migrate(copy, path)
        return copy
    finally:
        old.close()
    return _look_into(file, path, wait_s)[0]


def _settle(file: str) -> None:
    """Take the mark off a log that nobody writes to any more.

    SQLite puts it into the file and deletes it when the last reader closes.
    """
    lock = WriterLock(file)
    try:
        lock.acquire(0.0)
    except (JobHeld, JobUnusable):
        return  # a writer is at work, or the log can't be deleted by us either
    lock.mark(False)
    lock.release()


def _without_log(path: str) -> str:
    return say(
        "{path} was in use when its program or its computer stopped, and its log "
        "{path}-wal is missing: what was read since the last shot may be lost. A job in "
        "use is copied with `rig copy`.",
        path=path,
    )


def _look_into(file: str, path: str, wait_s: float) -> tuple[sqlite3.Connection, int]:
    for options in ("mode=rw", "immutable=1"):
        connection = None
        try:
            connection = _connect(file, options, wait_s)
            return connection, schema.version_of(connection, path)
        except sqlite3.Error as error:
            if connection is not None:
                connection.close()
            # In a folder that may not be written SQLite cannot set up its shared memory. Without a
            # log beside the file nothing can be missing from it, so it may be read as it stands.
            closed = primary_code(error) in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN)
            if options == "immutable=1" or not closed or _has_log(file):
                raise
        except BaseException:
            if connection is not None:
                connection.close()
            raise
    raise AssertionError("unreachable")


def _connect(file: str, options: str, wait_s: float) -> sqlite3.Connection:
    uri = f"file:{urllib.parse.quote(os.fsencode(file))}?{options}"
    # A live session hands its job to the one thread that writes, and gets it back at the end.
    connection = sqlite3.connect(
        uri, uri=True, timeout=wait_s, isolation_level=None, check_same_thread=False
    )
    return _set_up(connection)


def _set_up(connection: sqlite3.Connection) -> sqlite3.Connection:
    # What a file's own schema calls is not to be trusted: it may come from anywhere.
    connection.execute("PRAGMA trusted_schema = OFF")
    return connection


def _has_log(file: str, empty: bool = False) -> bool:
    try:
        return os.stat(file + "-wal").st_size > 0 or empty
    except OSError:
        return False


def _write_draft(draft: str, write: Callable[[sqlite3.Connection], None]) -> None:
    # Made here, so that the umask decides who may read it, as with any new file.
    os.close(os.open(draft, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o666))
    connection = _connect(draft, "mode=rw", 0.0)
    try:
        # Nobody waits for a draft, so it goes to the disk once, at the end.
        connection.execute("PRAGMA synchronous = OFF")
        write(connection)
        connection.execute("PRAGMA journal_mode = WAL")
    finally:
        connection.close()
    _sync(draft)


def _give_name(draft: str, file: str) -> None:
    try:
        os.link(draft, file)
    except FileExistsError:
        raise
    except OSError:
        # A file system without hard links: rename overwrites, so look first, with other floor-rigs
        # shut out.
        lock = WriterLock(file)
        lock.acquire(0.0)
        try:
            if os.path.lexists(file):
                raise FileExistsError(file) from None
            os.rename(draft, file)
        finally:
            lock.release()


def _sync(path: str) -> None:
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
