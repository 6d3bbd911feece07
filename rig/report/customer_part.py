"""The customer's page: one side on whose floor it is, how it was, how it is, and what to mind."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from rig.drawing.handover import Height, Relief, relief_drawings, relief_of
from rig.drawing.look import Look
from rig.errors import CannotAnswer
from rig.flatness.coverings import told_covering
from rig.report.document import (
    Abreast,
    Block,
    Facts,
    Figure,
    Section,
    Signatures,
    Words,
    bullets,
    section,
)
from rig.report.proof_part import TONES
from rig.report.source import Handover, Source
from rig.room import Outline
from rig.study.judged import own_heights
from rig.study.planned import PlanAnswer
from rig.study.pour_answer import PourEnd
from rig.study.pour_log import last_pour_plan, pours_ended
from rig.study.proof_answer import Proof
from rig.surface.gaussian_process import GaussianProcess
from rig.words import handover as words
from rig.words import join, moment, say_many

WIDE_MM = 87.0
# Heights of the two maps and of the photos under them, the largest first.
HIGHS_MM = ((118.0, 62.0), (106.0, 52.0), (98.0, 44.0), (90.0, 38.0), (82.0, 34.0), (72.0, 30.0))
FLOORS = (("floor", "before", words.BEFORE), ("finished", "after", words.AFTER))


@dataclass(frozen=True, eq=False, kw_only=True)
class Handed:
    """A room that is handed over, read from its job.

    Attributes
    ----------
    name : str
        Empty where the job has one room.
    outline : Outline
    heights : mapping of kind of shot to height
        Of each floor that was measured.
    proof : Proof or None
    plan : PlanAnswer or None
    poured : tuple of (utc_s, PourEnd)
    wait_s : (walk on, cover after) in s or None
    """

    name: str
    outline: Outline
    heights: dict[str, Height]
    proof: Proof | None
    plan: PlanAnswer | None
    poured: tuple[tuple[float, PourEnd], ...]
    wait_s: tuple[float | None, float | None]

    @property
    def is_done(self) -> bool:
        """Whether it was poured or is finished."""
        return "finished" in self.heights or bool(self.poured)


@dataclass(frozen=True, eq=False, kw_only=True)
class HandedOver:
    """What a customer's page tells: the rooms, `whole` round them, and the maps of them all.

    `source` tells what the rooms have in common.
    """

    source: Source
    whole: Outline
    rooms: tuple[Handed, ...]
    reliefs: tuple[tuple[str, str, Relief], ...]
    """Of each map its name, its title, and how the floor lies."""


def handed(source: Source, name: str = "") -> Handed:
    """Read a room that is handed over; its job is narrowed to it, where it has several."""
    heights: dict[str, Height] = {}
    for kind, *_ in FLOORS:
        if not any(shot.kind == kind for shot in source.shots):
            continue
        try:
            shot = own_heights(source.job, source.outline, kind)
            surface = source.surfaces.of(shot, built=kind == "floor")
        except CannotAnswer:
            continue
        heights[kind] = _height(surface)
    try:
        proof = source.proof
    except CannotAnswer:
        proof = None
    return Handed(
        name=name,
        outline=source.outline,
        heights=heights,
        proof=proof,
        plan=None if source.plan is None else source.plan.answer,
        poured=tuple(one for one in pours_ended(source.job) if one[1].batches),
        wait_s=_wait_s(source),
    )


def handed_over(source: Source, rooms: Sequence[Handed]) -> HandedOver:
    """Join rooms that are handed over on one page."""
    reliefs = []
    for kind, name, title in FLOORS:
        there = [(one.outline, one.heights[kind]) for one in rooms if kind in one.heights]
        if there:
            reliefs.append((name, title, relief_of(there)))
    return HandedOver(
        source=source, whole=source.outline, rooms=tuple(rooms), reliefs=tuple(reliefs)
    )


def customer_section(
    told: HandedOver, handover: Handover, highs_mm: tuple[float, float]
) -> Section:
    """Tell the customer of the floor; the maps and the photos are as high as is said."""
    plans = [one.plan for one in told.rooms if one.plan is not None]
    areas = [one.outline.area_m2 for one in told.rooms if one.plan is not None]
    load_kpa = (
        float(np.average([one.dead_load_kpa.mean for one in plans], weights=areas))
        if plans
        else None
    )
    maps = _maps(told, highs_mm[0])
    photos = handover.photos or ()
    return section(
        "handover",
        title_of(told, handover),
        *_verdicts(told),
        Abreast(tuple(maps)) if maps else None,
        *_not_measured(told, len(maps)),
        Facts(tuple(_facts(told))),
        Abreast(photos, highs_mm[1]) if photos else None,
        bullets(words.cautions(load_kpa, told.source.units)),
        Signatures(words.SIGNATURES),
    )  # fmt: skip


def title_of(told: HandedOver, handover: Handover) -> str:
    """Head of the page: whose floor, and whether it is done."""
    return words.title(handover.whose, all(one.is_done for one in told.rooms))


def letter_section(handover: Handover) -> Section | None:
    """The firm's head of the page, where it is known."""
    if handover.letterhead is None:
        return None
    return section("letterhead", "", handover.letterhead)


