"""`rig report`: the job as one HTML file and a PDF, and whether a copy of one is true."""

import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from rig.cli.jobs import mend_pour, outline_of
from rig.cli.options import confidence_option, job_option, json_option, room_option, show
from rig.errors import BadInput
from rig.language import join, say, shown

if TYPE_CHECKING:
    from rig.job.store import Job
    from rig.report.document import Report
    from rig.report.source import Audience, Handover, Only, Options

MOST_PHOTOS = 2


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
@click.option(
    "--for",
    "audience",
    type=click.Choice(["crew", "customer"]),
    default="crew",
    show_default=True,
    help="Who reads it: a customer gets one side of paper.",
)
@click.option(
    "--only",
    type=click.Choice(["markers", "buy"]),
    help="The marker sheet alone, or the list to shop by alone, as text to send too.",
)
@click.option(
    "--with",
    "more",
    type=click.Choice(["appendix"]),
    help="Let the technical report follow the customer's page.",
)
@click.option("--whose", default="", help="Whose floor it is, for the customer's page alone.")
@click.option(
    "--photo",
    "photos",
    type=click.Path(path_type=Path, dir_okay=False),
    multiple=True,
    help="A photo for the customer's page. Twice at most.  [default: the first and the last that "
    "rig log keeps]",
)
@click.option("--no-photos", is_flag=True, help="No photo on the customer's page.")
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
    audience: "Audience",
    only: "Only | None",
    more: str | None,
    whose: str,
    photos: tuple[Path, ...],
    no_photos: bool,
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
    from rig.report.parts_alone import buy_text
    from rig.report.signed import signed
    from rig.report.source import Options
    from rig.study.rooms import in_room, refuse_several

    options = Options(rule, patch, confidence, audience, only, more == "appendix")
    if checked is None:
        _refuse_apart(options, whose, photos, no_photos)
    wanted = () if no_photos else photos or None
    handover = None
    if audience == "customer" or checked:
        handover = signed(whose, wanted, "--whose")
    mend_pour(job_path)
    with Job.open(job_path) as job:
        in_room(job, room_name)
        if patch is not None:
            refuse_several(job)
        if checked is not None:
            return _check(job, job_path, checked, handover, as_json)
        html = _place(out, options)
        with working(say("Drawing the report")):
            made = int(time.time())
            report = report_of(job, outline_of(job), options, job_path.stem, made, handover)
            text = buy_text(job_path.stem, report.sections) if only == "buy" else ""
            files = _write(report, html, drawings, text)
    lines = [text, ""] if text else []
    lines += [say("The report is written:"), *(f"  {path}" for path in files)]
    told: dict[str, Any] = {"files": files, "job_sha256": report.job_hash}
    show(told | ({"text": text} if text else {}), as_json, join("\n", lines))
    return 0


def _refuse_apart(
    options: "Options", whose: str, photos: tuple[Path, ...], no_photos: bool
) -> None:
    """Refuse options that do not go together."""
    if (whose or photos) and options.audience == "crew":
        raise BadInput(say("--whose and --photo are of the customer's page: --for customer."))
    if options.only is not None and options.audience == "customer":
        raise BadInput(say("--only is of the crew's report; leave out --for customer."))
    if photos and no_photos:
        raise BadInput(say("Give --photo or --no-photos, not both."))
    if len(photos) > MOST_PHOTOS:
        raise BadInput(
            say(
                "The page has room for {most_photos} photos; give no more --photo.",
                most_photos=MOST_PHOTOS,
            )
        )


def _place(out: Path, options: "Options") -> Path:
    """Return where the HTML file goes."""
    if out.suffix.lower() == ".pdf":
        raise BadInput(
            say(
                "--out takes a folder or a file ending in .html, not {name}; the PDF goes "
                "beside it under the same name.",
                name=out.name,
            )
        )
    if out.suffix.lower() in (".html", ".htm"):
        return out.absolute()
    name = options.only or ("customer" if options.audience == "customer" else "report")
    return (out / f"{name}.html").absolute()


def _write(report: "Report", html: Path, drawings: bool, text: str) -> list[str]:
    from rig.drawing.svg import to_svg
    from rig.files import write_whole
    from rig.report.html import to_html
    from rig.report.pdf import to_pdf

    files: dict[Path, bytes] = {
        html: to_html(report).encode(),
        html.with_suffix(".pdf"): to_pdf(report),
    }
    if text:
        files[html.with_suffix(".txt")] = f"{shown(text)}\n".encode()
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
                say(
                    "{path} cannot be written: {strerror}. Give another --out.",
                    path=path,
                    strerror=error.strerror,
                )
            ) from None
    return [str(path) for path in files]


def _check(
    job: "Job", job_path: Path, copy: Path, handover: "Handover | None", as_json: bool
) -> int:
    from rig.report.checking import check_copy

    told = check_copy(job, outline_of(job), copy, handover)
    show(told.as_json(), as_json, told.text)
    return 0 if told.same else 1
