"""The stamp of a report: what made it from which job, so that a copy can be made again."""

import json
import re
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import quote, unquote

from rig import __version__
from rig.errors import BadInput
from rig.language import say
from rig.record import OMITTED, Record, from_json
from rig.report.source import Options

BEGIN = "floor-rig report "


@dataclass(frozen=True, slots=True, kw_only=True)
class Stamp(Record):
    """What stands in one line of a report; names are quoted as in addresses.

    Attributes
    ----------
    version, job : str
        Of floor-rig, and the job's name.
    made_utc_s : int
    rule, patch : str or None
    confidence : float
    audience, only : str or None
    appendix : bool or None
        As `Options` has them; None where they are as usual.
    job_sha256 : str
    """

    version: str
    job: str
    made_utc_s: int
    rule: str | None
    patch: str | None
    confidence: float
    audience: str | None = field(default=None, metadata=OMITTED)
    only: str | None = field(default=None, metadata=OMITTED)
    appendix: bool | None = field(default=None, metadata=OMITTED)
    job_sha256: str

    @property
    def line(self) -> str:
        """The line as it stands in the report."""
        return BEGIN + json.dumps(self.as_json(), separators=(",", ":"))

    @property
    def name(self) -> str:
        """Name of the job."""
        return unquote(self.job)

    @property
    def options(self) -> Options:
        """What was asked of the report."""
        rule, patch = (told and unquote(told) for told in (self.rule, self.patch))
        return Options(
            rule,
            patch,
            self.confidence,
            "customer" if self.audience == "customer" else "crew",
            "markers" if self.only == "markers" else "buy" if self.only == "buy" else None,
            bool(self.appendix),
        )


def stamp_of(options: Options, name: str, made_utc_s: float, job_hash: str) -> Stamp:
    """Make the stamp of a report that this version makes."""
    return Stamp(
        version=__version__,
        job=quote(name),
        made_utc_s=int(made_utc_s),
        rule=options.rule and quote(options.rule),
        patch=options.patch and quote(options.patch),
        confidence=options.confidence,
        audience=None if options.audience == "crew" else options.audience,
        only=options.only,
        appendix=options.appendix or None,
        job_sha256=job_hash,
    )


def read_stamp(content: bytes, path: Path) -> Stamp:
    """Read the stamp out of HTML or PDF.

    Raises
    ------
    BadInput
        Where there is none, naming the file.
    """
    text = content.decode("utf-8", "replace").replace("&quot;", '"')
    found = re.search(re.escape(BEGIN) + r"(\{[^{}]*\})", text)
    try:
        told = json.loads(found[1]) if found else {}
        stamp = from_json(Stamp, told)
        if stamp.as_json() == told:  # what was only taken for a number or a text is no stamp
            return stamp
    except ValueError:
        pass
    raise BadInput(say("{path} is no report of floor-rig's, or its stamp is gone.", path=path))
