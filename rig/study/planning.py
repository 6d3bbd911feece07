"""From the running picture to a plan: finished plane, cover, volume, bags, load, marker heights."""

from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from rig.errors import BadInput, CannotAnswer
from rig.guidance.layout import MarkerPlace
from rig.quantities.bags import BagSheet, bags_for, sheet_of
from rig.quantities.load import dead_load
from rig.quantities.materials import materials_for, rules_with
from rig.quantities.safety import Safety, best_purchase, safety_stock
from rig.quantities.volume import Volume, volume_under, widened
from rig.room import contains, where
from rig.study.laser_share import plan_budget, share_of, shared_volume_l, ties_over, with_shared
from rig.study.lasers import shots_of
from rig.study.picture import Picture, high_of, warnings_of
from rig.surface.triangulation import Triangulation
from rig.survey.heights import heights_of
from rig.target.grind import Grinding, cheapest_plane
from rig.target.level import (
    Floats,
    Plane,
    chance_min_cover,
    check_cover_limits,
    cover_of,
    hold_level,
    level_plane,
    lifts,
)
from rig.target.lowest import Wishes
from rig.target.programme import Hold
from rig.target.sloped import choose_plane
from rig.units import Units, counted, format_chance, format_density, format_length, format_mass

if TYPE_CHECKING:
    from rig.job.rows import Plan
    from rig.job.settings import Settings
    from rig.job.store import Job

# The backer for tile: at least 1/4 in over the high point (common practice, no source).
USUAL_MIN_COVER_MM = 6.35
ABSURD_COVER_MM = 1000.0

CAUTIONS = (
    "Dry compound and ground concrete give off silica dust: mask and extraction, as the product's "
    "data sheet and local rules ask.",
    "Wet compound is caustic: gloves and eye protection; keep mixers and cables out of the wet.",
    "Old flooring and glue may hold asbestos: have them tested before grinding or scraping.",
)


@dataclass(frozen=True)
class Wanted:
    """What the installer asks of the plane, beside the covers that the job keeps.

    `max_slope` None is level. `holds` are heights (x, y, z; mm, relative to the line of set-up 1)
    or names of thresholds. Costs are money a litre; `short_cost` and `spare_cost` money a bag.
    """

    max_slope: float | None = None
    holds: tuple[tuple[float, float, float] | str, ...] = ()
    grind_cost: float | None = None
    fill_cost: float | None = None
    short_cost: float | None = None
    spare_cost: float | None = None

    def as_inputs(self, confidence: float) -> dict[str, Any]:
        """As the job keeps a plan's inputs."""
        target = "level" if self.max_slope is None else "flat"
        return {"target": target, **asdict(self), "confidence": confidence}


@dataclass(frozen=True, eq=False)
class _Floor:
    """The floor as planes are weighed over it: cells, best estimate, draws of highest spots."""

    x_mm: Floats
    y_mm: Floats
    area_mm2: Floats
    floor_mm: Floats
    draws_mm: Any


