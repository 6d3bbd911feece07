"""`rig markers`: where the depth markers go, and how high."""

from pathlib import Path

import click

from rig.cli.jobs import outline_of, units_of
from rig.cli.options import Length, job_option, json_option, metric_or, show
from rig.units import counted, format_doubt, format_length, format_place


@click.command()
@job_option
@click.option(
    "--reach",
    type=Length(above=0.0),
    help="No place is farther than this from a marker.  [default: 4ft, or 1.2m]",
)
@json_option
def command(job_path: Path, reach: float | None, as_json: bool) -> None:
    """Lay out the depth markers; tell target reading and stick-out of each.

    The layout is stored: rig set follows it in its order.
    """
    from rig.cli.progress import working
    from rig.guidance.layout import lay_out_markers
    from rig.job.store import Job
    from rig.study.fresh import fresh_plan
    from rig.study.picture import picture_of
    from rig.study.planning import grind_first, marker_rows

    with Job.open(job_path, write=True) as job, working("Laying out the markers"):
        units, denominator = units_of(job)
        plan = fresh_plan(job)
        outline = outline_of(job)
        reach_mm = reach if reach is not None else metric_or(units, 1200.0, 1219.2)
        picture = picture_of(job, outline, plan.inputs["confidence"])
        rows = marker_rows(picture, plan, lay_out_markers(outline, reach_mm))
        job.save_markers(rows, plan_id=plan.id)

    lines = [f"{counted(len(rows), 'marker')}, in the order to set them:"]
    for row in rows:
        lines.append(
            f"  {row['label']:<4} x {format_place(row['x_mm'], units)}, "
            f"y {format_place(row['y_mm'], units)}: rod reads "
            f"{format_length(row['target_reading_mm'], units, denominator)}, top stands "
            f"{format_length(row['stick_out_mm'], units, denominator)} above the floor "
            f"(± {format_doubt(2 * row['stick_out_stderr_mm'], units, denominator)})"
        )
    warnings = grind_first(plan)
    lines += [f"! {text}" for text in warnings]
    told = {"markers": rows, "warnings": warnings}
    show(told, as_json, "\n".join([*lines, "Next: rig set"]))
