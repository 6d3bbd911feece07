"""What a plan is: finished plane, cover, volume, bags, load, what else to have on site."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from rig.errors import CannotAnswer, JobUnusable
from rig.quantities.bags import BagSheet, bags_for, sheet_of
from rig.quantities.expected import Expectation
from rig.quantities.load import DeadLoad, dead_load
from rig.quantities.materials import Material, materials_for, rules_of, rules_with
from rig.quantities.safety import Purchase, Safety, best_purchase, safety_stock, with_history
from rig.quantities.volume import Volume, volume_under, widened
from rig.record import from_json
from rig.study.findings import warnings_of
from rig.study.floor_answer import high_of
from rig.study.hidden import chance_if
from rig.study.laser_budget import (
    BudgetRow,
    Part,
    plan_budget,
    share_of,
    shared_volume_l,
    ties_over,
    with_shared,
)
from rig.study.looks import looks_between
from rig.study.picture import Picture, picture_of
from rig.study.plane import Ground, PlanWish, grind_for, ground_of, holds_of, plane_of
from rig.study.planned import (
    BagsAnswer as BagsAnswer,
)
from rig.study.planned import (
    CoverAnswer as CoverAnswer,
)
from rig.study.planned import (
    GrindAnswer as GrindAnswer,
)
from rig.study.planned import (
    GrindSpot as GrindSpot,
)
from rig.study.planned import (
    HistoryAnswer as HistoryAnswer,
)
from rig.study.planned import (
    LiftAnswer as LiftAnswer,
)
from rig.study.planned import (
    LoadAnswer as LoadAnswer,
)
from rig.study.planned import (
    PlanAnswer as PlanAnswer,
)
from rig.study.planned import (
    RoomPlan as RoomPlan,
)
from rig.study.planned import (
    SafetyAnswer as SafetyAnswer,
)
from rig.study.planned import (
    Slope as Slope,
)
from rig.study.planned import (
    StoredPlan as StoredPlan,
)
from rig.study.planned import (
    VolumeAnswer as VolumeAnswer,
)
from rig.study.room import outline_of
from rig.study.rooms import names_of
from rig.study.unknown import Unknown, unknown_of
from rig.surface.triangulation import Triangulation
from rig.survey.reading import reading_mm
from rig.target.grind import Grinding
from rig.target.level import Cover, Plane, chance_min_cover, check_cover_limits, cover_of
from rig.target.lifts import Lift, choose_lifts, shared_bags
from rig.units import Units
from rig.words import plan as words
from rig.words import say

if TYPE_CHECKING:
    from rig.job.rows import Plan
    from rig.job.settings import Settings
    from rig.job.store import Job
    from rig.room import Outline

# The backer for tile: at least 1/4 in over the high point (common practice, no source).
USUAL_MIN_COVER_MM = 6.35
ABSURD_COVER_MM = 1000.0
# A lift thinner than this at its deepest does not level itself (common practice, no source).
USUAL_LEAST_LIFT_MM = 3.0


def plan_answer(
    job: "Job",
    picture: Picture,
    wish: PlanWish | None = None,
    given: Plane | None = None,
    *,
    warned: bool = True,
) -> PlanAnswer:
    """Choose the finished plane and tell what it takes.

    Parameters
    ----------
    job : Job
        For its settings, thresholds and rules for materials.
    picture : Picture
        Of the floor, at the confidence wanted.
    wish : PlanWish, optional
        Level and free of holds unless said.
    given : Plane, optional
        A plane that was chosen already, for several rooms together.
    warned : bool
        Without it what is told of the floor alone, warnings and looks, is left out: it does not
        change while somebody moves a slider.

    Raises
    ------
    BadInput
        Wishes that fight each other, or a held height that leaves too little cover.
    CannotAnswer
        A plane so high over the floor that something is wrong with the numbers.
    """
    wish = wish or PlanWish()
    wish.check()
    settings, units = job.settings, job.units
    min_cover_mm = min_cover_of(settings)
    check_cover_limits(min_cover_mm, settings.max_cover_mm)
    share, ties_mm, plain = share_of(job, picture), ties_over(job, picture), picture
    picture = replace(picture, extremes=with_shared(picture.extremes, share, ties_mm))
    confidence = picture.extremes.confidence
    floor, sheet = ground_of(picture), sheet_of(settings)
    unknown = unknown_of(job, plain)
    warnings = warnings_of(job, picture, unknown) if warned else _why(unknown)
    holds = holds_of(job, picture, wish.holds, warnings)
    plane, factor = given, 0.0
    if plane is None:
        plane, factor = plane_of(picture, floor, wish, holds, min_cover_mm, units)
    ground, unground = None, 0.0
    if wish.grind_cost is not None:
        unground = _bags(_volume(picture, floor, plane), confidence, sheet)
        factor = max(factor, 0.0)
        ground, floor = grind_for(floor, wish, holds, min_cover_mm, factor, confidence)
        plane = ground.plane
    chance = chance_min_cover(plane, floor.draws_mm, floor.x_mm, floor.y_mm, min_cover_mm)
    if unknown is None and chance < confidence:
        warnings.append(words.cover_not_sure(len(holds), chance, confidence))
    cover = _cover(floor, plane, units)
    alone = _volume(picture, floor, plane, ground)
    at_thinnest = (cover.min_x_mm, cover.min_y_mm)
    budget = plan_budget(job, plain, share, ties_mm, at_thinnest, alone)
    volume = widened(alone, shared_volume_l(share, ties_mm, floor.area_mm2))
    safety = safety_stock(volume.mean_l, volume.sd_l, volume.area_m2, sheet, confidence)
    past = None
    if wish.history is not None:
        safety = with_history(safety, wish.history)
        past = history_answer(wish.history, safety, sheet)
        budget = replace(budget, rows=(*budget.rows, _bags_row(past, safety, sheet)))
    purchase = _purchase(safety, sheet, wish)
    buy = whole_bags(safety.need_l(confidence), sheet) if purchase is None else purchase.bags
    likely_l = volume.mean_l * (1.0 if past is None else past.factor)
    bags = bags_answer(likely_l, safety, sheet, buy)
    layers = _layers(plane, floor, settings)
    load = dead_load(cover.mean_mm, cover.max_mm, sheet.density_kg_m3)
    answer = PlanAnswer(
        plane=plane,
        confidence=confidence,
        high=high_of(picture.extremes),
        min_cover_mm=min_cover_mm,
        cover_mm=CoverAnswer(min=cover.min_mm, mean=cover.mean_mm, max=cover.max_mm),
        chance_min_cover=chance if unknown is None else None,
        chance_unknown=unknown,
        chance_if=chance_if(job, plain, plane, floor, min_cover_mm)
        if warned and not unknown
        else None,
        slope=_slope(plane),
        holds=tuple(holds),
        volume_l=volume_answer(volume, sheet, alone.triangulated_l),
        bags=bags,
        safety=safety_answer(safety, sheet),
        lifts=len(layers),
        lifts_plan=_lifts(layers, volume.mean_l, bags.p50),
        dead_load_kpa=LoadAnswer(mean=load.mean_kpa, max=load.max_kpa),
        roughness_mm=float(np.sqrt(picture.surface.nugget_mm2)),
        history=past,
        purchase=purchase,
        grind=None
        if ground is None
        else _grind_answer(ground, unground - _bags(alone, confidence, sheet), min_cover_mm),
        materials=materials_of(job, picture.outline, sheet, buy),
        assumptions=_assumptions(settings.min_cover_mm is None, sheet, load, units),
        budget=budget,
        look_between=looks_between(job, plain) if warned else (),
        warnings=tuple(warnings),
        cautions=(*load.cautions, *words.cautions()),
    )
    name = names_of(job)[0] if job.room is None else job.room.name
    return replace(answer, rooms=(room_plan(name, picture.outline, answer),))


def _why(unknown: Unknown | None) -> list[str]:
    return [] if unknown is None else [unknown.why]


def _purchase(safety: Safety, sheet: BagSheet, wish: PlanWish) -> Purchase | None:
    """Return how many bags to buy by what too few and too many cost, where that was told."""
    if wish.short_cost is None or wish.spare_cost is None:
        return None
    return best_purchase(safety, sheet, wish.short_cost, wish.spare_cost)


def room_plan(name: str, outline: "Outline", answer: PlanAnswer) -> RoomPlan:
    """Return what a plan is in its room."""
    return RoomPlan(
        name=name,
        plane=answer.plane,
        area_m2=outline.area_m2,
        cover_mm=answer.cover_mm,
        volume_l=answer.volume_l,
        bags=answer.bags,
        lifts=answer.lifts,
        lifts_plan=answer.lifts_plan,
    )


def min_cover_of(settings: "Settings") -> float:
    """Return the least compound over the high point, as usual where nobody said."""
    return USUAL_MIN_COVER_MM if settings.min_cover_mm is None else settings.min_cover_mm


def make_plan(
    job: "Job", wish: PlanWish, picture: Picture | None = None
) -> tuple[Picture, PlanAnswer]:
    """Choose a plan and keep it, with the rules for materials that it stands on.

    A picture of the floor that was made already need not be made again.

    Returns
    -------
    (Picture, PlanAnswer)
        The floor that it stands on, and the plan.
    """
    picture = picture or picture_of(job, outline_of(job), wish.confidence)
    answer = plan_answer(job, picture, wish)
    keep_plan(job, wish, answer)
    return picture, answer


def keep_plan(job: "Job", wish: PlanWish, answer: PlanAnswer) -> None:
    """Keep a plan, of the job's room where it is narrowed to one."""
    target = "level" if wish.max_slope is None else "flat"
    plane = answer.plane
    inputs = {"target": target, **wish.as_json()}
    if job.room is not None:
        inputs["room"] = job.room.number
    with job.together(say("the plan was not kept")):
        job.keep_material_rules([vars(rule) for rule in rules_of(job.units)], edited=False)
        job.save_plan(inputs, answer.as_json(), plane.a, plane.b, plane.c)


