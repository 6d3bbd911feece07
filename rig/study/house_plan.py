"""One plan for all rooms of a job: each one's plane, one order of bags, what is at the doorways."""

import math
import time
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from itertools import chain
from typing import TYPE_CHECKING

import numpy as np
import shapely

from rig.errors import BadInput, RigError
from rig.language import put
from rig.quantities.bags import sheet_of
from rig.quantities.materials import Material
from rig.quantities.safety import Floor, joint_stock, with_history
from rig.quantities.volume import Volume, volume_of
from rig.record import OMITTED, Record
from rig.room import Doorway, House, Outline, doorways
from rig.study.acts import kept_in
from rig.study.hidden import ChanceIf, of_rooms
from rig.study.laser_budget import share_of, shared_volume_l, ties_over
from rig.study.lasers import shots_of
from rig.study.looks import WorthLook
from rig.study.picture import Picture, picture_of
from rig.study.plan_answer import (
    bags_answer,
    history_answer,
    keep_plan,
    materials_of,
    min_cover_of,
    plan_answer,
    room_plan,
    safety_answer,
    volume_answer,
    whole_bags,
)
from rig.study.plane import HoldGiven, PlanWish, ground_of, threshold_hold
from rig.study.planned import (
    BagsAnswer,
    CoverAnswer,
    HistoryAnswer,
    LoadAnswer,
    PlanAnswer,
    RoomPlan,
    SafetyAnswer,
    VolumeAnswer,
)
from rig.study.rooms import each_room, house_outline, names_of
from rig.survey.heights import Heights, heights_of
from rig.target.level import Plane, hold_level, level_plane
from rig.units import Units, format_asked
from rig.words import plan as plan_words
from rig.words import rooms as words
from rig.words import say

if TYPE_CHECKING:
    from rig.job.store import Job

EVENT = "house_plan"
DOORWAY_MM = 600.0
"""A threshold so near to a room is at its doorway."""
FLUSH_MM = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Step(Record):
    """What is at a doorway once both rooms are poured.

    Attributes
    ----------
    between : (str, str)
    x_mm, y_mm : float
        Its middle.
    step_mm : float
        By which the second room's floor lies higher.
    threshold : str or None
        The threshold shot there.
    """

    between: tuple[str, str]
    x_mm: float
    y_mm: float
    step_mm: float
    threshold: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class BagsApart(Record):
    """What the rooms would take, each ordered for itself."""

    p50: int
    p95: int
    buy: int


