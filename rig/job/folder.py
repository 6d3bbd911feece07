"""A folder of jobs: each a file that is called as the job is; what is put away is kept.

A name is that of a file here and of nothing else, so that none leads out of the folder.
"""

import contextlib
import os
from dataclasses import dataclass
from pathlib import Path

from rig.errors import BadInput, JobUnusable
from rig.job.lock import WriterLock
from rig.job.store import Job
from rig.language import say
from rig.texts import name_of

ENDING = ".sqlite"
AWAY = "archive"
_MOST_BYTES = 200  # of a file's name; the lock and the log add theirs


@dataclass(frozen=True, slots=True)
class JobFolder:
    """The jobs of a folder, which is made where it is not there."""

    path: Path

    def make(self) -> None:
        """Make the folder.

        Raises
        ------
        BadInput
            Where it cannot be made.
        """
        try:
            self.path.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise BadInput(
                say(
                    "The folder {path} cannot be made: {strerror}. Give another --jobs.",
                    path=self.path,
                    strerror=error.strerror,
                )
            ) from None

    def names(self) -> list[str]:
        """Return the jobs' names, the one that was touched last first."""
        found = []
        for file in self.path.iterdir():
            if file.suffix == ENDING and not file.name.startswith(".") and file.is_file():
                with contextlib.suppress(OSError):
                    found.append((-_touched_s(file), file.stem))
        return [name for _, name in sorted(found)]

    def file(self, name: str) -> Path:
        """Return the file of a job that is there.

        Raises
        ------
        BadInput
            Where there is none of this name.
        """
        if name not in self.names():
            raise BadInput(say("There is no job {name!r} here any more.", name=name[:64]))
        return self.path / f"{name}{ENDING}"

    def free(self, name: str) -> Path:
        """Return the file that a new job of a name gets.

        Raises
        ------
        BadInput
            No name for a file, or one that a job has.
        """
        name = name_of(name, say("The job's name"))
        if any(sign in name for sign in "/\\:") or name.startswith("."):
            raise BadInput(say("A job's name has no / \\ or : and no dot at its beginning."))
        if len(name.encode()) > _MOST_BYTES:
            raise BadInput(say("That name is too long for a file: make it shorter."))
        if name.casefold() in {other.casefold() for other in self.names()}:
            raise BadInput(say("There is a job {name} already: give another name.", name=name))
        return self.path / f"{name}{ENDING}"

    def copy(self, name: str, new: str) -> None:
        """Copy a job, beside whoever writes to it."""
        with Job.open(self.file(name)) as job:
            job.copy_to(self.free(new))

    def rename(self, name: str, new: str) -> None:
        """Give a job that nobody writes to another name."""
        _move(self.file(name), self.free(new))

    def put_away(self, name: str) -> Path:
        """Put a job that nobody writes to into the folder beside, and return where it is now."""
        away = self.path / AWAY
        away.mkdir(exist_ok=True)
        there = {file.stem for file in away.iterdir()}
        free = name
        for n in range(2, 10_000):
            if free not in there:
                break
            free = f"{name} {n}"
        return _move(self.file(name), away / f"{free}{ENDING}")


def holder_of(path: Path) -> str:
    """Say who writes to a job at present, nothing where nobody does."""
    lock = WriterLock(os.path.realpath(path))
    try:
        lock.acquire(0.0)
    except JobUnusable as error:
        return error.text
    lock.release()
    return ""


def _move(file: Path, to: Path) -> Path:
    with Job.open(file, write=True, wait_s=0.5):
        pass  # what its log holds is put into the file, and the log goes
    lock = WriterLock(os.path.realpath(file))
    lock.acquire(0.5)
    try:
        if file.with_name(f"{file.name}-wal").exists():
            raise BadInput(say("Somebody looks at this job just now: try again in a moment."))
        os.link(file, to)  # never over another one
        file.unlink()
    except FileExistsError:
        raise BadInput(
            say("There is a job {stem} already: give another name.", stem=to.stem)
        ) from None
    except OSError as error:
        raise JobUnusable(
            say("{file} cannot be moved: {strerror}.", file=file, strerror=error.strerror)
        ) from error
    finally:
        lock.release()
    return to


def _touched_s(file: Path) -> float:
    log = file.with_name(f"{file.name}-wal")
    return max(one.stat().st_mtime for one in (file, log) if one.exists())
