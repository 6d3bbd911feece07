"""From a job at any stage to a report: a glance first, then part by part what there is."""

from typing import TYPE_CHECKING

from rig import __version__
from rig.report.appendix_part import appendix_section, cautions_section
from rig.report.document import Facts, Report, Section, section
from rig.report.patch_part import patches_section
from rig.report.plan_part import (
    markers_section,
    no_plan,
    plan_told,
    plane_section,
    quantities_section,
)
from rig.report.pour_part import pour_section
from rig.report.proof_part import proof_section
from rig.report.source import Options, Source
from rig.report.stamp import stamp_of
from rig.report.survey_part import floor_part, instruments_section, job_section
from rig.units import counted

if TYPE_CHECKING:
    from rig.job.store import Job
    from rig.room import Outline


def report_of(
    job: "Job", outline: "Outline", options: Options, name: str, made_utc_s: float
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

    Raises
    ------
    BadInput
        A rule that is not known.
    """
    source = Source(job, outline, options, name)
    job_hash = job.content_hash()
    plan = plan_told(source)
    parts = [
        job_section(source),
        instruments_section(source),
        floor_part(source),
        no_plan() if plan is None else plane_section(plan),
        None if plan is None else quantities_section(plan),
        patches_section(source),
        markers_section(source),
        pour_section(source),
        proof_section(source),
        cautions_section(source),
        appendix_section(source, job_hash),
    ]
    there = [part for part in parts if part is not None]
    whole = [_glance(source, there), *there]
    return Report(
        f"Floor report: {name}",
        f"Made {source.time(made_utc_s)} UTC by floor-rig {__version__}. Best estimates with their "
        "doubt; where none is told, none is known.",
        tuple(whole),
        "A4" if source.units.is_metric else "letter",
        stamp_of(options, name, made_utc_s, job_hash).line,
        made_utc_s,
        job_hash,
    )


def _glance(source: Source, parts: list[Section]) -> Section:
    """What most readers look for, in one place."""
    rows: list[tuple[str, str]] = [("Room", source.area(source.outline.area_m2))]
    floor = sum(shot.kind == "floor" for shot in source.shots)
    finished = sum(shot.kind == "finished" for shot in source.shots)
    shot = f"{counted(floor, 'point')} of the floor, {finished} of the finished surface"
    rows.append(("Shot", shot))
    if source.found is not None:
        rows.append(("Floor as found", f"{source.length(source.found.range_mm)} out of level"))
    if source.plan is not None:
        answer = source.plan.answer
        stale = " (stale)" if source.changed else ""
        word = "level" if answer.slope.falls_to_deg is None else "sloping"
        below = source.length(-answer.plane.a)
        rows.append(("Finished plane", f"{word}, {below} below the line of set-up 1{stale}"))
        rows.append(("Compound", f"buy {counted(answer.bags.buy, 'bag')}{stale}"))
    if source.markers:
        done = sum(marker.is_set for marker in source.markers)
        rows.append(("Markers", f"{done} of {len(source.markers)} set"))
    if source.job.events(["pour_done"]):
        rows.append(("Pour", "done"))
    elif source.job.events(["pour_plan"]):
        rows.append(("Pour", "planned"))
    proof = next(part for part in parts if part.key == "proof")
    first = proof.blocks[0]
    rows.append((proof.title, getattr(first, "text", "")))
    return section("glance", "At a glance", Facts(tuple(rows)))
