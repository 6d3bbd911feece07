"""`rig floor`: what the floor is like, with its doubt."""

from pathlib import Path
from typing import Any

import click

from rig.cli.jobs import laser_places, outline_of, units_of
from rig.cli.options import (
    confidence_option,
    job_option,
    json_option,
    laser_place_option,
    show,
    unit_option,
)
from rig.errors import BadInput
from rig.units import Units, counted, format_doubt, format_length


@click.command()
@job_option
@confidence_option
@click.option(
    "--points",
    type=click.Path(path_type=Path, dir_okay=False),
    help="A CSV x,y of places whose heights to tell. Needs --unit.",
)
@unit_option
@laser_place_option
@json_option
def command(
    job_path: Path,
    confidence: float,
    points: Path | None,
    unit: str | None,
    laser_at: tuple[tuple[str | None, tuple[float, float]], ...],
    as_json: bool,
) -> None:
    """Tell what the floor is like: its high and low points and how sure that is.

    Heights are relative to the laser's line at set-up 1, negative below it.
    """
    from rig.cli.progress import working
    from rig.job.store import Job
    from rig.room import where
    from rig.study.laser_share import budget_lines, setup_lines
    from rig.study.picture import floor_result, picture_of
    from rig.survey.table import read_columns

    if points is not None and unit is None:
        raise BadInput("--points needs --unit: say what the table's lengths are in, as --unit mm.")
    with Job.open(job_path) as job, working("Modelling the floor"):
        units, denominator = units_of(job)
        outline = outline_of(job)
        places = read_columns(points, ("x", "y"), unit) if points and unit else None
        laser = laser_places(job, laser_at)
        picture = picture_of(job, outline, confidence)
        result = floor_result(job, picture, places, laser)

    def length(mm: float) -> str:
        return format_length(mm, units, denominator)

    def doubt(mm: float) -> str:
        return format_doubt(mm, units, denominator)

    high, low = result["high"], result["low"]
    lines = [
        f"{counted(result['shots'], 'shot')}. "
        f"The floor is {length(result['range_mm'])} out of level.",
        f"High point: {length(-high['z_mm'])} below the line, "
        f"{where(outline, high['x_mm'], high['y_mm'], units)}.",
        f"  With {confidence:.0%} confidence nothing stands higher than "
        f"{length(-high['upper_mm'])} below the line "
        f"({length(high['upper_mm'] - high['z_mm'])} higher than the best estimate).",
        f"Low point: {length(-low['z_mm'])} below the line, "
        f"{where(outline, low['x_mm'], low['y_mm'], units)}.",
        *[
            f"At {length(p['x_mm'])}, {length(p['y_mm'])}: {length(-p['z_mm'])} below the line, "
            f"± {doubt(2 * p['stderr_mm'])}."
            for p in result["points"]
        ],
        *next_lines(result, outline, units),
        *setup_lines(result, length, doubt),
        *budget_lines(result["budget"], units),
        *[f"! {warning}" for warning in result["warnings"]],
    ]
    if not as_json:
        lines += _drawn(picture, result, units, denominator)
    show(result, as_json, "\n".join(lines))


def _drawn(picture: Any, result: dict[str, Any], units: str, denominator: int) -> list[str]:
    """The floor small in characters."""
    from shutil import get_terminal_size

    from rig.drawing.characters import floor_in_characters
    from rig.drawing.look import Look

    return floor_in_characters(
        picture.outline,
        Look(Units("mm" if units == "mm" else "in", denominator)),
        lambda x, y: picture.surface.predict(x, y, quick=True)[0],
        result["high"],
        result["low"],
        get_terminal_size().columns,
    )


def next_lines(result: dict[str, Any], outline: Any, units: str) -> list[str]:
    """Name the shots that would save most, or say that none is worth the walk."""
    from rig.room import where

    if not result["next"]:
        return ["More shots are no longer worth the walk: none is expected to save 0.1 bags."]
    last = result["next"][-1]
    saved = sum(shot["bags"] for shot in result["next"])
    lines = [
        f"Shots worth the walk, expected to save {saved:.1f} bags together "
        f"(doubt {format_doubt(result['next'][0]['doubt_mm'], units)} now, "
        f"{format_doubt(last['left_mm'], units)} after):"
    ]
    return (
        lines
        + [
            f"  {where(outline, shot['x_mm'], shot['y_mm'], units)}: lowers the plane by "
            f"{format_doubt(shot['plane_mm'], units)}, {shot['bags']:.1f} bags"
            for shot in result["next"]
        ]
        + ["  (rig survey --label N1 --at X,Y shoots a place beside the grid)"]
    )
