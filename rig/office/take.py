"""What arrived on the shelf goes into the books; what cannot is named."""

import random
import sqlite3
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING

from rig import __version__
from rig.errors import JobUnusable, OfficeUnavailable, RigError
from rig.job.snapshot import Heads, heads, opened
from rig.office import books, shelf
from rig.office.books import Version
from rig.office.extract import Row, row_of
from rig.record import Record
from rig.words import office as words

if TYPE_CHECKING:
    from rig.office.place import Place

_AT_ONCE = 250
"""Rows of one commit."""
_UNREADABLE = (RigError, sqlite3.Error, ValueError, TypeError, KeyError, OverflowError)


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken(Record):
    """What came into the books, as `rig office take --json` prints it.

    `forks` are jobs (uid) of which two copies were gone on with, `damaged` files on the shelf.
    """

    taken: int
    there_already: int
    forks: tuple[str, ...]
    damaged: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Checked(Record):
    """The shelf against its names and the books against the shelf.

    `damaged` and `missing` are contents; `untaken` counts whole files not in the books yet.
    """

    files: int
    damaged: tuple[str, ...]
    missing: tuple[str, ...]
    untaken: int


def take(place: "Place") -> Taken:
    """Take what is new on the shelf into the books.

    Others may take at the same time: each begins somewhere else and leaves out what it sees that
    another has taken meanwhile.
    """
    known, there = _known(place)
    already, seen = len(there), books.commits(place)
    new = [content for content in shelf.contents(place) if content not in there]
    begin = random.randrange(len(new)) if new else 0
    new = new[begin:] + new[:begin]
    damaged: list[str] = []
    taken = 0
    for first in range(0, len(new), _AT_ONCE):
        now = books.commits(place)
        if now != seen:
            known, there = _known(place)
            seen = now
        left = [one for one in new[first : first + _AT_ONCE] if one not in there]
        rows = list(_rows(place, left, known, damaged))
        if rows:
            books.append(place, rows)
            taken += len(rows)
            seen += 1
    if taken:
        books.compact(place)
    return Taken(
        taken=taken,
        there_already=already,
        forks=tuple(books.forked(place)),
        damaged=tuple(damaged),
    )


def _known(place: "Place") -> tuple[dict[str, list[Version]], set[str]]:
    """Return the versions in the books by job, and their contents."""
    known: dict[str, list[Version]] = defaultdict(list)
    for one in books.versions(place):
        known[one.uid].append(one)
    return known, {one.content for several in known.values() for one in several}


def check(place: "Place") -> Checked:
    """Look at every file on the shelf, and at whether the books stand on it."""
    files = list(shelf.contents(place))
    damaged = [content for content in files if not _is_whole(place, content)]
    booked = {one.content for one in books.versions(place)}
    return Checked(
        files=len(files),
        damaged=tuple(damaged),
        missing=tuple(sorted(booked - set(files))),
        untaken=len(set(files) - booked - set(damaged)),
    )


def _is_whole(place: "Place", content: str) -> bool:
    try:
        return shelf.is_itself(shelf.fetch(place, content), content)
    except JobUnusable:
        return False


def _rows(
    place: "Place", new: Iterable[str], known: dict[str, list[Version]], damaged: list[str]
) -> Iterator[Row]:
    for content in new:
        try:
            with opened(shelf.fetch(place, content), words.short(content)) as connection:
                row = row_of(connection, __version__)
                if row["content"] != content:
                    raise JobUnusable(words.damaged(content))
                now = Heads(row["readings"], row["events"], row["shots_ever"], row["digest"])
                before = known[row["uid"]]
                row["forks"] = [
                    one.content
                    for one in before
                    if _is_fork(
                        connection, now, one.heads, partial(shelf.fetch, place, one.content)
                    )
                ]
        except OfficeUnavailable:
            raise
        except _UNREADABLE:
            damaged.append(content)
            continue
        before.append(Version(row["uid"], content, now))
        yield row


def _is_fork(
    connection: sqlite3.Connection, mine: Heads, theirs: Heads, load: Callable[[], bytes]
) -> bool:
    """Tell whether one version neither goes on the other nor is gone on by it."""
    if all(a >= b for a, b in zip(mine.rows, theirs.rows, strict=True)):
        return heads(connection, theirs.rows).digest != theirs.digest
    if all(a <= b for a, b in zip(mine.rows, theirs.rows, strict=True)):
        with opened(load(), "") as other:
            return heads(other, mine.rows).digest != mine.digest
    return True
