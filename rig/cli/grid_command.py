"""`rig grid`: lay out the points to shoot."""

from pathlib import Path

import click

from rig.cli.jobs import outline_of
from rig.cli.options import Length, job_option, json_option, metric_or, show
from rig.errors import BadInput
from rig.units import format_place


@click.command()
@job_option
@click.option(
    "--spacing",
    type=Length(above=0.0),
    help="The most that neighbours stand apart.  [default: 3ft, or 0.9m]",
)
@click.option(
    "--edge",
    type=Length(above=0.0),
    help="From the wall to the outermost points.  [default: 6in, or 15cm]",
)
@click.option(
    "--lines", is_flag=True, help="Lines for F-numbers instead, a reading every 12 in (300 mm)."
)
@json_option
def command(
    job_path: Path, spacing: float | None, edge: float | None, lines: bool, as_json: bool
) -> None:
    """Lay out the points to shoot and the order to walk them, ending at the door.

    Points are lettered across and numbered along. Shots already taken are kept.
    """
    from rig.flatness.line_layout import lay_lines
    from rig.job.store import Job
    from rig.survey.grid import GridPoint, lay_out

    if lines and (spacing is not None or edge is not None):
        raise BadInput("--lines has its own spacing and edge: leave out --spacing and --edge.")
    with Job.open(job_path, write=True) as job:
        units = job.settings["units"]
        if lines:
            laid = lay_lines(outline_of(job), metric_or(units, 300.0, 304.8))
            points = [GridPoint(p.label, p.x_mm, p.y_mm, p.order) for p in laid]
        else:
            points = lay_out(
                outline_of(job),
                spacing if spacing is not None else metric_or(units, 900.0, 914.4),
                edge if edge is not None else metric_or(units, 150.0, 152.4),
            )
        job.set_points([(p.label, p.x_mm, p.y_mm, p.order) for p in points])

    walked = sorted(points, key=lambda point: point.order)
    result = {
        "points": [
            {"label": p.label, "x_mm": p.x_mm, "y_mm": p.y_mm, "order": p.order} for p in walked
        ]
    }
    told = [f"{len(points)} points to shoot, in this order:"]
    told += [
        f"  {p.order:3d}  {p.label:<4} x {format_place(p.x_mm, units)}, "
        f"y {format_place(p.y_mm, units)}"
        for p in walked
    ]
    show(
        result,
        as_json,
        "\n".join(
            [
                *told,
                "Next: rig survey --kind benchmark --label BM1 on a fixed point, then rig survey",
            ]
        ),
    )
