"""One writer at a time, on a file that is still there: an advisory lock beside the job file.

The lock is never taken on the database itself: closing a second descriptor on that file would
drop the locks SQLite holds on it in this process.
"""

import contextlib
import errno
import fcntl
import os
import stat
import time

from rig.errors import JobHeld, JobUnusable

_POLL_S = 0.05


class WriterLock:
    """The right to write to one job file, held until `release`.

    Parameters
    ----------
    path : str
        The job file; the lock is on `path` + ".lock", which stays where it is, because removing
        it would let two writers lock two different files of that name.
    """

    def __init__(self, path: str) -> None:
        self.path = path
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
                f"{self.path} cannot be locked for writing ({error.strerror}). "
                "Keep the job on a local disk."
            ) from error
        except BaseException:
            os.close(descriptor)
            raise
        # The process number is only a hint for whoever is refused; a full disk may not take it.
        with contextlib.suppress(OSError):
            os.ftruncate(descriptor, 0)
            os.pwrite(descriptor, f"{os.getpid()}\n".encode(), 0)
        self._descriptor = descriptor

    def release(self) -> None:
        """Let the next writer in; does nothing when the lock is not held."""
        if self._descriptor is not None:
            os.close(self._descriptor)
            self._descriptor = None

    def _wait(self, descriptor: int, wait_s: float) -> None:
        deadline = time.monotonic() + wait_s
        while True:
            try:
                fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
                return
            except BlockingIOError:
                left_s = deadline - time.monotonic()
                if left_s <= 0:
                    raise JobHeld(
                        f"another floor-rig{_holder(descriptor)} is writing to {self.path}. "
                        "End it, then try again."
                    ) from None
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


def _open(name: str, path: str) -> int:
    """Open a lock file, which is never what a link points to: its text will be written over."""
    how = os.O_RDWR | os.O_CREAT | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC
    try:
        descriptor = os.open(name, how, 0o666)
    except OSError as error:
        if error.errno in (errno.ELOOP, errno.ENXIO):
            raise _no_lock_file(name, path) from error
        raise JobUnusable(
            f"{path} cannot be written: its lock file {name} cannot be opened "
            f"({error.strerror}). Make the folder and the file writable, or work on a copy."
        ) from error
    if not stat.S_ISREG(os.fstat(descriptor).st_mode):
        os.close(descriptor)
        raise _no_lock_file(name, path)
    return descriptor


def _no_lock_file(name: str, path: str) -> JobUnusable:
    return JobUnusable(
        f"{path} cannot be written: {name} should be its lock file and is a link or no file at "
        "all, which floor-rig never writes into. Move it away."
    )


def _stat(name: str) -> os.stat_result | None:
    try:
        return os.stat(name)
    except OSError:
        return None


def _holder(descriptor: int) -> str:
    text = os.pread(descriptor, 20, 0).decode("ascii", "replace").strip()
    return f" (process {text})" if text.isdigit() else ""
