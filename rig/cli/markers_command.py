"""`rig markers`: where the depth markers go, and how high."""

from pathlib import Path

import click

from rig.cli.options import Length, job_option, json_option, show


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
    from rig.job.store import Job
    from rig.study.markers_answer import make_markers
    from rig.words.markers import marker, to_set

    with Job.open(job_path, write=True) as job, working("Laying out the markers"):
        answer, units = make_markers(job, reach), job.units
    lines = [to_set(len(answer.markers))]
    for one in answer.markers:
        out = (one.stick_out_mm, one.stick_out_stderr_mm)
        told = marker(one.label, (one.x_mm, one.y_mm), one.target_reading_mm, out, units)
        lines.append(f"  {told}")
    lines += [f"! {text}" for text in answer.warnings]
    show(answer.as_json(), as_json, "\n".join([*lines, "Next: rig set"]))