def read_plan(row: "Plan") -> StoredPlan:
    """Return a plan as the job keeps it.

    Raises
    ------
    JobUnusable
        Where it is not as floor-rig writes it.
    """
    try:
        return StoredPlan(
            row=row, wish=wish_of(row.inputs), answer=from_json(PlanAnswer, row.result)
        )
    except (ValueError, TypeError) as error:
        raise JobUnusable(
            say(
                "The job's plan {id} is not as floor-rig writes it; make another: rig plan",
                id=row.id,
            )
        ) from error


def stored_plan(job: "Job") -> StoredPlan | None:
    """Return the job's last plan, or None where there is none yet; see `read_plan`."""
    row = job.current_plan()
    return None if row is None else read_plan(row)


def grind_first(answer: PlanAnswer) -> list[str]:
    """Say what must be ground before a plan holds; once it is shot again the plan is another."""
    return [words.grind_first(len(answer.spots))] if answer.spots else []


def history_answer(past: Expectation, safety: Safety, sheet: BagSheet) -> HistoryAnswer:
    """Return what the past does to the bags of a budget that it is in."""
    bags = safety.mean_l / sheet.yield_l
    return HistoryAnswer(
        factor=past.factor.p50,
        crew=past.crew,
        product=past.product,
        jobs=past.jobs,
        crew_bags=bags * past.doubt.crew,
        product_bags=bags * past.doubt.product,
    )


