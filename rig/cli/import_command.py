"""`rig import`: take a table of points instead of a survey."""

from dataclasses import asdict
from pathlib import Path

import click

from rig.cli.jobs import outline_of, units_of
from rig.cli.options import job_option, json_option, show, unit_option
from rig.errors import BadInput
from rig.units import counted, format_length


@click.command()
@job_option
@click.argument("table", type=click.Path(path_type=Path, dir_okay=False))
@unit_option
@json_option
def command(job_path: Path, table: Path, unit: str | None, as_json: bool) -> None:
    """Take a CSV table label,x,y,reading[,stderr][,setup][,kind] whole or not at all.

    A reading is how far the laser's line is above the floor: larger is lower. A shot takes the
    place of an earlier one of its label and kind.
    """
    from rig.job.store import Job
    from rig.survey.plausibility import doubts_of_table
    from rig.survey.table import read_table

    if unit is None:
        raise BadInput("Say the unit of every length in the table: --unit mm, or --unit in.")
    with Job.open(job_path, write=True) as job:
        grid = {p.label: (p.x_mm, p.y_mm) for p in job.points()}
        rows = read_table(table, unit, outline_of(job), grid)
        units, denominator = units_of(job)
        kinds = ("floor", "finished")
        earlier: dict[str, list[float]] = {}
        for shot in job.shots(kinds=kinds):
            earlier.setdefault(shot.setup, []).append(shot.reading_mm)
        warnings = doubts_of_table(
            [(row.setup, row.point, row.reading_mm) for row in rows if row.kind in kinds],
            earlier,
            unit,
            lambda mm: format_length(mm, units, denominator),
        )
        ids = set(job.import_shots([asdict(row) for row in rows]))
        replaced = sum(shot.superseded_by in ids for shot in job.shots(current=False))
    text = f"{counted(len(rows), 'shot')} taken from {table}."
    if replaced:
        earlier_ones = "an earlier shot" if replaced == 1 else "earlier shots"
        text += f" {replaced} of them took the place of {earlier_ones} of the same label."
    lines = [text, *[f"! {warning}" for warning in warnings], "Next: rig floor, then rig plan"]
    show(
        {"shots": len(rows), "replaced": replaced, "warnings": warnings},
        as_json,
        "\n".join(lines),
    )
