"""What a job may be told of its room and its compound, whoever tells it."""

from dataclasses import replace
from typing import TYPE_CHECKING

from rig.errors import BadInput
from rig.job.settings import Settings
from rig.language import numeral, say
from rig.units import MM_PER_FT, Units

if TYPE_CHECKING:
    from rig.products import Entry, Used
    from rig.room import Outline

# A cupboard has more floor, a hall is shorter (common practice, no source).
SMALLEST_ROOM_M2, LONGEST_ROOM_MM = 0.1, 500_000.0


def check_settings(settings: Settings) -> None:
    """Refuse settings that contradict each other.

    Raises
    ------
    BadInput
        With what does not go together.
    """
    from rig.quantities.bags import refuse_impossible_bag

    least, most = settings.min_cover_mm, settings.max_cover_mm
    if least is not None and most is not None and least > most:
        length = Units(settings.units).length
        raise BadInput(
            say(
                "The minimum cover ({least}) is above the maximum cover ({most}). Give a "
                "smaller --min-cover or a larger --max-cover.",
                least=length(least),
                most=length(most),
            )
        )
    refuse_impossible_bag(settings.bag_yield_l, settings.bag_mass_kg, settings.bag_water_l)
    if settings.waste_share is not None and settings.waste_share >= 1.0:
        raise BadInput(
            say("--waste must be under 100%: it is bought on top of the volume in place.")
        )


def refuse_odd_bag(entry: "Entry") -> None:
    """Refuse a compound whose bag makes what no compound does."""
    from rig.products import Product
    from rig.quantities.bags import refuse_impossible_bag

    thing = entry.read()
    if isinstance(thing, Product):
        refuse_impossible_bag(thing.yield_l, thing.bag_mass_kg, thing.bag_water_l)


def with_product(old: Settings, used: "Used") -> Settings:
    """Return settings as a compound's sheet has them; a larger minimum cover stays."""
    compound = used.compound
    least = (old.min_cover_mm, compound.min_cover_mm)
    return replace(
        old,
        product=used,
        bag_yield_l=compound.yield_l,
        bag_mass_kg=compound.bag_mass_kg,
        bag_water_l=compound.bag_water_l,
        min_cover_mm=max((one for one in least if one is not None), default=None),
        max_cover_mm=compound.max_cover_mm,
    )


def with_kept(
    outline: "Outline", current: "Outline", openings: bool, doors: bool, units: Units
) -> "Outline":
    """Return an outline with the openings and doors that the job has already, where they fit."""
    from rig import room as rooms

    try:
        return rooms.from_rings(
            outline.walls,
            current.openings if openings else outline.openings,
            current.doors if doors else (),
            current.wall_names if len(current.walls) == len(outline.walls) else None,
            units,
        )
    except BadInput as error:
        raise BadInput(
            say(
                "What the job has already does not fit the new room: {error} Give --door or "
                "--opening anew, all of them.",
                error=error,
            )
        ) from None


def refuse_no_room(outline: "Outline", units: Units) -> None:
    """Refuse walls that no room has: most likely in another unit than was meant.

    Raises
    ------
    BadInput
        With how large the room would be.
    """
    x, y = zip(*outline.walls, strict=True)
    longest = max(max(x) - min(x), max(y) - min(y))
    metric = units.is_metric
    long = (
        say("{longest} m", longest=numeral(longest / 1000, ".3g"))
        if metric
        else say("{mm_per_ft} ft", mm_per_ft=numeral(longest / MM_PER_FT, ".3g"))
    )
    area = say("{area} m²", area=numeral(outline.area_m2, ".2g"))
    if not metric:
        area = say(
            "{mm_per_ft} ft²", mm_per_ft=numeral(outline.area_m2 * 1000000.0 / MM_PER_FT**2, ".2g")
        )
    if longest > LONGEST_ROOM_MM or outline.area_m2 < SMALLEST_ROOM_M2:
        raise BadInput(
            say(
                "This room would be {long} long with {area} of floor, which no room is. Is the "
                "unit right?",
                long=long,
                area=area,
            )
        )
