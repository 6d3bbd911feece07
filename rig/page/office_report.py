"""One job's report, made from the file on the shelf; the file itself is not touched."""

import tempfile
import time
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from rig.errors import JobUnusable
from rig.job.store import Job
from rig.language import say
from rig.office import books, shelf
from rig.page.visit import Served
from rig.words import office as words

if TYPE_CHECKING:
    from rig.office.place import Place

_LOOK, _PDF = "report", "report.pdf"


def report_files(uid: str) -> Sequence[tuple[str, str]]:
    """Return addresses below the office's of a job's report, and what each is."""
    return (
        (f"job/{uid}/{_LOOK}", say("Look at the report")),
        (f"job/{uid}/{_PDF}", say("The report as PDF, for paper")),
    )


def report_file(place: "Place", uid: str, file: str) -> Served:
    """Return a job's report as one of its files.

    Raises
    ------
    KeyError
        There is no such job or file.
    """
    if file not in (_LOOK, _PDF):
        raise KeyError(file)
    with books.opened(place) as connection:
        found = connection.execute("SELECT content FROM job WHERE uid = ?", [uid]).fetchone()
    if found is None:
        raise KeyError(uid)
    data = shelf.fetch(place, found[0])
    if not shelf.is_itself(data, found[0]):
        raise JobUnusable(words.damaged(found[0]))
    with tempfile.TemporaryDirectory(prefix="rig-") as folder:
        path = Path(folder, "job.sqlite")
        path.write_bytes(data)
        return _made(path, uid, file)


def _made(path: Path, uid: str, file: str) -> Served:
    from rig.report.contents import report_of
    from rig.report.source import Options
    from rig.study.room import outline_of

    with Job.open(path) as job:
        report = report_of(job, outline_of(job), Options(), uid[:12], int(time.time()))
        if file == _PDF:
            from rig.report.pdf import to_pdf

            return Served(f"{uid[:12]}.pdf", "application/pdf", to_pdf(report))
        from rig.report.html import to_html

        return Served("report.html", "text/html; charset=utf-8", to_html(report).encode(), False)
