"""The report, looked at on the phone and taken away, and the files for other programs."""

import io
import time
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rig.errors import BadInput
from rig.language import say
from rig.page.visit import Served, Step, Visit
from rig.record import Record
from rig.report.source import Options
from rig.study.room import outline_of
from rig.study.rooms import refuse_several

if TYPE_CHECKING:
    from rig.report.document import Report


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportView(Record):
    """What the page of the report shows."""

    files: tuple[tuple[str, str], ...]


FILES = (
    ("report.pdf", say("The report as PDF, for paper")),
    ("report.html", say("The report as one file for any browser")),
    ("shots.csv", say("Every shot as a table")),
    ("floor.geojson", say("Room, floor and markers, GeoJSON")),
    ("floor.dxf", say("Room, floor and markers, DXF")),
    ("job.sqlite", say("The whole job, to go on with elsewhere")),
)


OF_A_ROOM = ("floor.geojson", "floor.dxf")


class _Report(Step):
    key = "report"

    def view(self, visit: Visit) -> ReportView:
        files = [one for one in FILES if not (visit.in_house and one[0] in OF_A_ROOM)]
        return ReportView(files=tuple(files))

    def part(self, visit: Visit, part: str) -> "tuple[str, object] | Served":
        match part:
            case "look":
                return Served("report.html", "text/html; charset=utf-8", _html(visit), False)
            case "report.html":
                return Served(f"{visit.name}.html", "text/html; charset=utf-8", _html(visit))
            case "report.pdf":
                from rig.report.pdf import to_pdf

                return Served(f"{visit.name}.pdf", "application/pdf", to_pdf(_report(visit)))
            case "customer.html":
                from rig.report.html import to_html

                page = to_html(_for_customer(visit)).encode()
                return Served("customer.html", "text/html; charset=utf-8", page, False)
            case "customer.pdf":
                from rig.report.pdf import to_pdf

                return Served(f"{visit.name}.pdf", "application/pdf", to_pdf(_for_customer(visit)))
            case "shots.csv":
                return Served(f"{visit.name}.csv", "text/csv; charset=utf-8", _table(visit))
            case "floor.geojson" | "floor.dxf":
                return _plan_file(visit, part)
            case "job.sqlite":
                return Served(f"{visit.name}.sqlite", "application/octet-stream", _copy(visit))
        raise BadInput(say("There is no such file."))


def _report(visit: Visit) -> "Report":
    from rig.report.contents import report_of

    return report_of(visit.job, outline_of(visit.job), Options(), visit.name, int(time.time()))


def _for_customer(visit: Visit) -> "Report":
    """Make the page for the customer: the firm's head, whose floor it is, the site's photos."""
    from rig.report.contents import report_of
    from rig.report.signed import signed

    handover = signed(visit.form.text("whose"), what=say("The name"))
    options, made_s = Options(audience="customer"), int(time.time())
    return report_of(visit.job, outline_of(visit.job), options, visit.name, made_s, handover)


def _html(visit: Visit) -> bytes:
    from rig.report.html import to_html

    return to_html(_report(visit)).encode()


def _table(visit: Visit) -> bytes:
    import tempfile
    from pathlib import Path

    from rig.survey.table import write_table

    shots = [shot for shot in visit.job.shots() if shot.kind != "marker"]
    if not shots:
        raise BadInput(say("The job has no shots to write yet."))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "shots.csv"
        write_table(path, shots)
        return path.read_bytes()


def _plan_file(visit: Visit, name: str) -> Served:
    from rig.report.plan_data import plan_data

    refuse_several(visit.job)
    data = plan_data(visit.job, outline_of(visit.job))
    if name == "floor.geojson":
        from rig.report.geojson import to_geojson

        told = to_geojson(data, visit.name).encode()
        return Served(f"{visit.name}.geojson", "application/geo+json", told)
    from rig.report.dxf import to_dxf

    drawn = io.StringIO()
    to_dxf(data, visit.units).write(drawn)
    return Served(f"{visit.name}.dxf", "application/dxf", drawn.getvalue().encode())


def _copy(visit: Visit) -> bytes:
    import tempfile
    from pathlib import Path

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "job.sqlite"
        visit.job.copy_to(path)
        return path.read_bytes()


STEP = _Report()
