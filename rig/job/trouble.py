"""What SQLite says when it fails, in words for a person: what happened, to which file, what to do.

A mistake of the program itself (a closed connection, a wrong number of values) is left as it is.
"""

import contextlib
import json
import sqlite3
from collections.abc import Iterator
from typing import TypeVar

from rig.errors import JobHeld, JobUnusable
from rig.language import again, again_in, say

T = TypeVar("T")

NOTHING_LOST = say("nothing was changed")
SAID = "said"
"""Key beside what is kept as JSON: what the sentences in it were made of."""


@contextlib.contextmanager
def plain_words(path: str, lost: str = NOTHING_LOST) -> Iterator[None]:
    """Turn every `sqlite3.Error` of the block, and a text gone bad, into a `JobUnusable`.

    Parameters
    ----------
    path : str
        The job file as the user knows it.
    lost : str
        What did not get into the file when the block fails, as a clause.
    """
    try:
        yield
    except (sqlite3.ProgrammingError, sqlite3.InterfaceError):
        raise
    except sqlite3.Error as error:
        held = primary_code(error) in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED)
        raise (JobHeld if held else JobUnusable)(_sentence(error, path, lost)) from error
    except (json.JSONDecodeError, UnicodeDecodeError) as error:
        # SQLite keeps no checksums: a bit that flipped inside a text is found when it is read.
        raise damaged(path, say("a text in it is not what was written")) from error


def stored_json(text: str, kind: type[T]) -> T:
    """Return what a text of the file says, of the kind that floor-rig writes there.

    Raises
    ------
    json.JSONDecodeError
        It is none, or of another kind; `plain_words` makes a sentence of that.
    """
    told = stored_figures(text, kind)
    said = told.pop(SAID, None) if isinstance(told, dict) else None
    if isinstance(said, dict):
        again_in(told, {text: again(made) for text, made in said.items()})
    return told


def stored_figures(text: str, kind: type[T]) -> T:
    """Return what a text of the file says for its figures: sentences stay in their English."""
    try:
        told = json.loads(text)
    except (ValueError, TypeError, RecursionError):
        told = None
    if not isinstance(told, kind):
        raise json.JSONDecodeError(say("not as it was written"), "", 0)
    return told


def primary_code(error: sqlite3.Error) -> int:
    """Return SQLite's result code without the details in its upper bits (0 when it has none)."""
    return int(getattr(error, "sqlite_errorcode", 0)) & 0xFF


def damaged(path: str, detail: str) -> JobUnusable:
    """Return the error for a job file that SQLite cannot trust."""
    return JobUnusable(
        say(
            "{path} is damaged ({detail}). Use a copy of it, or take what can be read with "
            "`sqlite3 FILE .recover`.",
            path=path,
            detail=detail,
        )
    )


def _sentence(error: sqlite3.Error, path: str, lost: str) -> str:
    code = primary_code(error)
    detail = str(error)
    if code == sqlite3.SQLITE_FULL:
        return say(
            "{path}: the disk is full: {lost}; free some space and start again.",
            path=path,
            lost=lost,
        )
    if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return say(
            "{path} is kept locked by another program: {lost}; end it, then try again.",
            path=path,
            lost=lost,
        )
    if code in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PERM):
        return say(
            "{path} cannot be written: {lost}; make the file and its folder writable, or "
            "work on a copy.",
            path=path,
            lost=lost,
        )
    if code == sqlite3.SQLITE_CANTOPEN:
        return say(
            "{path} cannot be opened: {lost}; see that the file may be read, and that its "
            "folder may be written where a file ending in -wal stands beside it.",
            path=path,
            lost=lost,
        )
    if code == sqlite3.SQLITE_IOERR:
        return say(
            "{path}: the disk failed while reading or writing ({detail}): {lost}; copy the "
            "job to another disk and start again.",
            path=path,
            detail=detail,
            lost=lost,
        )
    if code == sqlite3.SQLITE_NOTADB:
        return say(
            "{path} is not a job file: it is not an SQLite database, or its start is damaged.",
            path=path,
        )
    if code == sqlite3.SQLITE_CORRUPT or "no such " in detail:
        return str(damaged(path, detail))
    if code == sqlite3.SQLITE_CONSTRAINT:
        return say(
            "{path} does not take these values ({detail}): {lost}; where another program "
            "changed the file, start again.",
            path=path,
            detail=detail,
            lost=lost,
        )
    return say("{path} cannot be used ({detail}): {lost}.", path=path, detail=detail, lost=lost)
