"""`rig new`: create a job."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from rig.cli.options import job_option, json_option, show
from rig.cli.room_options import check_settings, outline_given, room_options, settings_given
from rig.errors import BadInput
from rig.units import format_area, format_length, format_place

if TYPE_CHECKING:
    from rig.room import Outline


@click.command()
@job_option
@room_options
@json_option
def command(job_path: Path, as_json: bool, **options: Any) -> None:
    """Create a job: the room, its units, the compound.

    The room has its corner at 0,0 and its first length along x.
    """
    from rig.job.store import Job

    shaped = outline_given(options, None)
    if shaped is None:
        raise BadInput("Give the room: --room 12ft,15ft, or --walls, or --outline.")
    outline, closing_mm = shaped
    settings = {"units": "in", **settings_given(options)}
    check_settings(settings)
    doors = [(door.x_mm, door.y_mm, door.end_x_mm, door.end_y_mm) for door in outline.doors]
    Job.create(job_path, settings, outline.walls, outline.openings, doors).close()

    result = room_result(job_path, outline, closing_mm)
    show(result, as_json, room_text(result, outline, settings["units"]) + "\nNext: rig grid")


def room_result(job_path: Path, outline: "Outline", closing_mm: float | None) -> dict[str, Any]:
    """What `rig new --json` and `rig edit --json` print."""
    result: dict[str, Any] = {
        "job": str(job_path),
        "area_m2": outline.area_m2,
        "perimeter_mm": outline.perimeter_mm,
        "corners": [{"x_mm": x, "y_mm": y} for x, y in outline.walls],
    }
    if closing_mm is not None:
        result["closing_mm"] = closing_mm
    return result


def room_text(result: dict[str, Any], outline: "Outline", units: str) -> str:
    """Describe the room for people."""
    lines = [
        f"Job {result['job']}: {format_area(result['area_m2'], units)}, "
        f"{format_place(result['perimeter_mm'], units)} of wall."
    ]
    if "closing_mm" in result:
        lines.append(
            f"The walls close to {format_length(result['closing_mm'], units)}; "
            "the error is spread over the corners."
        )
        corners = (
            f"({format_place(c['x_mm'], units)}, {format_place(c['y_mm'], units)})"
            for c in result["corners"]
        )
        lines.append("Corners (x, y): " + " ".join(corners))
    for door in outline.doors:
        start, end = (
            f"({format_place(x, units)}, {format_place(y, units)})"
            for x, y in ((door.x_mm, door.y_mm), (door.end_x_mm, door.end_y_mm))
        )
        lines.append(f"Door from {start} to {end}.")
    return "\n".join([*lines, *wall_lines(outline, units)])


def wall_lines(outline: "Outline", units: str) -> list[str]:
    """Say in a line which wall has which number; nothing where a door gives them names."""
    if outline.doors:
        return []
    from rig.room import named_walls

    walls = (
        f"{name} from ({format_place(x, units)}, {format_place(y, units)})"
        for name, (x, y), _ in named_walls(outline)
    )
    return ["Without a door (--door X,Y,WIDTH) the walls go by number: " + ", ".join(walls) + "."]
