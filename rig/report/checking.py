"""Tells whether a copy of a report is word for word what its job gives."""

import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from rig import __version__
from rig.files import read_whole
from rig.language import join, say
from rig.record import Record
from rig.report.contents import report_of
from rig.report.html import to_html
from rig.report.pdf import to_pdf
from rig.report.source import Handover
from rig.report.stamp import Stamp, read_stamp

if TYPE_CHECKING:
    from rig.job.store import Job
    from rig.room import Outline

LARGEST = 100_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Checked(Record):
    """Whether a copy is what its job gives.

    Attributes
    ----------
    file : str
    same : bool
    job_same : bool
        Whether the job is as it was.
    job_sha256 : str
        Of the job as it is.
    made_with : str
        Version that made the copy.
    text : str
        For people.
    """

    file: str
    same: bool
    job_same: bool
    job_sha256: str
    made_with: str
    text: str


def check_copy(
    job: "Job", outline: "Outline", path: Path, handover: Handover | None = None
) -> Checked:
    """Make the report of a copy's stamp anew and compare, byte by byte.

    `handover` is that of a customer's page, which no job keeps.

    Raises
    ------
    BadInput
        A file that is none of our reports.
    """
    content = read_whole(path, LARGEST, say("is too large to be a report."))
    stamp = read_stamp(content, path)
    job_hash = job.content_hash()
    job_same = stamp.job_sha256 == job_hash
    if job_same:
        report = report_of(job, outline, stamp.options, stamp.name, stamp.made_utc_s, handover)
        is_pdf = content.startswith(b"%PDF")
        again = to_pdf(report) if is_pdf else to_html(report).encode()
        text = _words(again, content, stamp)
    else:
        again = b""
        text = say(
            "NOT THIS JOB AS IT IS NOW: the report is of another job, or the job has gone "
            "on or been changed since. Its hash there begins {job_sha256}, here {job_hash}.",
            job_sha256=stamp.job_sha256[:12],
            job_hash=job_hash[:12],
        )
    return Checked(
        file=str(path.absolute()),
        same=again == content,
        job_same=job_same,
        job_sha256=job_hash,
        made_with=stamp.version,
        text=text,
    )


def _words(again: bytes, content: bytes, stamp: Stamp) -> str:
    if again == content:
        return say("TRUE COPY: word for word what the job gives.")
    text = _differs(again, content)
    if stamp.version == __version__:
        return text
    other = say(
        "It was made by version {version}, this is {ours}: compare with that one before you doubt "
        "it.",
        version=stamp.version,
        ours=__version__,
    )
    return join(" ", [text, other])


def _differs(ours: bytes, theirs: bytes) -> str:
    """Say where an HTML file first differs; the streams of a PDF are no words."""
    if ours.startswith(b"%PDF"):
        return say("NOT A TRUE COPY: the job is the same, but the file differs.")
    one, other = ours.decode().splitlines(), theirs.decode("utf-8", "replace").splitlines()
    for n, (a, b) in enumerate(zip(one, other, strict=False), 1):
        if a != b:
            pairs = enumerate(zip(a, b, strict=False))
            first = next((k for k, (x, y) in pairs if x != y), min(len(a), len(b)))
            return say(
                "NOT A TRUE COPY: the job is the same, but the file differs, first in line {n}: "
                "“{theirs}” instead of “{ours}”.",
                n=n,
                theirs=_shown(b, first),
                ours=_shown(a, first),
            )
    return say(
        "NOT A TRUE COPY: the job is the same, but the file differs: it has {theirs} lines, not "
        "{ours}.",
        theirs=len(other),
        ours=len(one),
    )


def _shown(line: str, at: int) -> str:
    """Words about a place in a line, without tags and control characters."""
    part = re.sub(r"<[^<>]*>|^[^<>]*>|<[^<>]*$", " ", line[max(at - 30, 0) : at + 30])
    return "".join(letter for letter in join(" ", part.split()) if letter.isprintable())
