"""From a job's shots to the least work that passes a rule, beside doing nothing and pouring."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from rig.errors import BadInput, CannotAnswer
from rig.flatness import patches
from rig.flatness.field import longest_line
from rig.flatness.measures.straightedge import Straightedge
from rig.flatness.model import Model
from rig.flatness.rule import Rule
from rig.flatness.straightedge import worst_placement
from rig.quantities.bags import bags_for, sheet_of
from rig.room import Outline, where
from rig.study.judged import own_heights, surface_model
from rig.study.picture import none_inside, outside_warnings, picture_of
from rig.study.planning import CAUTIONS, plan_result
from rig.units import counted, format_area, format_chance, format_mass, format_slope

if TYPE_CHECKING:
    from rig.job.store import Job

CONFIDENT_SHARE = 0.95
MOST_NODES = 800  # of the patches' lattice: about 5 to 8 in, a trowel's width
SLIVER_MM2 = 1000.0  # less than the corner of a trowel
GRIND_CAUTION = (
    "Grinding concrete sets free silica dust, and old glue under it may hold asbestos: have it "
    "tested first; a structural topping is not ground without its engineer's word."
)


def patch_result(
    job: Job,
    outline: Outline,
    rule: Rule,
    confidence: float,
    fill_cost: float | None = None,
    grind_cost: float | None = None,
) -> dict[str, Any]:
    """Choose the least work that passes a rule, as `rig plan --patch --json` prints it.

    Volume and bags are the patches'; `comparison` sets them against doing nothing, grinding as
    well, and pouring the whole room.

    Raises
    ------
    BadInput
        For a rule that is none of straightedges, or a grinding price without a filling price.
    CannotAnswer
        Too few shots, or no patch does it.
    """
    if not isinstance(rule, Straightedge):
        raise BadInput(
            f"Rule {rule.key} is no straightedge rule; patches are found for those: rig rules."
        )
    if grind_cost is not None and fill_cost is None:
        raise BadInput("--grind needs --fill beside it: the price of compound a litre.")
    for name, price in (("--grind", grind_cost), ("--fill", fill_cost)):
        if price is not None and not (np.isfinite(price) and price > 0):
            raise BadInput(f"{name} must be a price a litre above 0, not {price:g}.")
    settings = job.settings
    sheet = sheet_of(settings)
    heights = own_heights(job, outline, "floor")
    if len(heights.labels) == 0:
        raise CannotAnswer(none_inside(job, "floor"))
    model = surface_model(outline, heights, MOST_NODES)
    nothing = rule.judge(outline, model, confidence, units=job.units)
    longest = longest_line(outline)
    edges = rule.edges(longest)
    if rule.between == "line":
        # Spans that the shots say nothing of need no patch from them.
        edges = [e for e in edges if e.length_mm >= 2 * model.spacing_mm] or edges[-1:]

    ways = [
        {
            "way": "nothing",
            "fill_l": 0.0,
            "grind_l": 0.0,
            "bags": {"p50": 0, "p95": 0},
            "cost": 0.0 if fill_cost is not None else None,
            "chance": nothing.chance,
            "gap_mm": nothing.worst.gap_mm if nothing.worst else 0.0,
        }
    ]
    done: dict[str, tuple[patches.Work, float]] = {}
    warnings = [*nothing.warnings, *outside_warnings(job, outline, "floor")]
    for way, price in (("patch", None), ("grind and patch", grind_cost)):
        if way != "patch" and price is None:
            continue
        try:
            done[way] = patches.tightened(
                model.draws,
                model.coarse,
                outline,
                edges,
                confidence,
                longest,
                fill_cost=fill_cost or 1.0,
                grind_cost=price,
                start=done["patch"][0].less if "patch" in done else 0.0,
            )
        except CannotAnswer as error:
            warnings.append(f"{way}: {error}")
            continue
        ways.append(_way(way, *done[way], model, outline, rule, fill_cost, price, sheet))
    if not done:
        raise CannotAnswer(warnings[-1])
    pour = plan_result(job, picture_of(job, outline, confidence))
    ways.append(
        {
            "way": "pour",
            "fill_l": pour["volume_l"]["mean"],
            "grind_l": 0.0,
            "bags": {key: pour["bags"][key] for key in ("p50", "p95")},
            "cost": None if fill_cost is None else fill_cost * pour["volume_l"]["mean"],
            "chance": None,
            "gap_mm": None,
        }
    )
    chosen = min(done, key=lambda way: (done[way][1] < confidence, done[way][0].cost))
    work, chance = done[chosen]
    if chance < confidence:
        warnings.append(
            f"The work passes with {format_chance(chance)} probability, not {confidence:.0%}: "
            "with these shots more work cannot make it surer. Shoot closer, then plan again."
        )
    if nothing.word == "in":
        warnings.append("The floor passes as it is: nothing needs to be poured for this rule.")
    mean_l, p95_l = _volumes(work, model)
    bags = bags_for(mean_l, p95_l, sheet)
    pieces = patches.patches_of(work, model.coarse)
    units = settings.units
    placed = [told for piece in pieces if (told := _patch(piece, model, outline, units))]
    area_m2 = float(np.sum(work.area_mm2[work.fill_mm > patches.LEAST_DEPTH_MM])) * 1e-6
    return {
        "plane": None,
        "rule": rule.key,
        "way": chosen,
        "confidence": confidence,
        "chance": chance,
        "cover_mm": {
            "min": 0.0,
            "mean": mean_l / outline.area_m2,
            "max": float(work.fill_mm.max()),
        },
        "chance_min_cover": None,
        "volume_l": {"mean": mean_l, "p95": p95_l, "per_bag": sheet.yield_l},
        "bound_l": work.bound / (fill_cost or 1.0) if grind_cost is None else None,
        "cost": work.cost if fill_cost is not None else None,
        "cost_bound": work.bound if fill_cost is not None else None,
        "grind_l": work.grind_l,
        "area_m2": area_m2,
        "bags": {
            "p50": bags.p50,
            "p95": bags.p95,
            "waste": bags.waste,
            "waste_share": bags.waste_share,
        },
        "lifts": 1 if bags.p95 else 0,
        "materials": [
            {
                "item": "compound",
                "amount": float(bags.p95),
                "unit": "bag",
                "bags": bags.p95,
                "mass_kg": bags.mass_kg,
                "text": f"{counted(bags.p95, 'bag')}, {format_mass(bags.mass_kg, units)} in all",
                "source": sheet.source,
            }
        ],
        "patches": placed,
        "depths": _depths(work, model),
        "comparison": ways,
        "assumptions": [
            *sheet.assumptions,
            "Patches are feathered out by at most "
            f"{format_slope(patches.FEATHER_MM_PER_M / 1000.0, units)}, and none is smaller than "
            f"{format_area(patches.LEAST_PATCH_M2, units)} where the rule holds without it (common "
            "practice, no source). The product's sheet says how thin it may be drawn.",
        ],
        "warnings": warnings,
        "cautions": [*CAUTIONS, *([GRIND_CAUTION] if work.grind_l > 0 else [])],
    }


def _way(
    way: str,
    work: patches.Work,
    chance: float,
    model: Model,
    outline: Outline,
    rule: Straightedge,
    fill_cost: float | None,
    grind_cost: float | None,
    sheet: Any,
) -> dict[str, Any]:
    mean_l, p95_l = _volumes(work, model)
    bags = bags_for(mean_l, p95_l, sheet)
    after = replace(model.coarse, z_mm=model.coarse.z_mm + work.fill_mm - work.grind_mm)
    longest = longest_line(outline)
    worst = worst_placement(after, outline, rule.edges(longest), 60, longest)
    cost = None
    if fill_cost is not None:
        cost = fill_cost * work.fill_l + (grind_cost or 0.0) * work.grind_l
    return {
        "way": way,
        "fill_l": work.fill_l,
        "grind_l": work.grind_l,
        "bags": {"p50": bags.p50, "p95": bags.p95},
        "cost": cost,
        "chance": chance,
        "gap_mm": worst.gap_mm if worst else 0.0,
    }


def _volumes(work: patches.Work, model: Model) -> tuple[float, float]:
    """Mean and 95th percentile of what the patches take up to their surface, in litres.

    The surface is that of the best estimate and the fill on it; the floor under it is in doubt.
    """
    here = work.fill_mm > patches.LEAST_DEPTH_MM
    if not here.any():
        return 0.0, 0.0
    off = model.coarse.z_mm[here][:, None] - model.draws.z_mm[here]
    depth = np.maximum(work.fill_mm[here][:, None] + off, 0.0)
    litres = work.area_mm2[here] @ depth * 1e-6
    mean_l = max(float(np.mean(litres)), work.fill_l)
    return mean_l, max(mean_l, float(np.quantile(litres, CONFIDENT_SHARE)))


def _patch(
    piece: patches.Patch, model: Model, outline: Outline, units: str
) -> dict[str, Any] | None:
    """Where a patch is and what it takes; None for what is left of one beyond the wall."""
    field = model.coarse
    rows, columns = np.divmod(piece.nodes, field.z_mm.shape[1])
    x = field.x0_mm + field.step_mm * columns
    y = field.y0_mm + field.step_mm * rows
    half = field.step_mm / 2 + 0.5  # a hair more, so that neighbours join whatever their rounding
    cells = shapely.box(x - half, y - half, x + half, y + half)
    shape = shapely.intersection(shapely.union_all(cells), outline.polygon)
    largest = max(shapely.get_parts(shape), key=shapely.area)
    if largest.area < SLIVER_MM2:
        return None
    rim = largest.exterior.simplify(1.0)
    middle = shapely.Point(piece.x_mm, piece.y_mm)
    if not outline.polygon.covers(middle):  # work along a wall, or round an opening
        middle = shapely.point_on_surface(largest)
    return {
        "x_mm": middle.x,
        "y_mm": middle.y,
        "where": where(outline, middle.x, middle.y, units),
        "area_m2": piece.area_m2,
        "fill_l": piece.fill_l,
        "grind_l": piece.grind_l,
        "deepest_mm": piece.deepest_mm,
        "outline": [[float(a), float(b)] for a, b in rim.coords],
    }


def _depths(work: patches.Work, model: Model) -> list[dict[str, float]]:
    field = model.coarse
    found = np.argwhere(work.fill_mm + work.grind_mm > patches.LEAST_DEPTH_MM)
    return [
        {
            "x_mm": field.x0_mm + field.step_mm * int(i),
            "y_mm": field.y0_mm + field.step_mm * int(j),
            "fill_mm": float(work.fill_mm[j, i]),
            "grind_mm": float(work.grind_mm[j, i]),
        }
        for j, i in found
    ]
