"""The customer's page: one side on whose floor it is, how it was, how it is, and what to mind."""

import time
from collections.abc import Callable, Sequence

from rig.drawing.contours import Lattice
from rig.drawing.handover import relief_drawings, relief_of
from rig.drawing.look import Look
from rig.drawing.vector import Floats
from rig.errors import CannotAnswer
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
from rig.study.judged import own_heights
from rig.study.pour_log import last_pour_plan, pours_ended
from rig.surface.gaussian_process import GaussianProcess
from rig.words import handover as words
from rig.words import say_many

Relief = tuple[str, str, Lattice]
"""A map's name, its title, and how the floor lies."""

WIDE_MM = 87.0
# Heights of the two maps and of the photos under them, the largest first.
HIGHS_MM = ((118.0, 62.0), (106.0, 52.0), (98.0, 44.0), (90.0, 38.0), (82.0, 34.0), (72.0, 30.0))


def reliefs_of(source: Source) -> list[Relief]:
    """The floor before and after, of each what was measured."""
    found: list[Relief] = []
    floors = (("floor", "before", words.BEFORE), ("finished", "after", words.AFTER))
    for kind, name, title in floors:
        if not any(shot.kind == kind for shot in source.shots):
            continue
        try:
            surface = source.surfaces.of(own_heights(source.job, source.outline, kind))
        except CannotAnswer:
            continue
        found.append((name, title, relief_of(source.outline, _heights(surface))))
    return found


def customer_section(
    source: Source, handover: Handover, reliefs: Sequence[Relief], highs_mm: tuple[float, float]
) -> Section:
    """Tell the customer of the floor; the maps and the photos are as high as is said."""
    load_kpa = None if source.plan is None else source.plan.answer.dead_load_kpa.mean
    maps = _maps(source, reliefs, highs_mm[0])
    return section(
        "handover",
        title_of(source, handover),
        _verdict(source),
        Abreast(tuple(maps)) if maps else None,
        None if len(maps) == 2 else Words(words.NOT_BOTH, "small"),
        Facts(tuple(_facts(source))),
        Abreast(handover.photos, highs_mm[1]) if handover.photos else None,
        bullets(words.cautions(load_kpa, source.units)),
        Signatures(words.SIGNATURES),
    )  # fmt: skip


def title_of(source: Source, handover: Handover) -> str:
    """Head of the page: whose floor, and whether it is done."""
    finished = any(shot.kind == "finished" for shot in source.shots)
    return words.title(handover.whose, finished or bool(source.job.events(["pour_done"])))


def letter_section(handover: Handover) -> Section | None:
    """The firm's head of the page, where it is known."""
    if handover.letterhead is None:
        return None
    return section("letterhead", "", handover.letterhead)


def _verdict(source: Source) -> Block:
    try:
        told = source.proof
    except CannotAnswer:
        return Words(words.NOT_PROVED)
    _, stands_in = source.rule
    named = stands_in is None or bool(source.settings.covering)
    gap = None if told.worst is None else told.worst.gap_mm
    text = words.verdict(told.kind, told.verdict, told.text, named, gap, source.units)
    return Words(text, TONES[told.verdict])


def _maps(source: Source, reliefs: Sequence[Relief], high_mm: float) -> list[Figure]:
    if not reliefs:
        return []
    look = Look(source.units, WIDE_MM, high_mm, to_scale=False)
    drawn = relief_drawings(
        source.outline, look, [(title, lattice) for _, title, lattice in reliefs]
    )
    return [Figure(name, drawing) for (name, *_), drawing in zip(reliefs, drawn, strict=True)]


def _heights(surface: GaussianProcess) -> Callable[[Floats, Floats], Floats]:
    return lambda x, y: surface.predict(x, y, quick=True)[0]


def _facts(source: Source) -> list[tuple[str, str]]:
    units, product = source.units, source.settings.product
    rows = [(words.ROOM, units.area(source.outline.area_m2))]
    if source.settings.covering:
        rows.append((words.COVERING, source.settings.covering))
    ended = [one for one in pours_ended(source.job) if one[1].batches]
    plan = source.plan
    name = "" if product is None else product.compound.name
    if ended:
        bags = sum(one.bags_used for _, one in ended)
        poured = words.poured(
            say_many("{count} bag", "{count} bags", bags), name, _day(ended[-1][0])
        )
        rows.append((words.POURED, poured))
    elif plan is not None:
        rows.append(
            (
                words.PLANNED,
                words.to_pour(say_many("{count} bag", "{count} bags", plan.answer.bags.buy), name),
            )
        )
    if plan is not None:
        cover = plan.answer.cover_mm
        rows.append((words.THICK, words.thickness(cover.mean, cover.min, cover.max, units)))
    made = last_pour_plan(source.job)
    sheet = None if made is None else made[1].result.sheet
    compound = None if product is None else product.compound
    for title, key in ((words.WALK_ON, "walk_on_s"), (words.COVER_AFTER, "cover_after_s")):
        after_s = getattr(sheet, key, None) or getattr(compound, key, None)
        rows.append((title, _when(ended[-1][0] if ended else None, after_s)))
    return rows


def _when(done_utc_s: float | None, after_s: float | None) -> str:
    if after_s is None:
        return words.BY_THE_SHEET
    if done_utc_s is None:
        return words.after(after_s)
    return words.from_then(_day(done_utc_s + after_s, "%H:%M"), after_s)


def _day(utc_s: float, more: str = "") -> str:
    """Day, and time of day where asked for, as it is where this runs."""
    return time.strftime(f"%Y-%m-%d {more}".strip(), time.localtime(utc_s))
