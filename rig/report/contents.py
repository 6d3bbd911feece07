"""From a job at any stage to a report: a glance first, then part by part what there is."""

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from rig import __version__
from rig.language import say, say_many
from rig.report.appendix_part import appendix_section, cautions_section
from rig.report.customer_part import handed, handed_over, title_of
from rig.report.document import Facts, Report, Section, section
from rig.report.house_part import (
    house_buy_sheet,
    house_handed_over,
    house_marker_sheets,
    house_sections,
)
from rig.report.parts_alone import buy_sheet, customer_pages, first_that_fits, marker_sheets
from rig.report.patch_part import patches_section
from rig.report.pictures import logged_photos
from rig.report.plan_part import (
    markers_section,
    no_plan,
    plan_told,
    plane_section,
    quantities_section,
)
from rig.report.pour_part import pour_section
from rig.report.proof_part import proof_section
from rig.report.site_part import site_section
from rig.report.source import Handover, Options, Source
from rig.report.stamp import stamp_of
from rig.report.survey_part import floor_part, instruments_section, job_section
from rig.study.rooms import has_several
from rig.words import rooms as words

if TYPE_CHECKING:
    from rig.job.store import Job
    from rig.room import Outline


def report_of(
    job: "Job",
    outline: "Outline",
    options: Options,
    name: str,
    made_utc_s: float,
    handover: Handover | None = None,
) -> Report:
    """Make the report of a job as it stands.

    Parameters
    ----------
    job : Job
    outline : Outline
    options : Options
    name : str
        Of the job.
    made_utc_s : float
        What it bears as its time; two reports of one job with the same time are the same.
    handover : Handover, optional
        Of a customer's page.

    Raises
    ------
    BadInput
        A rule that is not known.
    CannotAnswer
        The one part that was asked for is not there yet.
    """
    source = Source(job, outline, options, name)
    job_hash = job.content_hash()
    made = say(
        "Made {time} UTC by floor-rig {version__}.",
        time=source.time(made_utc_s),
        version__=__version__,
    )

    def report(title: str, subtitle: str, sections: Sequence[Section], shown: bool) -> Report:
        return Report(
            title,
            subtitle,
            tuple(sections),
            "A4" if source.units.is_metric else "letter",
            stamp_of(options, name, made_utc_s, job_hash).line,
            made_utc_s,
            job_hash,
            title_shown=shown,
        )

    def fits(sections: Sequence[Section]) -> bool:
        from rig.report.pdf import pages_of

        return pages_of(report("", made, sections, False)) == 1

    several = has_several(job)
    titled = name if job.room is None else words.job_and_room(name, job.room.name)
    match options.only:
        case "markers":
            title = say("Marker sheet: {name}", name=titled)
            if several:
                sheets = house_marker_sheets(job, options, name, lambda one: fits((one,)))
                return report(title, made, sheets, False)
            return report(title, made, first_that_fits(marker_sheets(source), fits), False)
        case "buy":
            bought = house_buy_sheet(job) if several else buy_sheet(source)
            return report(say("To buy: {name}", name=titled), made, bought, False)
    if options.audience == "customer":
        told = handover or Handover()
        if told.photos is None:
            told = replace(told, photos=logged_photos(job))
        over = (
            house_handed_over(job, source, options, name)
            if several
            else handed_over(source, [handed(source)])
        )
        sections = first_that_fits(customer_pages(over, told), fits)
        page = report(title_of(over, told), made, sections, False)
        if not options.appendix:
            return page
        first, *others = (
            house_sections(job, options, name) if several else _technical(source, job_hash)
        )
        return replace(page, sections=(*page.sections, replace(first, new_page=True), *others))
    if several:
        return report(
            say("Rooms: {name}", name=name), made, house_sections(job, options, name), True
        )
    subtitle = say(
        "{made} Best estimates with their doubt; where none is told, none is known.", made=made
    )
    return report(
        say("Floor report: {name}", name=titled), subtitle, _technical(source, job_hash), True
    )


def _technical(source: Source, job_hash: str) -> list[Section]:
    """All that the crew's report tells, a glance first."""
    plan = plan_told(source)
    parts = [
        job_section(source),
        instruments_section(source),
        floor_part(source),
        no_plan() if plan is None else plane_section(plan),
        None if plan is None else quantities_section(plan),
        patches_section(source),
        markers_section(source),
        site_section(source),
        pour_section(source),
        proof_section(source),
        cautions_section(source),
        appendix_section(source, job_hash),
    ]
    there = [part for part in parts if part is not None]
    return [_glance(source, there), *there]


def _glance(source: Source, parts: list[Section]) -> Section:
    """What most readers look for, in one place."""
    rows: list[tuple[str, str]] = [(say("Room"), source.area(source.outline.area_m2))]
    floor = sum(shot.kind == "floor" for shot in source.shots)
    finished = sum(shot.kind == "finished" for shot in source.shots)
    shot = say(
        "{points} of the floor, {finished} of the finished surface",
        points=say_many("{count} point", "{count} points", floor),
        finished=finished,
    )
    rows.append((say("Shot"), shot))
    if source.found is not None:
        rows.append(
            (
                say("Floor as found"),
                say("{range} out of level", range=source.length(source.found.range_mm)),
            )
        )
    if source.plan is not None:
        answer = source.plan.answer
        stale = " (stale)" if source.changed else ""
        word = say("level") if answer.slope.falls_to_deg is None else say("sloping")
        below = source.length(-answer.plane.a)
        rows.append(
            (
                say("Finished plane"),
                say(
                    "{word}, {below} below the line of set-up 1{stale}",
                    word=word,
                    below=below,
                    stale=stale,
                ),
            )
        )
        rows.append(
            (
                say("Compound"),
                say(
                    "buy {bags}{stale}",
                    bags=say_many("{count} bag", "{count} bags", answer.bags.buy),
                    stale=stale,
                ),
            )
        )
    if source.markers:
        done = sum(marker.is_set for marker in source.markers)
        rows.append(
            (say("Markers"), say("{done} of {markers} set", done=done, markers=len(source.markers)))
        )
    if source.job.events(["pour_done"]):
        rows.append((say("Pour"), say("done")))
    elif source.job.events(["pour_plan"]):
        rows.append((say("Pour"), say("planned")))
    proof = next(part for part in parts if part.key == "proof")
    first = proof.blocks[0]
    rows.append((proof.title, getattr(first, "text", "")))
    return section("glance", say("At a glance"), Facts(tuple(rows)))
