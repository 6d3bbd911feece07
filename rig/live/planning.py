"""From the running picture to a plan: finished plane, cover, volume, bags, load, marker heights."""

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from rig.guidance.layout import MarkerPlace
from rig.live.picture import Picture, high_of, warnings_of
from rig.plan_geometry import contains, where
from rig.quantities.bags import Bags, BagSheet, bag_sheet, bags_for
from rig.quantities.load import dead_load
from rig.quantities.volume import volume_under
from rig.surface.triangulation import Triangulation
from rig.target.level import (
    Plane,
    chance_min_cover,
    check_cover_limits,
    cover_of,
    hold_level,
    level_plane,
    lifts,
)
from rig.units import format_length, format_mass, format_volume

if TYPE_CHECKING:
    from rig.job.rows import Plan
    from rig.job.store import Job

# The backer for tile: at least 1/4 in over the high point (common practice, no source).
USUAL_MIN_COVER_MM = 6.35

CAUTIONS = (
    "Dry compound and ground concrete give off silica dust: mask and extraction, as the product's "
    "data sheet and local rules ask.",
    "Wet compound is caustic: gloves and eye protection; keep mixers and cables out of the wet.",
    "Old flooring and glue may hold asbestos: have them tested before grinding or scraping.",
)


def plan_result(
    job: "Job", picture: Picture, hold: tuple[float, float, float] | None = None
) -> dict[str, Any]:
    """Choose the level plane and tell what it takes, as `rig plan --json` prints it.

    Parameters
    ----------
    job : Job
        For its settings.
    picture : Picture
        Of the floor, at the confidence wanted.
    hold : (x_mm, y_mm, height_mm), optional
        Fixes the plane's height at a place, relative to the line of set-up 1.

    Raises
    ------
    BadInput
        Contradicting covers, or a held height that leaves too little cover.
    """
    settings = job.settings
    units, denominator = settings["units"], settings["denominator"]
    min_cover_mm, assumptions = _min_cover(settings, units, denominator)
    check_cover_limits(min_cover_mm, settings["max_cover_mm"])
    extremes, cells = picture.extremes, picture.cells
    area = cells.share * cells.step_mm**2
    floor, _ = picture.surface.predict(cells.x_mm, cells.y_mm)
    warnings = warnings_of(job, picture)

    if hold is None:
        plane = level_plane(extremes.highest_mm, min_cover_mm, extremes.confidence)
    else:
        x_mm, y_mm, height_mm = hold
        if not contains(picture.outline, np.array([x_mm]), np.array([y_mm]))[0]:
            warnings.append("The held place lies outside the floor; its height is taken as said.")
        plane = hold_level(
            height_mm,
            cells.x_mm,
            cells.y_mm,
            floor,
            min_cover_mm,
            units,
            denominator,
            lambda x, y: where(picture.outline, x, y, units),
        )
    chance = chance_min_cover(plane, extremes.highest_mm, cells.x_mm, cells.y_mm, min_cover_mm)
    if chance < extremes.confidence:
        warnings.append(
            f"The held height keeps the minimum cover with only {chance:.0%} probability, "
            f"not {extremes.confidence:.0%}."
        )
    cover = cover_of(plane, cells.x_mm, cells.y_mm, floor, area)
    heights = picture.heights
    flat = Triangulation().fit(heights.x_mm, heights.y_mm, heights.z_mm)
    volume = volume_under(plane, picture.surface, cells.x_mm, cells.y_mm, area, flat)
    sheet = bag_sheet(
        settings["bag_yield_l"],
        settings["bag_mass_kg"],
        settings["bag_water_l"],
        settings["waste_share"],
    )
    bags = bags_for(volume.mean_l, volume.p95_l, sheet)
    load = dead_load(cover.mean_mm, cover.max_mm)
    return {
        "plane": {"a": plane.a, "b": plane.b, "c": plane.c},
        "confidence": extremes.confidence,
        "high": high_of(extremes),
        "min_cover_mm": min_cover_mm,
        "cover_mm": {"min": cover.min_mm, "mean": cover.mean_mm, "max": cover.max_mm},
        "chance_min_cover": chance,
        "volume_l": {
            "mean": volume.mean_l,
            "p95": volume.p95_l,
            "low": volume.low_l,
            "high": volume.high_l,
            "triangulated": volume.triangulated_l,
            "per_bag": sheet.yield_l,
        },
        "bags": {
            "p50": bags.p50,
            "p95": bags.p95,
            "waste": bags.waste,
            "waste_share": bags.waste_share,
        },
        "lifts": lifts(cover.max_mm, settings["max_cover_mm"]),
        "dead_load_kpa": {"mean": load.mean_kpa, "max": load.max_kpa},
        "roughness_mm": float(np.sqrt(picture.surface.nugget_mm2)),
        "materials": materials(bags, sheet, units),
        "assumptions": [*assumptions, *sheet.assumptions],
        "warnings": warnings,
        "cautions": [*load.cautions, *CAUTIONS],
    }


def materials(bags: Bags, sheet: BagSheet, units: Literal["in", "mm"]) -> list[dict[str, Any]]:
    """What to have on site for the bags at 95 %."""
    return [
        {
            "item": "compound",
            "bags": bags.p95,
            "mass_kg": bags.mass_kg,
            "text": f"{bags.p95} bags, {format_mass(bags.mass_kg, units)} in all",
        },
        {
            "item": "water",
            "volume_l": bags.water_l,
            "per_bag_l": sheet.water_l,
            "text": f"{format_volume(sheet.water_l, units, liquid=True)} a bag, "
            f"{format_volume(bags.water_l, units, liquid=True)} in all",
        },
    ]


def marker_rows(
    picture: Picture, plan: "Plan", places: Iterable[MarkerPlace]
) -> list[dict[str, Any]]:
    """Heights of the markers of a plan, as `rig markers --json` prints them.

    The doubt of a stick-out holds the roughness of the one spot where the marker stands.
    """
    places = list(places)
    x = np.array([place.x_mm for place in places])
    y = np.array([place.y_mm for place in places])
    floor, doubt = picture.surface.predict(x, y, nugget=True)
    top = Plane(plan.a, plan.b, plan.c).at(x, y)
    return [
        {
            "label": place.label,
            "x_mm": place.x_mm,
            "y_mm": place.y_mm,
            "target_reading_mm": float(-height),
            "stick_out_mm": float(height - z),
            "stick_out_stderr_mm": float(sd),
        }
        for place, height, z, sd in zip(places, top, floor, doubt, strict=True)
    ]


def _min_cover(settings: dict[str, Any], units: str, denominator: int) -> tuple[float, list[str]]:
    given = settings["min_cover_mm"]
    if given is not None:
        return float(given), []
    shown = format_length(USUAL_MIN_COVER_MM, units, denominator)
    return USUAL_MIN_COVER_MM, [
        f"At least {shown} of cover over the high point (common practice, no source: the "
        "product's sheet and the covering's maker rule; set it with --min-cover)."
    ]
