"""`rig report`: the job as one HTML file and a PDF, and whether a copy of one is true."""

import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from rig.cli.jobs import mend_pour, outline_of
from rig.cli.options import confidence_option, job_option, json_option, room_option, show
from rig.errors import BadInput

if TYPE_CHECKING:
    from rig.report.document import Report


@click.command()
@job_option
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    default=Path(),
    help="A folder, or a file ending in .html; the PDF goes beside it under the same name.  "
    "[default: report.html in the current folder]",
)
@click.option(
    "--rule",
    metavar="KEY|FILE",
    help="The rule to prove the flatness by; see rig rules.  [default: that of the job's covering, "
    "else click-lock]",
)
@click.option(
    "--patch", metavar="KEY|FILE", help="Show also the least patches that would pass this rule."
)
@click.option("--drawings", is_flag=True, help="Write each drawing beside it too, as SVG.")
@click.option(
    "--check",
    "checked",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Write nothing: tell whether this copy, HTML or PDF, is what the job gives.",
)
@confidence_option
@room_option
@json_option
def command(
    job_path: Path,
    out: Path,
    rule: str | None,
    patch: str | None,
    drawings: bool,
    checked: Path | None,
    confidence: float,
    room_name: str | None,
    as_json: bool,
) -> int:
    """Write the job as one HTML file that needs no other, and as a PDF for paper.

    A job at any stage will do: what is not there yet is left out or said to be missing.
    """
    from rig.cli.progress import working
    from rig.job.store import Job
    from rig.report.contents import report_of
    from rig.report.source import Options
    from rig.study.rooms import in_room, refuse_several

    mend_pour(job_path)
    with Job.open(job_path) as job:
        in_room(job, room_name)
        refuse_several(job)
        if checked is not None:
            return _check(job, job_path, checked, as_json)
        if out.suffix.lower() == ".pdf":
            raise BadInput(
                f"--out takes a folder or a file ending in .html, not {out.name}; the PDF goes "
                "beside it under the same name."
            )
        html = out if out.suffix.lower() in (".html", ".htm") else out / "report.html"
        html = html.absolute()
        options = Options(rule, patch, confidence)
        with working("Drawing the report"):
            made = int(time.time())
            report = report_of(job, outline_of(job), options, job_path.stem, made)
            files = _write(report, html, drawings)
    text = "\n".join(["The report is written:", *(f"  {path}" for path in files)])
    show({"files": files, "job_sha256": report.job_hash}, as_json, text)
    return 0


def _write(report: "Report", html: Path, drawings: bool) -> list[str]:
    from rig.drawing.svg import to_svg
    from rig.files import write_whole
    from rig.report.html import to_html
    from rig.report.pdf import to_pdf

    files: dict[Path, bytes] = {
        html: to_html(report).encode(),
        html.with_suffix(".pdf"): to_pdf(report),
    }
    if drawings:
        for figure in report.figures():
            path = html.with_name(f"{html.stem}-{figure.name}.svg")
            files[path] = to_svg(figure.drawing).encode()
    for path, content in files.items():
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            write_whole(path, content)
        except OSError as error:
            raise BadInput(
                f"{path} cannot be written: {error.strerror}. Give another --out."
            ) from None
    return [str(path) for path in files]


def _check(job: Any, job_path: Path, copy: Path, as_json: bool) -> int:
    from rig.report.checking import check_copy

    told = check_copy(job, outline_of(job), copy)
    show(told.as_json(), as_json, told.text)
    return 0 if told.same else 1
