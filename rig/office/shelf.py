"""The shelf: each version of a job whole, once, under a name made from what it holds.

Nothing on it is ever overwritten; who brings jobs needs leave to put, and none to delete.
"""

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from rig.errors import JobUnusable
from rig.job.snapshot import content_hash, opened, uid_of
from rig.job.store import Job
from rig.record import Record
from rig.words import office as words

if TYPE_CHECKING:
    from rig.office.place import Place

JOBS, CUSTOMERS = "jobs", "customers"
_ENDING = ".sqlite.zst"
_LEVEL = 10
MOST_BYTES = 1 << 30
"""A job of more is none: a day's readings take some tens of MB."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HandedIn(Record):
    """A job that was brought: its file, which job it is, what it holds, whether it was there."""

    job: str
    uid: str
    content: str
    was_there: bool


def hand_in(place: "Place", path: Path) -> HandedIn:
    """Bring a job to the shelf as it is now; whoever writes to it goes on.

    Raises
    ------
    JobUnusable
        The job file is damaged.
    OfficeUnavailable
        The office cannot be reached.
    """
    import obstore
    import zstandard
    from obstore.exceptions import AlreadyExistsError

    with Job.open(path) as job:
        data = job.snapshot()
    with opened(data, str(path)) as connection:
        uid, content = uid_of(connection), content_hash(connection)
    packed = zstandard.ZstdCompressor(level=_LEVEL).compress(data)
    there = False
    with place.in_words():
        try:
            obstore.put(place.store, name_of(content), packed, mode="create")
        except AlreadyExistsError:
            there = True
    return HandedIn(job=str(path), uid=uid, content=content, was_there=there)


def put_customer(place: "Place", uid: str, text: bytes) -> None:
    """Keep what is known of a job's customer, apart from all else."""
    import obstore

    with place.in_words():
        obstore.put(place.store, f"{CUSTOMERS}/{uid}", text)


def name_of(content: str) -> str:
    """Return where on the shelf a job of this content lies."""
    return f"{JOBS}/{content[:2]}/{content}{_ENDING}"


def contents(place: "Place") -> Iterator[str]:
    """Yield what is on the shelf, in the order of names."""
    import obstore

    found = []
    with place.in_words():
        for chunk in obstore.list(place.store, prefix=JOBS):
            found += [str(one["path"]) for one in chunk]
    for path in sorted(found):
        content = path.rpartition("/")[2].removesuffix(_ENDING)
        if path == name_of(content):
            yield content


def fetch(place: "Place", content: str) -> bytes:
    """Return a job file from the shelf, once it is seen to be what its name says.

    Raises
    ------
    JobUnusable
        Where it is damaged, or gone.
    """
    import obstore
    import zstandard

    name = name_of(content)
    try:
        with place.in_words():
            packed = bytes(obstore.get(place.store, name).bytes())
    except FileNotFoundError:
        raise JobUnusable(words.gone(content)) from None
    try:
        size = zstandard.frame_content_size(packed)
        if not 0 <= size <= MOST_BYTES:
            raise JobUnusable(words.damaged(content))
        data = zstandard.ZstdDecompressor().decompress(packed)
    except zstandard.ZstdError as error:
        raise JobUnusable(words.damaged(content)) from error
    return data


def is_itself(data: bytes, content: str) -> bool:
    """Tell whether a job file holds what its name on the shelf says."""
    try:
        with opened(data, content) as connection:
            return content_hash(connection) == content
    except JobUnusable:
        return False


def digest_of(data: bytes) -> str:
    """Return SHA-256 of bytes, to tell whether two files are the same to the last bit."""
    return hashlib.sha256(data).hexdigest()