def _bags_row(past: HistoryAnswer, safety: Safety, sheet: BagSheet) -> BudgetRow:
    sd = safety.sd_l / sheet.yield_l
    rest = max(sd**2 - past.crew_bags**2 - past.product_bags**2, 0.0) ** 0.5
    return BudgetRow(
        quantity=words.bags_needed(),
        unit=words.in_bags(),
        parts=(
            Part(source=words.floor_and_mixing(), stderr=rest),
            Part(source=words.this_crew(), stderr=past.crew_bags),
            Part(source=words.this_product(), stderr=past.product_bags),
        ),
        stderr=sd,
    )


def wish_of(inputs: Mapping[str, Any]) -> PlanWish:
    """Return what a plan was asked, as the job keeps it."""
    known = {name: value for name, value in inputs.items() if name not in ("target", "room")}
    holds = tuple(one if isinstance(one, str) else tuple(one) for one in known.pop("holds", ()))
    past = known.pop("history", None)
    history = None if past is None else from_json(Expectation, past)
    return PlanWish(**known, holds=holds, history=history)


def _cover(floor: Ground, plane: Plane, units: Units) -> Cover:
    cover = cover_of(plane, floor.x_mm, floor.y_mm, floor.floor_mm, floor.area_mm2)
    if cover.max_mm > ABSURD_COVER_MM:
        raise CannotAnswer(
            say(
                "The plane would lie {max} over the floor somewhere, which nobody pours. Check "
                "the unit of the readings and of their places (rig export shows both), and the "
                "sign and unit of a held height.",
                max=units.length(cover.max_mm),
            )
        )
    return cover


def least_lift_mm(settings: "Settings") -> float:
    """Return the thinnest that a lift may be at its deepest, by the compound's sheet."""
    compound = settings.compound
    least = None if compound is None else compound.min_cover_mm
    return USUAL_LEAST_LIFT_MM if least is None else least


def _layers(plane: Plane, floor: Ground, settings: "Settings") -> tuple[Lift, ...]:
    return choose_lifts(
        plane,
        floor.x_mm,
        floor.y_mm,
        floor.floor_mm,
        floor.area_mm2,
        settings.max_cover_mm,
        least_lift_mm(settings),
    )


def _lifts(layers: Sequence[Lift], mean_l: float, bags: int) -> tuple[LiftAnswer, ...]:
    whole = sum(one.volume_mm3 for one in layers)
    volumes = [mean_l * one.volume_mm3 / whole for one in layers] if whole else [mean_l]
    return tuple(
        LiftAnswer(
            lift=n,
            a=one.top.a,
            b=one.top.b,
            c=one.top.c,
            volume_l=volume,
            bags=share,
            min_mm=one.min_mm,
            max_mm=one.max_mm,
            area_m2=one.area_mm2 * 1e-6,
        )
        for n, (one, volume, share) in enumerate(
            zip(layers, volumes, shared_bags(bags, volumes), strict=True), 1
        )
    )


