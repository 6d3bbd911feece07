"""A job file back from the shelf, as it was handed in."""

from pathlib import Path
from typing import TYPE_CHECKING

from rig.errors import BadInput, JobUnusable
from rig.files import write_whole
from rig.office import books, shelf
from rig.words import office as words

if TYPE_CHECKING:
    from rig.office.place import Place


def give(place: "Place", uid: str, version: str | None, out: Path | None) -> Path:
    """Write a version of a job to a file and return where.

    Raises
    ------
    BadInput
        There is no such job or version, or a file is in the way.
    JobUnusable
        What is on the shelf is damaged.
    """
    file = Path(f"{uid}.sqlite") if out is None else out
    file = (file / f"{uid}.sqlite" if file.is_dir() else file).absolute()
    content = _content_of(place, uid, version)
    if file.exists():
        raise BadInput(words.there_is_one(str(file)))
    data = shelf.fetch(place, content)
    if not shelf.is_itself(data, content):
        raise JobUnusable(words.damaged(content))
    write_whole(file, data)
    return file


def _content_of(place: "Place", uid: str, version: str | None) -> str:
    known = [one.content for one in books.versions(place) if one.uid == uid]
    if not known:
        raise BadInput(words.no_job(uid[:64]))
    if version is None:
        with books.opened(place) as connection:
            found = connection.execute("SELECT content FROM job WHERE uid = ?", [uid]).fetchone()
        assert found is not None
        return str(found[0])
    fits = [content for content in known if version and content.startswith(version)]
    if not fits:
        raise BadInput(words.no_version(version[:64]))
    if len(fits) > 1:
        raise BadInput(words.which_version(fits))
    return fits[0]
