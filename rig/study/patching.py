"""From a job's shots to the least work that passes a rule, beside doing nothing and pouring."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

import numpy as np
import shapely

from rig.errors import BadInput, CannotAnswer
from rig.flatness import patches
from rig.flatness.field import longest_line
from rig.flatness.measures.straightedge import Straightedge
from rig.flatness.model import Model
from rig.flatness.rule import Edge, Rule
from rig.flatness.straightedge import worst_placement
from rig.language import put
from rig.quantities.bags import BagSheet, bags_for, sheet_of
from rig.record import Record
from rig.room import Outline, where
from rig.study.findings import outside_warnings
from rig.study.judged import own_heights, surface_model
from rig.study.picture import none_inside, picture_of
from rig.study.plan_answer import plan_answer
from rig.study.proof_answer import Depth
from rig.units import Units
from rig.words import numeral, say
from rig.words import patch as words
from rig.words.plan import cautions

if TYPE_CHECKING:
    from rig.job.store import Job

Way = Literal["nothing", "patch", "grind and patch", "pour"]

CONFIDENT_SHARE = 0.95
MOST_NODES = 800  # of the patches' lattice: about 5 to 8 in, a trowel's width
SLIVER_MM2 = 1000.0  # less than the corner of a trowel
_WAY_BEARINGS = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class PatchVolume(Record):
    """Compound in the patches, in litres without waste, and what a bag makes."""

    mean: float
    p95: float
    per_bag: float


@dataclass(frozen=True, slots=True, kw_only=True)
class WayBags(Record):
    """Whole bags, waste included, at even odds and 95 times in 100."""

    p50: int
    p95: int


@dataclass(frozen=True, slots=True, kw_only=True)
class PatchBags(WayBags):
    """Of the `p95` bags, `waste` are there for waste."""

    waste: int
    waste_share: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Compound(Record):
    """The compound, as what to have on site."""

    item: str
    amount: float
    unit: str
    bags: int
    mass_kg: float
    text: str
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PatchPlace(Record):
    """One connected piece of work; `outline` is its rim on the plan, `where` says its place."""

    x_mm: float
    y_mm: float
    where: str
    area_m2: float
    fill_l: float
    grind_l: float
    deepest_mm: float
    outline: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class DepthAt(Record):
    """Fill and grinding at a node of the patches' lattice."""

    x_mm: float
    y_mm: float
    fill_mm: float
    grind_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class WayAnswer(Record):
    """One way to choose from: its work, its cost where prices were given, and how it passes.

    `chance` and the worst gap after it are None for a pour, which is proved once it is there.
    """

    way: Way
    fill_l: float
    grind_l: float
    bags: WayBags
    cost: float | None
    chance: float | None
    gap_mm: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PatchAnswer(Record):
    """The least work that passes a rule, as `rig plan --patch --json` prints it.

    Volume and bags are the patches'; `bound_l` and `cost_bound` are the least that any work would
    take, patches of every size allowed; `comparison` sets the work against the other ways. There
    is no `plane`, and no minimum cover to keep.
    """

    plane: None
    rule: str
    way: Way
    confidence: float
    chance: float
    cover_mm: Depth
    chance_min_cover: None
    volume_l: PatchVolume
    bound_l: float | None
    cost: float | None
    cost_bound: float | None
    grind_l: float
    area_m2: float
    bags: PatchBags
    lifts: int
    materials: tuple[Compound, ...]
    patches: tuple[PatchPlace, ...]
    depths: tuple[DepthAt, ...]
    comparison: tuple[WayAnswer, ...]
    assumptions: tuple[str, ...]
    warnings: tuple[str, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class _Task:
    """What is to be brought within which rule, and at which prices."""

    outline: Outline
    model: Model
    rule: Straightedge
    longest_mm: float
    confidence: float
    sheet: BagSheet
    fill_cost: float | None
    grind_cost: float | None

    def edges(self) -> list[Edge]:
        """Edges to keep; spans that the shots say nothing of need no patch from them."""
        edges = self.rule.edges(self.longest_mm)
        if self.rule.between != "line":
            return edges
        least_mm = 2 * self.model.spacing_mm
        return [edge for edge in edges if edge.length_mm >= least_mm] or edges[-1:]


@dataclass(frozen=True, eq=False)
class _Done:
    """Work that was found, the chance that it passes, and the price of grinding in it."""

    work: patches.Work
    chance: float
    grind_cost: float | None


def patch_answer(
    job: Job,
    outline: Outline,
    rule: Rule,
    confidence: float = 0.95,
    fill_cost: float | None = None,
    grind_cost: float | None = None,
) -> PatchAnswer:
    """Choose the least work that passes a rule.

    Parameters
    ----------
    job : Job
    outline : Outline
    rule : Rule
    confidence : float
        How sure the floor is to pass after the work.
    fill_cost, grind_cost : float, optional
        Prices a litre; without the latter nothing is ground.

    Raises
    ------
    BadInput
        For a rule that is none of straightedges, or a grinding price without a filling price.
    CannotAnswer
        Too few shots, or no patch does it.
    """
    rule = _checked(rule, fill_cost, grind_cost)
    heights = own_heights(job, outline, "floor")
    if len(heights.labels) == 0:
        raise CannotAnswer(none_inside(job, "floor"))
    model = surface_model(outline, heights, MOST_NODES)
    sheet, longest = sheet_of(job.settings), longest_line(outline)
    task = _Task(outline, model, rule, longest, confidence, sheet, fill_cost, grind_cost)
    nothing = rule.judge(outline, model, confidence, units=job.units)
    done, failed = _work_of(task)
    warnings = [*nothing.warnings, *outside_warnings(job, outline, "floor"), *failed]
    if not done:
        raise CannotAnswer(warnings[-1])
    chosen = min(done, key=lambda way: (done[way].chance < confidence, done[way].work.cost))
    if done[chosen].chance < confidence:
        warnings.append(words.not_sure(done[chosen].chance, confidence))
    if nothing.word == "in":
        warnings.append(words.PASSES_ALREADY)
    ways = (
        WayAnswer(
            way="nothing",
            fill_l=0.0,
            grind_l=0.0,
            bags=WayBags(p50=0, p95=0),
            cost=0.0 if fill_cost is not None else None,
            chance=nothing.chance,
            gap_mm=nothing.worst.gap_mm if nothing.worst else 0.0,
        ),
        *(_way(task, way, one) for way, one in done.items()),
        _pour(job, task),
    )
    return _answer(task, chosen, done[chosen], ways, warnings, job.units)


def _checked(rule: Rule, fill_cost: float | None, grind_cost: float | None) -> Straightedge:
    if not isinstance(rule, Straightedge):
        raise BadInput(
            say(
                "Rule {key} is no straightedge rule; patches are found for those: rig rules.",
                key=rule.key,
            )
        )
    if grind_cost is not None and fill_cost is None:
        raise BadInput(say("--grind needs --fill beside it: the price of compound a litre."))
    for name, price in (("--grind", grind_cost), ("--fill", fill_cost)):
        if price is not None and not (np.isfinite(price) and price > 0):
            raise BadInput(
                say(
                    "{name} must be a price a litre above 0, not {price}.",
                    name=name,
                    price=numeral(price, "g"),
                )
            )
    return rule


def _work_of(task: _Task) -> tuple[Mapping[Way, _Done], list[str]]:
    """Work with fill alone, and with grinding too where it has a price; what could not be done."""
    done: dict[Way, _Done] = {}
    failed = []
    tries: list[tuple[Way, float | None]] = [("patch", None)]
    if task.grind_cost is not None:
        tries.append(("grind and patch", task.grind_cost))
    edges = task.edges()
    for way, price in tries:
        try:
            work, chance = patches.tightened(
                task.model.draws,
                task.model.coarse,
                task.outline,
                edges,
                task.confidence,
                task.longest_mm,
                fill_cost=task.fill_cost or 1.0,
                grind_cost=price,
                start=done["patch"].work.less if "patch" in done else 0.0,
            )
        except CannotAnswer as error:
            failed.append(put("{way}: {error}", way=words.WAYS[way], error=error))
            continue
        done[way] = _Done(work, chance, price)
    return done, failed


def _answer(
    task: _Task,
    way: Way,
    done: _Done,
    ways: tuple[WayAnswer, ...],
    warnings: list[str],
    units: Units,
) -> PatchAnswer:
    work, sheet, priced = done.work, task.sheet, task.fill_cost is not None
    mean_l, p95_l = _volumes(work, task.model)
    bags = bags_for(mean_l, p95_l, sheet)
    pieces = patches.patches_of(work, task.model.coarse)
    filled = work.area_mm2[work.fill_mm > patches.LEAST_DEPTH_MM]
    return PatchAnswer(
        plane=None,
        rule=task.rule.key,
        way=way,
        confidence=task.confidence,
        chance=done.chance,
        cover_mm=Depth(min=0.0, mean=mean_l / task.outline.area_m2, max=float(work.fill_mm.max())),
        chance_min_cover=None,
        volume_l=PatchVolume(mean=mean_l, p95=p95_l, per_bag=sheet.yield_l),
        bound_l=work.bound / (task.fill_cost or 1.0) if task.grind_cost is None else None,
        cost=work.cost if priced else None,
        cost_bound=work.bound if priced else None,
        grind_l=work.grind_l,
        area_m2=float(np.sum(filled)) * 1e-6,
        bags=PatchBags(p50=bags.p50, p95=bags.p95, waste=bags.waste, waste_share=bags.waste_share),
        lifts=1 if bags.p95 else 0,
        materials=(
            Compound(
                item=say("compound"),
                amount=float(bags.p95),
                unit="bag",
                bags=bags.p95,
                mass_kg=bags.mass_kg,
                text=words.compound(bags.p95, bags.mass_kg, units),
                source=sheet.source,
            ),
        ),
        patches=tuple(told for piece in pieces if (told := _place(piece, task, units))),
        depths=_depths(work, task.model),
        comparison=ways,
        assumptions=(
            *sheet.assumptions,
            words.feathered(patches.FEATHER_MM_PER_M / 1000.0, patches.LEAST_PATCH_M2, units),
        ),
        warnings=tuple(warnings),
        cautions=(*cautions(), *((words.GRIND_CAUTION,) if work.grind_l > 0 else ())),
    )


def _way(task: _Task, way: Way, done: _Done) -> WayAnswer:
    work, coarse = done.work, task.model.coarse
    bags = bags_for(*_volumes(work, task.model), task.sheet)
    after = replace(coarse, z_mm=coarse.z_mm + work.fill_mm - work.grind_mm)
    edges = task.rule.edges(task.longest_mm)
    worst = worst_placement(after, task.outline, edges, _WAY_BEARINGS, task.longest_mm)
    cost = None
    if task.fill_cost is not None:
        cost = task.fill_cost * work.fill_l + (done.grind_cost or 0.0) * work.grind_l
    return WayAnswer(
        way=way,
        fill_l=work.fill_l,
        grind_l=work.grind_l,
        bags=WayBags(p50=bags.p50, p95=bags.p95),
        cost=cost,
        chance=done.chance,
        gap_mm=worst.gap_mm if worst else 0.0,
    )


def _pour(job: Job, task: _Task) -> WayAnswer:
    """The whole room poured, level and free of holds."""
    plan = plan_answer(job, picture_of(job, task.outline, task.confidence))
    litres = plan.volume_l.mean
    return WayAnswer(
        way="pour",
        fill_l=litres,
        grind_l=0.0,
        bags=WayBags(p50=plan.bags.p50, p95=plan.bags.p95),
        cost=None if task.fill_cost is None else task.fill_cost * litres,
        chance=None,
        gap_mm=None,
    )


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


def _place(piece: patches.Patch, task: _Task, units: Units) -> PatchPlace | None:
    """Where a patch is and what it takes; None for what is left of one beyond the wall."""
    field, outline = task.model.coarse, task.outline
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
    return PatchPlace(
        x_mm=middle.x,
        y_mm=middle.y,
        where=where(outline, middle.x, middle.y, units),
        area_m2=piece.area_m2,
        fill_l=piece.fill_l,
        grind_l=piece.grind_l,
        deepest_mm=piece.deepest_mm,
        outline=tuple((float(a), float(b)) for a, b in rim.coords),
    )


def _depths(work: patches.Work, model: Model) -> tuple[DepthAt, ...]:
    field = model.coarse
    found = np.argwhere(work.fill_mm + work.grind_mm > patches.LEAST_DEPTH_MM)
    return tuple(
        DepthAt(
            x_mm=field.x0_mm + field.step_mm * int(i),
            y_mm=field.y0_mm + field.step_mm * int(j),
            fill_mm=float(work.fill_mm[j, i]),
            grind_mm=float(work.grind_mm[j, i]),
        )
        for j, i in found
    )
