"""One writer at a time, on a file that is still there: an advisory lock beside the job file.

The lock is never taken on the database itself: closing a second descriptor on that file would
drop the locks SQLite holds on it in this process.
"""

import contextlib
import errno
import fcntl
import os
import re
import stat
import time

from rig.errors import JobHeld, JobUnusable
from rig.language import say

_POLL_S = 0.05
_MARK = "open"
# What a writer leaves in its lock file; a lost power may leave nought bytes of it.
_OURS = re.compile(rf"[\d\n\0]*(?:{_MARK}\n?)?[\n\0]*")


class WriterLock:
    """The right to write to one job file, held until `release`.

    Parameters
    ----------
    path : str
        The job file; the lock is on `path` + ".lock", which stays where it is, because removing
        it would let two writers lock two different files of that name.

    Attributes
    ----------
    found_mark : bool
        Once acquired: the writer before did not take away its mark, so it did not end as it should.
    """

    def __init__(self, path: str) -> None:
        self.path = path
        self.found_mark = False
        self._descriptor: int | None = None

    def acquire(self, wait_s: float) -> None:
        """Take the lock, waiting up to `wait_s` seconds for another writer to end.

        Raises
        ------
        JobHeld
            If another writer still has it.
        JobUnusable
            If the lock file cannot be made.
        """
        descriptor = _open(self.path + ".lock", self.path)
        try:
            self._wait(descriptor, wait_s)
        except OSError as error:
            os.close(descriptor)
            raise JobUnusable(
                say(
                    "{path} cannot be locked for writing ({strerror}). Keep the job on a local "
                    "disk.",
                    path=self.path,
                    strerror=error.strerror,
                )
            ) from error
        except BaseException:
            os.close(descriptor)
            raise
        self._descriptor = descriptor
        self.found_mark = _has_mark(descriptor)
        self._write(self.found_mark)

    def mark(self, is_open: bool) -> None:
        """Say beside the lock that a log stands beside the file, or that it is not needed more."""
        self._write(is_open)

    def release(self) -> None:
        """Let the next writer in; does nothing when the lock is not held."""
        if self._descriptor is not None:
            os.close(self._descriptor)
            self._descriptor = None

    def _write(self, is_open: bool) -> None:
        # The process number is only a hint for whoever is refused; a full disk may not take it.
        text = f"{os.getpid()}\n{_MARK}\n" if is_open else f"{os.getpid()}\n"
        if self._descriptor is not None:
            with contextlib.suppress(OSError):
                os.ftruncate(self._descriptor, 0)
                os.pwrite(self._descriptor, text.encode(), 0)

    def _wait(self, descriptor: int, wait_s: float) -> None:
        deadline = time.monotonic() + wait_s
        while True:
            try:
                fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
                return
            except BlockingIOError:
                left_s = deadline - time.monotonic()
                if left_s <= 0:
                    raise JobHeld(_held(descriptor, self.path)) from None
                time.sleep(min(_POLL_S, left_s))


class Place:
    """Where a job file and its log were when they were opened.

    SQLite goes on writing into a file that was moved or deleted meanwhile, and what it commits
    then is found by nobody: the log stays behind under the old name, or goes with the last
    descriptor.
    """

    def __init__(self, file: str) -> None:
        self._seen = {
            name: (found.st_dev, found.st_ino)
            for name in (file, file + "-wal")
            if (found := _stat(name)) is not None
        }

    def gone(self) -> str | None:
        """Return the one that is not there any more, or is another file now; None is usual."""
        for name, seen in self._seen.items():
            found = _stat(name)
            if found is None or (found.st_dev, found.st_ino) != seen:
                return name
        return None


def is_marked(path: str) -> bool:
    """Tell whether a writer of a job file is at work, or did not end as it should."""
    try:
        descriptor = os.open(path + ".lock", os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK)
    except OSError:
        return False
    try:
        return _has_mark(descriptor)
    finally:
        os.close(descriptor)


def _has_mark(descriptor: int) -> bool:
    return _text(descriptor).endswith(f"\n{_MARK}\n")


def _text(descriptor: int) -> str:
    try:
        return os.pread(descriptor, 40, 0).decode("ascii", "replace")
    except OSError:
        return ""


def _open(name: str, path: str) -> int:
    """Open a lock file, which is never what a link points to: its text will be written over."""
    how = os.O_RDWR | os.O_CREAT | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC
    try:
        descriptor = os.open(name, how, 0o666)
    except OSError as error:
        if error.errno in (errno.ELOOP, errno.ENXIO):
            raise _no_lock_file(name, path) from error
        raise JobUnusable(
            say(
                "{path} cannot be written: its lock file {name} cannot be opened ({strerror}). "
                "Make the folder and the file writable, or work on a copy.",
                path=path,
                name=name,
                strerror=error.strerror,
            )
        ) from error
    is_file = stat.S_ISREG(os.fstat(descriptor).st_mode)
    if not is_file or not _OURS.fullmatch(_text(descriptor)):  # another's, or linked to one
        os.close(descriptor)
        raise _no_lock_file(name, path)
    return descriptor


def _no_lock_file(name: str, path: str) -> JobUnusable:
    return JobUnusable(
        say(
            "{path} cannot be written: {name} should be its lock file and is a link or not "
            "floor-rig's, so it is left as it is. Move it away.",
            path=path,
            name=name,
        )
    )


def _stat(name: str) -> os.stat_result | None:
    try:
        return os.stat(name)
    except OSError:
        return None


def _held(descriptor: int, path: str) -> str:
    number = _text(descriptor).partition("\n")[0]
    if not number.isdigit():
        return say("another floor-rig is writing to {path}. End it, then try again.", path=path)
    return say(
        "another floor-rig (process {number}) is writing to {path}. End it, then try again.",
        number=number,
        path=path,
    )