def plan_result(job: "Job", picture: Picture, wanted: Wanted | None = None) -> dict[str, Any]:
    """Choose the finished plane and tell what it takes, as `rig plan --json` prints it.

    Parameters
    ----------
    job : Job
        For its settings, thresholds and rules for materials.
    picture : Picture
        Of the floor, at the confidence wanted.
    wanted : Wanted, optional
        Level and free of holds unless said.

    Raises
    ------
    BadInput
        Wishes that fight each other, or a held height that leaves too little cover.
    CannotAnswer
        A plane so high over the floor that something is wrong with the numbers.
    """
    wanted = wanted or Wanted()
    settings = job.settings
    units, denominator = settings.units, settings.denominator
    min_cover_mm, assumptions = _min_cover(settings, units, denominator)
    check_cover_limits(min_cover_mm, settings.max_cover_mm)
    share, ties_mm, plain = share_of(job, picture), ties_over(job, picture), picture
    picture = replace(picture, extremes=with_shared(picture.extremes, share, ties_mm))
    extremes, cells = picture.extremes, picture.cells
    area = cells.share * cells.step_mm**2
    mean, _ = picture.surface.predict(cells.x_mm, cells.y_mm, quick=True)
    floor = _Floor(cells.x_mm, cells.y_mm, area, mean, extremes.highest_mm)
    warnings = warnings_of(job, picture)
    holds = holds_of(job, picture, wanted.holds, warnings)

    plane, factor = _plane(picture, floor, wanted, holds, min_cover_mm, settings)
    sheet = sheet_of(settings)
    ground = None
    if wanted.grind_cost is not None or wanted.fill_cost is not None:
        unground = _bags95(_volume(picture, floor, plane)[0], picture, sheet)
        ground, floor = _grind(
            floor, wanted, holds, min_cover_mm, max(factor, 0.0), extremes.confidence
        )
        plane = ground.plane
    chance = chance_min_cover(plane, floor.draws_mm, floor.x_mm, floor.y_mm, min_cover_mm)
    if chance < extremes.confidence:
        held = {0: "This plane keeps", 1: "The held height keeps"}.get(
            len(holds), "The held heights keep"
        )
        warnings.append(
            f"{held} the minimum cover with only {format_chance(chance)} probability, "
            f"not {extremes.confidence:.0%}."
        )
    cover = cover_of(plane, floor.x_mm, floor.y_mm, floor.floor_mm, area)
    if cover.max_mm > ABSURD_COVER_MM:
        raise CannotAnswer(
            f"The plane would lie {format_length(cover.max_mm, units, denominator)} over the floor "
            "somewhere, which nobody pours. Check the unit of the readings and of their places "
            "(rig export shows both), and the sign and unit of a held height."
        )
    volume, flat_l = _volume(picture, floor, plane, ground)
    budget = plan_budget(job, plain, share, ties_mm, (cover.min_x_mm, cover.min_y_mm), volume)
    shots_alone = volume
    volume = widened(volume, shared_volume_l(share, ties_mm, area))
    safety = safety_stock(volume.mean_l, volume.sd_l, volume.area_m2, sheet, extremes.confidence)
    # As a volume in place whose waste is still to come, which is how bags are counted.
    in_place95_l = safety.need_l(0.95) / (1.0 + sheet.waste_share)
    bags = bags_for(volume.mean_l, max(in_place95_l, volume.mean_l), sheet)
    buy = _whole_bags(safety.need_l(extremes.confidence), sheet)
    load = dead_load(cover.mean_mm, cover.max_mm, sheet.density_kg_m3)
    rules = rules_with(job.material_rules(), units)
    result: dict[str, Any] = {
        "plane": {"a": plane.a, "b": plane.b, "c": plane.c},
        "confidence": extremes.confidence,
        "high": high_of(extremes),
        "min_cover_mm": min_cover_mm,
        "cover_mm": {"min": cover.min_mm, "mean": cover.mean_mm, "max": cover.max_mm},
        "chance_min_cover": chance,
        "slope": {
            "ratio": float(np.hypot(plane.b, plane.c)),
            "falls_to_deg": float(np.degrees(np.arctan2(-plane.c, -plane.b)) % 360.0)
            if plane.b or plane.c
            else None,
        },
        "holds": [asdict(hold) for hold in holds],
        "volume_l": {
            "mean": volume.mean_l,
            "p95": volume.p95_l,
            "low": volume.low_l,
            "high": volume.high_l,
            "triangulated": flat_l,
            "per_bag": sheet.yield_l,
        },
        "bags": {
            "p50": bags.p50,
            "p95": bags.p95,
            "waste": bags.waste,
            "waste_share": bags.waste_share,
            "buy": buy,
        },
        "safety": {
            "confidence": safety.confidence,
            "stock_l": safety.stock_l,
            "bags": safety.stock_l / sheet.yield_l,
            "shares": safety.shares,
        },
        "lifts": lifts(cover.max_mm, settings.max_cover_mm),
        "dead_load_kpa": {"mean": load.mean_kpa, "max": load.max_kpa},
        "roughness_mm": float(np.sqrt(picture.surface.nugget_mm2)),
    }
    if wanted.short_cost is not None or wanted.spare_cost is not None:
        result["purchase"] = _purchase(safety, sheet, wanted)
        buy = result["bags"]["buy"] = result["purchase"]["bags"]
    if ground is not None:
        saved_bags = unground - _bags95(shots_alone, picture, sheet)
        result["grind"] = _grind_result(ground, saved_bags, plane, min_cover_mm)
    compound = {
        "item": "compound",
        "amount": float(buy),
        "unit": "bag",
        "bags": buy,
        "mass_kg": buy * sheet.mass_kg,
        "water_per_bag_l": sheet.water_l,
        "text": f"{counted(buy, 'bag')}, {format_mass(buy * sheet.mass_kg, units)} in all",
        "source": sheet.source,
    }
    others = materials_for(picture.outline, buy, sheet, rules, units)
    result["materials"] = [compound, *(material.as_dict() for material in others)]
    weighed = (
        f"The dead load is that of compound as poured, {format_density(load.density_kg_m3, units)} "
        f"by the bag ({sheet.source}); cured it weighs less."
    )
    result["assumptions"] = [*assumptions, *sheet.assumptions, weighed]
    result["budget"] = budget
    result["warnings"] = warnings
    result["cautions"] = [*load.cautions, *CAUTIONS]
    return result