@dataclass(frozen=True, slots=True, kw_only=True)
class HousePlan(Record):
    """The plan of all rooms, as `rig plan --json` prints it for a job that has several.

    Attributes
    ----------
    rooms : tuple of RoomPlan
    plane : Plane or None
        Where it is one for all.
    confidence, min_cover_mm : float
    cover_mm : CoverAnswer
        Of all floors.
    chance_min_cover : float or None
        Of the minimum cover in all rooms: each one's own multiplied, as if independent; None where
        it is not known of one.
    chance_if : ChanceIf or None
        The same with what shots can't show; see `rig.study.hidden.of_rooms`.
    volume_l : VolumeAnswer
    bags : BagsAnswer
        One order for all.
    bags_apart : BagsApart
        An order for each room, added up.
    safety : SafetyAnswer
    history : HistoryAnswer or None
    lifts : int
        The most of a room.
    dead_load_kpa : LoadAnswer
    doorways : tuple of Step
    materials : tuple of Material
    look_between : tuple of WorthLook
        Of all rooms.
    assumptions, warnings, cautions : tuple of str
    """

    rooms: tuple[RoomPlan, ...]
    plane: Plane | None
    confidence: float
    min_cover_mm: float
    cover_mm: CoverAnswer
    chance_min_cover: float | None
    chance_if: ChanceIf | None = None
    volume_l: VolumeAnswer
    bags: BagsAnswer
    bags_apart: BagsApart
    safety: SafetyAnswer
    history: HistoryAnswer | None = field(default=None, metadata=OMITTED)
    lifts: int
    dead_load_kpa: LoadAnswer
    doorways: tuple[Step, ...]
    materials: tuple[Material, ...]
    look_between: tuple[WorthLook, ...] = ()
    assumptions: tuple[str, ...]
    warnings: tuple[str, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class _Reckoned:
    """A room with its picture, what was wished of it, and its plan."""

    name: str
    picture: Picture
    wish: PlanWish
    answer: PlanAnswer
    floor: Floor


def house_plan(job: "Job", wish: PlanWish | None = None, *, together: bool = False) -> HousePlan:
    """Plan all rooms of a job; nothing is kept.

    Parameters
    ----------
    job : Job
        Narrowed to no room.
    wish : PlanWish, optional
        A hold at a threshold holds the rooms that it lies at.
    together : bool
        One level plane through all rooms.

    Raises
    ------
    BadInput
        Wishes that fight each other.
    CannotAnswer
        A room with too few shots, named.
    """
    return _joined(job, _reckon(job, wish or PlanWish(), together), together)


def make_house_plan(job: "Job", wish: PlanWish, *, together: bool = False) -> HousePlan:
    """Plan all rooms and keep each one's plan, all or none; see `house_plan`."""
    reckoned = _reckon(job, wish, together)
    answer = _joined(job, reckoned, together)
    with job.together(say("the plan was not kept")):
        with each_room(job) as rooms:
            for one, room in zip(rooms, reckoned, strict=True):
                keep_plan(one, room.wish, room.answer)
        job.log_event(None, None, time.time(), EVENT, answer.as_json())
    return answer


def last_house_plan(job: "Job") -> HousePlan | None:
    """Return the plan of all rooms that was kept last, None where there is none."""
    kept = job.events([EVENT])
    return kept_in(kept[-1], HousePlan, say("plan of its rooms")) if kept else None


def house_lines(plan: HousePlan, units: Units) -> list[str]:
    """Tell a plan of all rooms in lines."""
    sure = format_asked(plan.confidence)
    order = words.one_order(plan.bags.buy, plan.bags_apart.buy, sure)
    warned = ["! " + text for text in plan.warnings]
    return [*room_plan_lines(plan, units), order, *warned, say("Next: rig markers")]


def room_plan_lines(plan: HousePlan, units: Units) -> list[str]:
    """Tell each room's plan in a line, and its lifts where they are several."""
    lines = [
        words.room_plan(
            one.name,
            one.plane.a,
            math.hypot(one.plane.b, one.plane.c),
            (one.cover_mm.min, one.cover_mm.max),
            one.bags.p50,
            units,
        )
        for one in plan.rooms
    ]
    for room in plan.rooms:
        if room.lifts > 1:
            lines.append(
                put("{room}: {lifts}", room=room.name, lifts=plan_words.in_lifts(room.lifts))
            )
            whole = room.lifts_plan[-1].area_m2
            lines += [
                "  " + plan_words.lift(a.lift, a.max_mm, a.area_m2, whole, a.bags, units)
                for a in room.lifts_plan
            ]
    return lines


def _reckon(job: "Job", wish: PlanWish, together: bool) -> list[_Reckoned]:
    wish.check()
    if together and (wish.max_slope is not None or wish.grind_cost is not None):
        raise BadInput(say("--together is one level floor: leave out --flat and --grind."))
    thresholds = _thresholds(job)
    found = []
    names = names_of(job)
    pictures = _pictures(job, names, wish.confidence)
    plane = _one_plane(job, pictures, wish, thresholds) if together else None
    used: set[HoldGiven] = set()
    with each_room(job) as rooms:
        for name, one, picture in zip(names, rooms, pictures, strict=True):
            holds = tuple(hold for hold in wish.holds if _is_at(hold, picture.outline, thresholds))
            used |= set(holds)
            mine = replace(wish, holds=() if together else holds)
            with _named(name):
                answer = plan_answer(one, picture, mine, plane)
            found.append(_Reckoned(name, picture, mine, answer, _floor(one, picture, answer)))
    if not together:
        _refuse_unheld([hold for hold in wish.holds if hold not in used])
    return found


def _pictures(job: "Job", names: Sequence[str], confidence: float) -> list[Picture]:
    found = []
    with each_room(job) as rooms:
        for name, one in zip(names, rooms, strict=True):
            assert one.room is not None
            with _named(name):
                found.append(picture_of(one, one.room.outline, confidence))
    return found


@contextmanager
def _named(room: str) -> Iterator[None]:
    """Name the room in what is wrong with it."""
    try:
        yield
    except RigError as error:
        raise type(error)(put("{room}: {error}", room=room, error=error)) from None


def _refuse_unheld(unheld: Sequence[HoldGiven]) -> None:
    if unheld:
        told = unheld[0] if isinstance(unheld[0], str) else say("a held place")
        raise BadInput(
            say(
                "{told} lies at no room: shoot the threshold with --at X,Y in a doorway, or "
                "give another --hold.",
                told=told,
            )
        )


def _one_plane(
    job: "Job", pictures: Sequence[Picture], wish: PlanWish, thresholds: Heights
) -> Plane:
    """Return the lowest level plane that keeps the minimum cover in all rooms, or a held one."""
    least_mm = min_cover_of(job.settings)
    if wish.holds:
        heights = {_place_of(hold, thresholds)[2] for hold in wish.holds}
        if len(heights) > 1:
            raise BadInput(say("One level through all rooms can be held at one height only."))
        (height_mm,) = heights
        for picture in pictures:
            floor = ground_of(picture)
            hold_level(height_mm, floor.x_mm, floor.y_mm, floor.floor_mm, least_mm, job.units)
        return Plane(height_mm)
    tops = np.column_stack([one.extremes.highest_mm.max(axis=1) for one in pictures])
    return level_plane(tops, least_mm, wish.confidence)


def _thresholds(job: "Job") -> Heights:
    return heights_of(shots_of(job), "threshold", job.setups())


def _place_of(hold: HoldGiven, thresholds: Heights) -> tuple[float, float, float]:
    """Return where a hold is, and its height."""
    if not isinstance(hold, str):
        return hold
    found = threshold_hold(hold, thresholds)
    return found.x_mm, found.y_mm, found.height_mm


def _is_at(hold: HoldGiven, outline: Outline, thresholds: Heights) -> bool:
    x_mm, y_mm, _ = _place_of(hold, thresholds)
    return bool(shapely.distance(outline.polygon, shapely.Point(x_mm, y_mm)) <= DOORWAY_MM)


def _floor(job: "Job", picture: Picture, answer: PlanAnswer) -> Floor:
    """Part the doubt of a room's volume into its own and what the laser gives all rooms alike."""
    area_mm2, whole = ground_of(picture).area_mm2, answer.volume_l.sd_l
    shared = shared_volume_l(share_of(job, picture), ties_over(job, picture), area_mm2)
    shared = min(shared, whole)
    own = math.sqrt(max(whole**2 - shared**2, 0.0))
    return Floor(answer.volume_l.mean, own, shared, float(area_mm2.sum()) * 1e-6)


def _joined(job: "Job", rooms: Sequence[_Reckoned], together: bool) -> HousePlan:
    sheet, confidence = sheet_of(job.settings), rooms[0].answer.confidence
    safety, past = joint_stock([one.floor for one in rooms], sheet, confidence), None
    if rooms[0].wish.history is not None:
        safety = with_history(safety, rooms[0].wish.history)
        past = history_answer(rooms[0].wish.history, safety, sheet)
    buy = whole_bags(safety.need_l(confidence), sheet)
    mean_l = sum(one.floor.mean_l for one in rooms)
    bags = bags_answer(mean_l * (1.0 if past is None else past.factor), safety, sheet, buy)
    house = house_outline(job)
    answers = [one.answer for one in rooms]
    areas = [one.floor.area_m2 for one in rooms]
    steps = _steps(job, house, {one.name: one.answer.plane for one in rooms})
    return HousePlan(
        rooms=tuple(room_plan(one.name, one.picture.outline, one.answer) for one in rooms),
        plane=answers[0].plane if together else None,
        confidence=confidence,
        min_cover_mm=answers[0].min_cover_mm,
        cover_mm=_cover(answers, areas),
        chance_min_cover=_chance(answers),
        chance_if=of_rooms((one.chance_min_cover, one.chance_if) for one in answers),
        volume_l=volume_answer(_volume(rooms, mean_l), sheet),
        bags=bags,
        bags_apart=_bags_apart(answers),
        safety=safety_answer(safety, sheet),
        history=past,
        lifts=max(one.lifts for one in answers),
        dead_load_kpa=_load(answers, areas),
        doorways=steps,
        materials=materials_of(job, house, sheet, buy),
        look_between=tuple(look for one in answers for look in one.look_between),
        assumptions=_each_once(one.assumptions for one in answers),
        warnings=(*_warnings(rooms), *words.steps(steps, FLUSH_MM, job.units)),
        cautions=_each_once(one.cautions for one in answers),
    )


def _chance(answers: Sequence[PlanAnswer]) -> float | None:
    known = [one.chance_min_cover for one in answers if one.chance_min_cover is not None]
    return math.prod(known) if len(known) == len(answers) else None


def _cover(answers: Sequence[PlanAnswer], areas: Sequence[float]) -> CoverAnswer:
    return CoverAnswer(
        min=min(one.cover_mm.min for one in answers),
        mean=float(np.average([one.cover_mm.mean for one in answers], weights=areas)),
        max=max(one.cover_mm.max for one in answers),
    )


def _bags_apart(answers: Sequence[PlanAnswer]) -> BagsApart:
    return BagsApart(
        p50=sum(one.bags.p50 for one in answers),
        p95=sum(one.bags.p95 for one in answers),
        buy=sum(one.bags.buy for one in answers),
    )


def _load(answers: Sequence[PlanAnswer], areas: Sequence[float]) -> LoadAnswer:
    return LoadAnswer(
        mean=float(np.average([one.dead_load_kpa.mean for one in answers], weights=areas)),
        max=max(one.dead_load_kpa.max for one in answers),
    )


def _warnings(rooms: Sequence[_Reckoned]) -> list[str]:
    return [
        put("{room}: {text}", room=one.name, text=text)
        for one in rooms
        for text in one.answer.warnings
    ]


def _each_once(texts: Iterable[Sequence[str]]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(chain.from_iterable(texts)))


def _volume(rooms: Sequence[_Reckoned], mean_l: float) -> Volume:
    own = math.hypot(*(one.floor.own_sd_l for one in rooms))
    sd = math.hypot(own, sum(one.floor.shared_sd_l for one in rooms))
    return volume_of(mean_l, sd, sum(one.floor.area_m2 for one in rooms))


def _steps(job: "Job", house: House, planes: dict[str, Plane]) -> tuple[Step, ...]:
    thresholds = _thresholds(job)

    def shot_at(way: Doorway) -> str | None:
        if not thresholds.labels:
            return None
        x, y = way.middle
        away = np.hypot(thresholds.x_mm - x, thresholds.y_mm - y)
        n = int(np.argmin(away))
        return thresholds.labels[n] if away[n] <= DOORWAY_MM else None

    found = []
    for way in doorways(house.rooms):
        if len(way.rooms) != 2:
            continue
        one, other = way.rooms
        x, y = way.middle
        found.append(
            Step(
                between=(one, other),
                x_mm=x,
                y_mm=y,
                step_mm=float(planes[other].at(x, y) - planes[one].at(x, y)),
                threshold=shot_at(way),
            )
        )
    return tuple(found)
