"""One lift of a plan: its top, what lies under it, and what the pour of it takes."""

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import count
from typing import TYPE_CHECKING

import numpy as np
import shapely

from rig.errors import BadInput
from rig.guidance.layout import CLEAR_MM, MarkerPlace
from rig.language import say
from rig.study.fresh import fresh_plan
from rig.study.plan_answer import read_plan
from rig.study.planned import LiftAnswer, PlanAnswer
from rig.target.level import Floats, Plane

if TYPE_CHECKING:
    from rig.job.rows import Plan
    from rig.job.store import Job
    from rig.room import Outline, Raster

FILM_MM = 1.0
"""A marker that would stick out less has nothing to show (our own figure, no source)."""


@dataclass(frozen=True)
class OneLift:
    """A lift of a plan, and the top of the lift under it, if there is one."""

    answer: LiftAnswer
    count: int
    under: Plane | None

    @property
    def top(self) -> Plane:
        """Its top."""
        return self.answer.top

    @property
    def is_last(self) -> bool:
        """Whether its top is the finished plane."""
        return self.answer.lift == self.count

    def base_mm(self, x_mm: Floats, y_mm: Floats, floor_mm: Floats) -> Floats:
        """Return what it is poured on: the floor, or the lift under it where that lies higher."""
        if self.under is None:
            return floor_mm
        base: Floats = np.maximum(floor_mm, self.under.at(x_mm, y_mm))
        return base

    def thickness_mm(self, x_mm: Floats, y_mm: Floats, floor_mm: Floats) -> Floats:
        """Return how thick it lies, nothing where the floor stands over its top."""
        over = self.top.at(x_mm, y_mm) - self.base_mm(x_mm, y_mm, floor_mm)
        thick: Floats = np.maximum(over, 0.0)
        return thick


@dataclass(frozen=True)
class Takes:
    """What a plan says that a pour takes: litres, bags, what a bag makes, mm of cover."""

    volume_l: float
    volume_p95_l: float
    bags: int
    bags_p95: int
    bag_yield_l: float
    bag_water_l: float
    waste_share: float
    deepest_mm: float


def one_lift(answer: PlanAnswer, lift: int | None) -> OneLift | None:
    """Return a lift of a plan; None where none is asked for.

    Raises
    ------
    BadInput
        A lift that the plan does not have.
    """
    if lift is None:
        return None
    layers = answer.lifts_plan
    if not layers:
        raise BadInput(
            say("This plan is of an older floor-rig and has no lifts: run rig plan again.")
        )
    if not 1 <= lift <= len(layers):
        many = say("one lift") if len(layers) == 1 else say("{layers} lifts", layers=len(layers))
        raise BadInput(
            say("This plan has {several}: there is no lift {lift}.", several=many, lift=lift)
        )
    under = layers[lift - 2].top if lift > 1 else None
    return OneLift(layers[lift - 1], len(layers), under)


def free_labels(taken: Iterable[str]) -> Iterator[str]:
    """Yield M1, M2, ... but for those that are taken."""
    known = set(taken)
    for n in count(1):
        if f"M{n}" not in known:
            yield f"M{n}"


def lifts_of(job: "Job") -> int:
    """Return how many lifts a job's plan has."""
    return read_plan(fresh_plan(job)).answer.lifts


def has_no_lift(job: "Job", lift: int | None) -> bool:
    """Whether a job's plan has fewer lifts than this one."""
    return lift is not None and lift > lifts_of(job)


def takes(plan: "Plan", lift: int | None = None) -> Takes:
    """Return what a plan, or one lift of it, takes to pour."""
    told = read_plan(plan).answer
    whole = Takes(
        volume_l=told.volume_l.mean,
        volume_p95_l=told.volume_l.p95,
        bags=told.bags.p50,
        bags_p95=told.bags.p95,
        bag_yield_l=told.volume_l.per_bag,
        bag_water_l=told.water_per_bag_l,
        waste_share=told.bags.waste_share,
        deepest_mm=told.cover_mm.max,
    )
    one = one_lift(told, lift)
    if one is None or one.count == 1:
        return whole
    answer = one.answer
    # The doubt of the floor's height goes by the area on which the lift lies on the bare floor,
    # and what the lifts take together is as sure as the plan: shared by their volumes.
    share = answer.volume_l / whole.volume_l
    spare = math.ceil((whole.bags_p95 - whole.bags) * share - 1e-9)
    return replace(
        whole,
        volume_l=answer.volume_l,
        volume_p95_l=whole.volume_p95_l * share,
        bags=answer.bags,
        bags_p95=answer.bags + spare,
        deepest_mm=answer.max_mm,
    )


def poured_cells(cells: "Raster", thick_mm: Floats) -> "tuple[Raster, Floats]":
    """Return the cells that a lift is poured on, and its thickness there."""
    there = thick_mm > 0
    kept = replace(
        cells, x_mm=cells.x_mm[there], y_mm=cells.y_mm[there], share=cells.share[there]
    )  # fmt: skip
    return kept, thick_mm[there]


def markers_of(
    outline: "Outline",
    layout: Sequence[MarkerPlace],
    cells: "Raster",
    thick_mm: Floats,
    at_mm: Floats,
    reach_mm: float,
    elsewhere: Iterable[str] = (),
) -> list[MarkerPlace]:
    """Return the markers of a layout that a lift has use for, and what its deep spots need more.

    Parameters
    ----------
    outline : Outline
    layout : sequence of MarkerPlace
    cells : Raster
    thick_mm : (m,) array
        Of the lift, by cells.
    at_mm : (n,) array
        Of the lift, at the markers.
    reach_mm : float
        No place that it is poured on is farther than this from a marker.
    elsewhere : iterable of str
        Labels that other rooms' markers have.
    """
    kept = [place for place, thick in zip(layout, at_mm, strict=True) if thick >= FILM_MM]
    free = free_labels([*(one.label for one in layout), *elsewhere])
    clear = outline.polygon.buffer(-CLEAR_MM)
    away = np.array(shapely.distance(clear, shapely.points(cells.x_mm, cells.y_mm)))
    stands = (away <= 0) | clear.is_empty
    left = thick_mm >= FILM_MM
    for one in kept:
        left &= np.hypot(cells.x_mm - one.x_mm, cells.y_mm - one.y_mm) > reach_mm
    while (left & stands).any():
        n = int(np.argmax(np.where(left & stands, thick_mm, -1.0)))
        new = MarkerPlace(next(free), float(cells.x_mm[n]), float(cells.y_mm[n]))
        kept.append(new)
        left &= np.hypot(cells.x_mm - new.x_mm, cells.y_mm - new.y_mm) > reach_mm
    return kept