def holds_of(
    job: "Job",
    picture: Picture,
    holds: Sequence[tuple[float, float, float] | str],
    warnings: list[str],
) -> list[Hold]:
    """Heights that the plane is held at; a name is that of a threshold that was shot.

    Raises
    ------
    BadInput
        A name that no threshold has.
    """
    settings = job.settings
    found = []
    thresholds = None
    for hold in holds:
        if isinstance(hold, str):
            thresholds = thresholds or heights_of(shots_of(job), "threshold", job.setups())
            if hold not in thresholds.labels:
                known = ", ".join(thresholds.labels) or "none yet"
                raise BadInput(
                    f"There is no threshold {hold!r} (shot: {known}). Shoot it with rig survey "
                    f"--kind threshold --label {hold} --at X,Y, or give --hold X,Y,HEIGHT."
                )
            n = thresholds.labels.index(hold)
            found.append(
                Hold(
                    float(thresholds.x_mm[n]),
                    float(thresholds.y_mm[n]),
                    float(thresholds.z_mm[n]),
                    f"threshold {hold}",
                )
            )
            continue
        x_mm, y_mm, height_mm = hold
        if not contains(picture.outline, np.array([x_mm]), np.array([y_mm]))[0]:
            warnings.append("The held place lies outside the floor; its height is taken as said.")
        shown = format_length(height_mm, settings.units, settings.denominator)
        found.append(Hold(x_mm, y_mm, height_mm, f"the held height {shown}"))
    return found


def _plane(
    picture: Picture,
    floor: _Floor,
    wanted: Wanted,
    holds: list[Hold],
    min_cover_mm: float,
    settings: "Settings",
) -> tuple[Plane, float]:
    """The plane before any grinding, and the factor of the floor's bound that it keeps."""
    extremes, units = picture.extremes, Units(settings.units, settings.denominator)

    def say_place(x: float, y: float) -> str:
        return where(picture.outline, x, y, units)

    grinds = wanted.grind_cost is not None
    if wanted.max_slope is None and not holds:
        plane = level_plane(extremes.highest_mm, min_cover_mm, extremes.confidence)
        return plane, _factor_of(floor, plane, min_cover_mm)
    if wanted.max_slope is None and len(holds) == 1 and not grinds:
        # Beyond the outermost shots a best estimate is a guess: its chance is told, not refused.
        heights = picture.heights
        shots = Triangulation().fit(heights.x_mm, heights.y_mm, heights.z_mm)
        known = shots.inside(floor.x_mm, floor.y_mm)
        plane = hold_level(
            holds[0].height_mm,
            floor.x_mm[known],
            floor.y_mm[known],
            floor.floor_mm[known],
            min_cover_mm,
            units,
            say_place,
        )
        return plane, 0.0
    free = holds if not grinds else []
    chosen = choose_plane(
        Wishes(
            floor.x_mm,
            floor.y_mm,
            floor.area_mm2,
            floor.floor_mm,
            floor.draws_mm,
            min_cover_mm,
            wanted.max_slope or 0.0,
            free,
        ),
        extremes.confidence,
        say_place,
        units,
    )
    return chosen.plane, _factor_of(floor, chosen.plane, min_cover_mm)


def _factor_of(floor: _Floor, plane: Plane, min_cover_mm: float) -> float:
    """Return k for which mean + k·sd of the floor's highest spots just reaches under a plane."""
    spread = np.sqrt(np.mean((floor.draws_mm - floor.floor_mm) ** 2, axis=0))
    room = plane.at(floor.x_mm, floor.y_mm) - min_cover_mm - floor.floor_mm
    return float(np.min(room / np.maximum(spread, 1e-6)))


def _grind(
    floor: _Floor,
    wanted: Wanted,
    holds: list[Hold],
    min_cover_mm: float,
    factor: float,
    confidence: float,
) -> tuple[Grinding, _Floor]:
    """Cheapest plane with grinding, and the floor ground for it.

    What stands near the plane but is not ground must not stand over it: the bound's factor is the
    least for which the minimum cover is kept everywhere with the confidence.
    """
    if wanted.grind_cost is None or wanted.fill_cost is None:
        raise BadInput("--grind and --fill go together: what grinding and filling a litre cost.")
    grind_cost, fill_cost = wanted.grind_cost, wanted.fill_cost
    spread = np.sqrt(np.mean((floor.draws_mm - floor.floor_mm) ** 2, axis=0))

    def at(k: float) -> tuple[Grinding, _Floor, bool]:
        ground = cheapest_plane(
            floor.x_mm,
            floor.y_mm,
            floor.area_mm2,
            floor.floor_mm,
            floor.floor_mm + k * spread,
            min_cover_mm,
            grind_cost,
            fill_cost,
            wanted.max_slope or 0.0,
            holds,
        )
        after = _ground_floor(floor, ground, min_cover_mm)
        chance = chance_min_cover(
            ground.plane, after.draws_mm, after.x_mm, after.y_mm, min_cover_mm
        )
        return ground, after, chance >= confidence

    best = at(factor)
    if best[2]:
        return best[:2]
    low, high = factor, factor + 4.0
    best = at(high)
    for _ in range(7):
        middle = 0.5 * (low + high)
        tried = at(middle)
        low, high = (low, middle) if tried[2] else (middle, high)
        best = tried if tried[2] else best
    return best[:2]


