"""The options that describe the room and the compound, shared by `rig new` and `rig edit`."""

from pathlib import Path
from typing import Any

import click

from rig.cli.options import MASS, PERCENT, VOLUME, Length, Lengths, stack
from rig.errors import BadInput
from rig.units import format_length

room_options = stack(
    click.option("--room", type=Lengths("X", "Y"), help="A rectangular room: 12ft,15ft."),
    click.option(
        "--walls",
        help="Walls paced out: '12ft right 5ft left 3ft right ...', turning as you walk.",
    ),
    click.option(
        "--outline",
        "outline_file",
        type=click.Path(path_type=Path, dir_okay=False),
        help="A file: WKT polygon with holes, or CSV ring,x,y. Needs --unit.",
    ),
    click.option(
        "--unit",
        type=click.Choice(["mm", "cm", "m", "in", "ft"]),
        help="The unit of the outline file.",
    ),
    click.option(
        "--door",
        "doors",
        type=Lengths("X", "Y", "WIDTH"),
        multiple=True,
        help="A doorway: its end nearer the start of its wall, and its width. Repeatable.",
    ),
    click.option(
        "--opening",
        "openings",
        type=Lengths("X", "Y", "W", "H"),
        multiple=True,
        help="A hole in the floor area (duct, post, flange). Repeatable.",
    ),
    click.option("--units", type=click.Choice(["in", "mm"]), help="Units to print and to type in."),
    click.option("--covering", help="What will lie on the floor, in a word of your own."),
    click.option(
        "--min-cover", type=Length(minimum=0.0), help="Least compound over the high point."
    ),
    click.option(
        "--max-cover", type=Length(above=0.0), help="Most compound in one lift, from its sheet."
    ),
    click.option("--bag-yield", type=VOLUME, help="Volume that a bag makes, from its sheet."),
    click.option("--bag-mass", type=MASS, help="Mass of a bag."),
    click.option("--bag-water", type=VOLUME, help="Water for a bag, from its sheet."),
    click.option(
        "--waste", type=PERCENT, help="Bought on top for what stays in buckets and hoses, as 5%."
    ),
)

# A cupboard has more floor, a hall is shorter (common practice, no source).
SMALLEST_ROOM_M2, LONGEST_ROOM_MM = 0.1, 500_000.0

_SETTINGS = {
    "units": "units",
    "covering": "covering",
    "min_cover": "min_cover_mm",
    "max_cover": "max_cover_mm",
    "bag_yield": "bag_yield_l",
    "bag_mass": "bag_mass_kg",
    "bag_water": "bag_water_l",
    "waste": "waste_share",
}


def settings_given(options: dict[str, Any]) -> dict[str, Any]:
    """Return the job settings among the options that the user gave."""
    return {key: options[name] for name, key in _SETTINGS.items() if options[name] is not None}


def check_settings(settings: dict[str, Any]) -> None:
    """Refuse settings that contradict each other."""
    from rig.quantities.bags import refuse_impossible_bag

    least, most = settings.get("min_cover_mm"), settings.get("max_cover_mm")
    if least is not None and most is not None and least > most:
        units = settings["units"]
        raise BadInput(
            f"The minimum cover ({format_length(least, units)}) is above the maximum cover "
            f"({format_length(most, units)}). Give a smaller --min-cover or a larger --max-cover."
        )
    refuse_impossible_bag(*(settings.get(f"bag_{of}") for of in ("yield_l", "mass_kg", "water_l")))
    waste = settings.get("waste_share")
    if waste is not None and waste >= 1.0:
        raise BadInput("--waste must be under 100%: it is bought on top of the volume in place.")


def outline_given(options: dict[str, Any], current: Any | None) -> tuple[Any, float | None] | None:
    """Build the outline from the options, or None where they do not touch it.

    Parameters
    ----------
    options : dict
        As click hands them over.
    current : Outline or None
        What `edit` starts from; its doors and openings stay, also in a new room, unless others
        are given.

    Returns
    -------
    (Outline, closing_mm or None) or None
    """
    from rig import room as rooms

    shapes = [name for name in ("room", "walls", "outline_file") if options[name] is not None]
    if len(shapes) > 1:
        raise BadInput("Give the room once: --room, or --walls, or --outline.")
    if options.get("unit") is not None and options["outline_file"] is None:
        raise BadInput("--unit is that of an outline file; the job's own units are --units in|mm.")
    if not shapes and not options["doors"] and not options["openings"]:
        return None
    closing_mm = None
    doors, openings = options["doors"], options["openings"]
    if options["room"] is not None:
        outline = rooms.room(*options["room"])
    elif options["walls"] is not None:
        outline, closing_mm = rooms.from_walls(options["walls"])
    elif options["outline_file"] is not None:
        if options["unit"] is None:
            raise BadInput(
                "--outline needs --unit: say what one step in the file is, as --unit mm."
            )
        outline = rooms.from_file(options["outline_file"], options["unit"])
    elif current is not None:
        outline = rooms.from_rings(current.walls)
    else:
        raise BadInput("Give the room: --room 12ft,15ft, or --walls, or --outline.")
    if current is not None:
        outline = _with_kept(outline, current, not openings and not outline.openings, not doors)
    for opening in openings:
        outline = rooms.with_opening(outline, *opening)
    for door in doors:
        outline = rooms.with_door(outline, *door)
    _refuse_no_room(outline)
    return outline, closing_mm


def _refuse_no_room(outline: Any) -> None:
    """Refuse walls that no room has: most likely in another unit than was meant."""
    x, y = zip(*outline.walls, strict=True)
    longest = max(max(x) - min(x), max(y) - min(y))
    if longest > LONGEST_ROOM_MM or outline.area_m2 < SMALLEST_ROOM_M2:
        raise BadInput(
            f"This room would be {longest / 1000:.3g} m ({longest / 304.8:.3g} ft) long with "
            f"{outline.area_m2:.2g} m² of floor, which no room is. Is the unit right?"
        )


def _with_kept(outline: Any, current: Any, openings: bool, doors: bool) -> Any:
    """Outline with the openings and doors that the job has already."""
    from rig import room as rooms

    try:
        return rooms.from_rings(
            outline.walls,
            current.openings if openings else outline.openings,
            current.doors if doors else (),
        )
    except BadInput as error:
        raise BadInput(
            f"What the job has already does not fit the new room: {error} Give --door or "
            "--opening anew, all of them."
        ) from None