def _verdicts(told: HandedOver) -> list[Block]:
    """Say what became of each floor: rooms of which the same is true in one sentence."""
    alike: dict[tuple[str, str] | None, list[Handed]] = {}
    for one in told.rooms:
        key = None if one.proof is None else (one.proof.kind, one.proof.verdict)
        alike.setdefault(key, []).append(one)
    blocks: list[Block] = []
    for rooms in alike.values():
        names = join(", ", [one.name for one in rooms if one.name])
        proofs = [one.proof for one in rooms if one.proof is not None]
        text = _verdict(told.source, proofs) if proofs else words.NOT_PROVED
        shown = words.of_rooms(names, text) if names else text
        blocks.append(Words(shown, TONES[proofs[0].verdict]) if proofs else Words(shown))
    return blocks


def _verdict(source: Source, proofs: Sequence[Proof]) -> str:
    _, stands_in = source.rule
    named = stands_in is None or bool(source.settings.covering)
    worst = max((one.worst.gap_mm for one in proofs if one.worst is not None), default=None)
    first, units = proofs[0], source.units
    rule = units.own(first.text)
    return words.verdict(first.kind, first.verdict, rule, named, worst, units)


def _not_measured(told: HandedOver, maps: int) -> list[Block]:
    """Say which floor is on no map."""
    if maps < len(FLOORS):
        return [Words(words.NOT_BOTH, "small")]
    return [
        Words(words.not_on_the_map(title, join(", ", names)), "small")
        for kind, _, title in FLOORS
        if (names := [one.name for one in told.rooms if kind not in one.heights])
    ]


def _maps(told: HandedOver, high_mm: float) -> list[Figure]:
    if not told.reliefs:
        return []
    look = Look(told.source.units, WIDE_MM, high_mm, to_scale=False)
    floors = [(title, relief) for _, title, relief in told.reliefs]
    drawn = relief_drawings(told.whole, look, floors)
    return [Figure(name, drawing) for (name, *_), drawing in zip(told.reliefs, drawn, strict=True)]


def _height(surface: GaussianProcess) -> Height:
    return lambda x, y: surface.predict(x, y, quick=True)[0]


def _facts(told: HandedOver) -> list[tuple[str, str]]:
    covering, rooms = told.source.settings.covering, told.rooms
    ended = sorted((one for room in rooms for one in room.poured), key=lambda one: one[0])
    left = [one for one in rooms if one.plan is not None and not one.poured]
    return [
        _area(told),
        *([(words.COVERING, told_covering(covering))] if covering else []),
        *_compound(told.source, ended, left),
        *_thickness(told),
        *_waits(rooms, ended[-1][0] if ended and not left else None),
    ]


def _compound(
    source: Source, ended: Sequence[tuple[float, PourEnd]], left: Sequence[Handed]
) -> Iterator[tuple[str, str]]:
    """Tell what was poured, and what the rooms that are left take."""
    product = source.settings.product
    name = "" if product is None else product.compound.name
    if ended:
        bags = say_many("{count} bag", "{count} bags", sum(one.bags_used for _, one in ended))
        yield words.POURED, words.poured(bags, name, moment(ended[-1][0], "day"))
    if left:
        bags = say_many("{count} bag", "{count} bags", sum(_buy(one) for one in left))
        to_pour = words.to_pour(bags, name)
        if left[0].name and ended:
            to_pour = words.of_rooms(join(", ", [one.name for one in left]), to_pour)
        yield words.PLANNED, to_pour


def _thickness(told: HandedOver) -> Iterator[tuple[str, str]]:
    planned = [(one.plan.cover_mm, one.outline.area_m2) for one in told.rooms if one.plan]
    if planned:
        mean = sum(cover.mean * area for cover, area in planned) / sum(area for _, area in planned)
        least, most = min(one.min for one, _ in planned), max(one.max for one, _ in planned)
        yield words.THICK, words.thickness(mean, least, most, told.source.units)


def _waits(rooms: Sequence[Handed], done_utc_s: float | None) -> Iterator[tuple[str, str]]:
    for n, title in enumerate((words.WALK_ON, words.COVER_AFTER)):
        waits = [one.wait_s[n] for one in rooms]
        after_s = None if None in waits else max(one for one in waits if one is not None)
        yield title, _when(done_utc_s, after_s)


def _area(told: HandedOver) -> tuple[str, str]:
    area = told.source.units.area
    if len(told.rooms) == 1:
        return words.ROOM, area(told.whole.area_m2)
    each = [words.room(one.name, area(one.outline.area_m2)) for one in told.rooms]
    return words.ROOMS, words.areas(join(", ", each), area(told.whole.area_m2))


def _buy(one: Handed) -> int:
    return 0 if one.plan is None else one.plan.bags.buy


def _wait_s(source: Source) -> tuple[float | None, float | None]:
    """How long after the pour a room is walked on and covered, by the compound's sheet."""
    made, product = last_pour_plan(source.job), source.settings.product
    sheet = None if made is None else made[1].result.sheet
    compound = None if product is None else product.compound

    def told(key: str) -> float | None:
        return getattr(sheet, key, None) or getattr(compound, key, None)

    return told("walk_on_s"), told("cover_after_s")


def _when(done_utc_s: float | None, after_s: float | None) -> str:
    if after_s is None:
        return words.BY_THE_SHEET
    if done_utc_s is None:
        return words.after(after_s)
    return words.from_then(moment(done_utc_s + after_s, "minute"), after_s)