def _ground_floor(floor: _Floor, ground: Grinding, min_cover_mm: float) -> _Floor:
    """The floor once it is ground: the rod has seen to it that no ground cell is too high."""
    most = ground.plane.at(floor.x_mm, floor.y_mm) - min_cover_mm
    cut = ground.depth_mm > 0
    mean = np.where(cut, np.minimum(floor.floor_mm, most), floor.floor_mm)
    draws = floor.draws_mm.copy()
    # Draws are single floats: a hair lower, so that rounding never lifts one over the limit.
    draws[:, cut] = np.minimum(draws[:, cut], (most[cut] - 1e-3).astype(draws.dtype))
    return _Floor(floor.x_mm, floor.y_mm, floor.area_mm2, mean, draws)


def _volume(
    picture: Picture, floor: _Floor, plane: Plane, ground: Grinding | None = None
) -> tuple[Volume, float | None]:
    """Volume under a plane, and what flat triangles between the shots give (unground only)."""
    if ground is None:
        heights = picture.heights
        flat = Triangulation().fit(heights.x_mm, heights.y_mm, heights.z_mm)
        volume = volume_under(plane, picture.surface, floor.x_mm, floor.y_mm, floor.area_mm2, flat)
        return volume, volume.triangulated_l
    before, _ = picture.surface.predict(floor.x_mm, floor.y_mm, quick=True)
    taken_mm3 = float(floor.area_mm2 @ (before - floor.floor_mm))
    return (
        volume_under(
            plane, picture.surface, floor.x_mm, floor.y_mm, floor.area_mm2, taken_mm3=taken_mm3
        ),
        None,
    )


def _bags95(volume: Volume, picture: Picture, sheet: BagSheet) -> float:
    """Bags, not whole, that are enough with the picture's confidence."""
    safety = safety_stock(volume.mean_l, volume.sd_l, volume.area_m2, sheet)
    return safety.need_l(picture.extremes.confidence) / sheet.yield_l


def _grind_result(
    ground: Grinding, saved_bags: float, plane: Plane, min_cover_mm: float
) -> dict[str, Any]:
    """Spots with what a rod must read there, under the line of set-up 1, once they are ground."""
    return {
        "spots": [
            asdict(spot)
            | {"until_reading_mm": min_cover_mm - float(plane.at(spot.x_mm, spot.y_mm))}
            for spot in ground.spots
        ],
        "volume_l": ground.volume_l,
        "saves_bags": saved_bags,
    }


def _purchase(safety: Safety, sheet: BagSheet, wanted: Wanted) -> dict[str, Any]:
    if wanted.short_cost is None or wanted.spare_cost is None:
        raise BadInput("--short-cost and --spare-cost go together, each the price of one bag.")
    return asdict(best_purchase(safety, sheet, wanted.short_cost, wanted.spare_cost))


def _whole_bags(need_l: float, sheet: BagSheet) -> int:
    return int(np.ceil(need_l / sheet.yield_l - 1e-9))


def grind_first(plan: "Plan") -> list[str]:
    """Say what must be ground before a plan holds; once it is shot again the plan is another."""
    spots = plan.result.get("grind", {}).get("spots", [])
    if not spots:
        return []
    return [
        f"This plan holds only after {counted(len(spots), 'high spot')} "
        f"{'is' if len(spots) == 1 else 'are'} ground down and shot again: rig plan says where."
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


def _min_cover(settings: "Settings", units: str, denominator: int) -> tuple[float, list[str]]:
    given = settings.min_cover_mm
    if given is not None:
        return float(given), []
    shown = format_length(USUAL_MIN_COVER_MM, units, denominator)
    return USUAL_MIN_COVER_MM, [
        f"At least {shown} of cover over the high point (common practice, no source: the "
        "product's sheet and the covering's maker rule; set it with --min-cover)."
    ]
