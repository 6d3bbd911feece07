"""`rig grid`: lay out the points to shoot."""

from pathlib import Path

import click

from rig.cli.jobs import outline_of
from rig.cli.options import Length, job_option, json_option, metric_or, show
from rig.errors import BadInput
from rig.units import Units, counted, format_doubt, format_place


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
@click.option(
    "--advise",
    is_flag=True,
    help="Tell what each spacing is likely to cost in bags of safety; lays out nothing.",
)
@json_option
def command(
    job_path: Path,
    spacing: float | None,
    edge: float | None,
    lines: bool,
    advise: bool,
    as_json: bool,
) -> None:
    """Lay out the points to shoot and the order to walk them, ending at the door.

    Points are lettered across and numbered along. Shots already taken are kept, with their labels:
    a point where one stands needs no other, and new points get letters of their own.
    """
    from rig.flatness.line_layout import lay_lines
    from rig.job.store import Job
    from rig.survey.grid import GridPoint, lay_out, named_apart
    from rig.words.room import wall_lines

    if lines and (spacing is not None or edge is not None):
        raise BadInput("--lines has its own spacing and edge: leave out --spacing and --edge.")
    if advise:
        _advise(job_path, spacing, edge, as_json)
        return
    with Job.open(job_path, write=True) as job:
        units, outline = job.settings.units, outline_of(job)
        if lines:
            laid = lay_lines(outline, metric_or(units, 300.0, 304.8))
            points = [GridPoint(p.label, p.x_mm, p.y_mm, p.order) for p in laid]
        else:
            points = lay_out(
                outline,
                spacing if spacing is not None else metric_or(units, 900.0, 914.4),
                edge if edge is not None else metric_or(units, 150.0, 152.4),
            )
        shots = [
            (shot.point, shot.x_mm, shot.y_mm)
            for shot in job.shots(kinds=["floor", "finished"])
            if shot.x_mm is not None and shot.y_mm is not None
        ]
        points = named_apart(points, shots)
        job.set_points([(p.label, p.x_mm, p.y_mm, p.order) for p in points])
        done = len(points) - len(job.unshot("floor"))

    walked = sorted(points, key=lambda point: point.order)
    result = {
        "points": [
            {"label": p.label, "x_mm": p.x_mm, "y_mm": p.y_mm, "order": p.order} for p in walked
        ]
    }
    heading = counted(len(points), "point")
    heading += f", {done} of them with a shot of the floor" if done else " to shoot"
    told = [f"{heading}, in this order:"]
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
                *wall_lines(outline, Units(units)),
                "Next: rig survey --kind benchmark --label BM1 on a fixed point, then rig survey",
            ]
        ),
    )


def _advise(job_path: Path, spacing: float | None, edge: float | None, as_json: bool) -> None:
    """Show what closer and wider spacings are likely to cost."""
    from rig.job.store import Job
    from rig.study.advice import spacing_advice

    with Job.open(job_path) as job:
        units = job.settings.units
        common = metric_or(units, 300.0, 304.8)
        wanted = {steps * common for steps in (1.5, 2, 3, 4, 6)}
        if spacing is not None:
            wanted.add(spacing)
        result = spacing_advice(
            job,
            outline_of(job),
            sorted(wanted),
            edge if edge is not None else metric_or(units, 150.0, 152.4),
        )
    lines = [f"Bags that doubt of the high point is likely to cost, on {result['assumed']}:"]
    lines += [
        f"  {format_place(row['spacing_mm'], units):>12} apart: {row['points']:3d} points, plane "
        f"{format_doubt(row['safety_mm'], units)} higher, {row['safety_bags']:.1f} bags"
        for row in result["advise"]
    ]
    lines += [f"Assumed: {text}" for text in result["assumptions"]]
    show(result, as_json, "\n".join([*lines, "Next: rig grid --spacing LENGTH"]))