def _slope(plane: Plane) -> Slope:
    falls = float(np.degrees(np.arctan2(-plane.c, -plane.b)) % 360.0)
    return Slope(
        ratio=float(np.hypot(plane.b, plane.c)),
        falls_to_deg=falls if plane.b or plane.c else None,
    )


def _volume(
    picture: Picture, floor: Ground, plane: Plane, ground: Grinding | None = None
) -> Volume:
    """Volume under a plane; what flat triangles between the shots give only where unground."""
    x, y, area = floor.x_mm, floor.y_mm, floor.area_mm2
    if ground is None:
        heights = picture.heights
        flat = Triangulation().fit(heights.x_mm, heights.y_mm, heights.z_mm)
        return volume_under(plane, picture.surface, x, y, area, flat)
    before, _ = picture.surface.predict(x, y, quick=True)
    taken_mm3 = float(area @ (before - floor.floor_mm))
    return volume_under(plane, picture.surface, x, y, area, taken_mm3=taken_mm3)


def volume_answer(
    volume: Volume, sheet: BagSheet, triangulated_l: float | None = None
) -> VolumeAnswer:
    """Return a volume, and what a bag makes."""
    return VolumeAnswer(
        mean=volume.mean_l,
        p95=volume.p95_l,
        low=volume.low_l,
        high=volume.high_l,
        triangulated=triangulated_l,
        per_bag=sheet.yield_l,
    )


def _bags(volume: Volume, confidence: float, sheet: BagSheet) -> float:
    """Bags, not whole, that are enough with a confidence."""
    safety = safety_stock(volume.mean_l, volume.sd_l, volume.area_m2, sheet)
    return safety.need_l(confidence) / sheet.yield_l


def bags_answer(mean_l: float, safety: Safety, sheet: BagSheet, buy: int) -> BagsAnswer:
    """Return the bags that a volume in place takes, and those to buy."""
    # As a volume in place whose waste is still to come, which is how bags are counted.
    in_place95_l = safety.need_l(0.95) / (1.0 + sheet.waste_share)
    bags = bags_for(mean_l, max(in_place95_l, mean_l), sheet)
    return BagsAnswer(
        p50=bags.p50, p95=bags.p95, waste=bags.waste, waste_share=bags.waste_share, buy=buy
    )


def safety_answer(safety: Safety, sheet: BagSheet) -> SafetyAnswer:
    """Return the safety stock, in bags too."""
    return SafetyAnswer(
        confidence=safety.confidence,
        stock_l=safety.stock_l,
        bags=safety.stock_l / sheet.yield_l,
        shares=safety.shares,
    )


def whole_bags(need_l: float, sheet: BagSheet) -> int:
    """Return the whole bags that a need takes."""
    return int(np.ceil(need_l / sheet.yield_l - 1e-9))


def _grind_answer(ground: Grinding, saves_bags: float, min_cover_mm: float) -> GrindAnswer:
    return GrindAnswer(
        spots=tuple(
            GrindSpot(
                x_mm=spot.x_mm,
                y_mm=spot.y_mm,
                depth_mm=spot.depth_mm,
                area_m2=spot.area_m2,
                volume_l=spot.volume_l,
                until_reading_mm=reading_mm(float(ground.plane.at(spot.x_mm, spot.y_mm)))
                + min_cover_mm,
            )
            for spot in ground.spots
        ),
        volume_l=ground.volume_l,
        saves_bags=saves_bags,
    )


def _compound(buy: int, sheet: BagSheet, units: Units) -> Material:
    mass_kg = buy * sheet.mass_kg
    return Material(
        item=say("compound"),
        amount=float(buy),
        unit="bag",
        bags=buy,
        mass_kg=mass_kg,
        water_per_bag_l=sheet.water_l,
        text=words.compound(buy, mass_kg, units),
        source=sheet.source,
    )


def materials_of(job: "Job", outline: "Outline", sheet: BagSheet, buy: int) -> tuple[Material, ...]:
    """Return what to have on site, the compound first."""
    units = job.units
    rules = rules_with(job.material_rules(), units)
    return (
        _compound(buy, sheet, units),
        *materials_for(outline, buy, sheet, rules, units, job.settings.floor),
    )


def _assumptions(
    usual_cover: bool, sheet: BagSheet, load: DeadLoad, units: Units
) -> tuple[str, ...]:
    cover = [words.usual_min_cover(USUAL_MIN_COVER_MM, units)] if usual_cover else []
    return (*cover, *sheet.assumptions, words.wet_load(load.density_kg_m3, sheet.source, units))
