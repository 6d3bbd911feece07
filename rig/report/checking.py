"""Tells whether a copy of a report is word for word what its job gives."""

import json
import re
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import unquote

from rig import __version__
from rig.errors import BadInput
from rig.report.contents import STAMP, report_of
from rig.report.html import to_html
from rig.report.pdf import to_pdf
from rig.report.source import Options

if TYPE_CHECKING:
    from rig.job.store import Job
    from rig.room import Outline

LARGEST = 100_000_000


def check_copy(job: "Job", outline: "Outline", path: Path) -> dict[str, Any]:
    """Make the report of a copy's stamp anew and compare, byte by byte.

    Returns
    -------
    dict
        `same`, `job_same` (whether the job is as it was), `text` for people, `made_with`.

    Raises
    ------
    BadInput
        A file that is none of our reports.
    """
    try:
        if path.stat().st_size > LARGEST:
            raise BadInput(f"{path} is too large to be a report.")
        content = path.read_bytes()
    except FileNotFoundError:
        raise BadInput(f"There is no file {path}.") from None
    except OSError as error:
        raise BadInput(f"{path} cannot be read: {error.strerror}.") from None
    told = _stamp(content, path)
    job_hash = job.content_hash()
    answer: dict[str, Any] = {
        "same": False,
        "job_same": told["job_sha256"] == job_hash,
        "job_sha256": job_hash,
        "made_with": told["version"],
    }
    if not answer["job_same"]:
        answer["text"] = (
            "NOT THIS JOB AS IT IS NOW: the report is of another job, or the job has gone on or "
            "been changed since. Its hash there begins "
            f"{told['job_sha256'][:12]}, here {job_hash[:12]}."
        )
        return answer
    rule, patch = (told[key] and unquote(told[key]) for key in ("rule", "patch"))
    options = Options(rule, patch, told["confidence"])
    report = report_of(job, outline, options, unquote(told["job"]), told["made_utc_s"])
    again = to_pdf(report) if content.startswith(b"%PDF") else to_html(report).encode()
    answer["same"] = again == content
    if answer["same"]:
        answer["text"] = "TRUE COPY: word for word what the job gives."
        return answer
    answer["text"] = "NOT A TRUE COPY: the job is the same, but the file differs" + _where(
        again, content
    )
    if told["version"] != __version__:
        answer["text"] += (
            f" It was made by version {told['version']}, this is {__version__}: compare with that "
            "one before you doubt it."
        )
    return answer


def _stamp(content: bytes, path: Path) -> dict[str, Any]:
    """Read the stamp out of HTML or PDF."""
    text = content.decode("utf-8", "replace").replace("&quot;", '"')
    found = re.search(re.escape(STAMP) + r"(\{[^{}]*\})", text)
    try:
        told = json.loads(found[1]) if found else None
        kinds = {
            "version": str, "job": str, "made_utc_s": int, "rule": str | None,
            "patch": str | None, "confidence": float, "job_sha256": str,
        }  # fmt: skip
        if isinstance(told, dict) and all(isinstance(told[k], kind) for k, kind in kinds.items()):
            return told
    except (ValueError, KeyError):
        pass
    raise BadInput(f"{path} is no report of floor-rig's, or its stamp is gone.")


def _where(ours: bytes, theirs: bytes) -> str:
    """Say where an HTML file first differs; the streams of a PDF are no words."""
    if ours.startswith(b"%PDF"):
        return "."
    one, other = ours.decode().splitlines(), theirs.decode("utf-8", "replace").splitlines()
    for n, (a, b) in enumerate(zip(one, other, strict=False), 1):
        if a != b:
            pairs = enumerate(zip(a, b, strict=False))
            first = next((k for k, (x, y) in pairs if x != y), min(len(a), len(b)))
            return f", first in line {n}: “{_shown(b, first)}” instead of “{_shown(a, first)}”."
    return f": it has {len(other)} lines, not {len(one)}."


def _shown(line: str, at: int) -> str:
    """Words about a place in a line, without tags and control characters."""
    part = re.sub(r"<[^<>]*>|^[^<>]*>|<[^<>]*$", " ", line[max(at - 30, 0) : at + 30])
    return "".join(letter for letter in " ".join(part.split()) if letter.isprintable())
