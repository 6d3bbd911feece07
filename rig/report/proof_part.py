"""The part of a report that proves the flatness, of the finished surface or of the floor."""

from collections.abc import Sequence

import numpy as np

from rig.drawing.flatness import flatness_drawing
from rig.drawing.vector import Floats
from rig.errors import CannotAnswer
from rig.language import put
from rig.report.document import Block, Facts, Figure, Section, Table, Tone, Words, bullets, section
from rig.report.source import Source
from rig.study.judged import own_heights
from rig.study.proof_answer import Change, PourProof, Proof, Strip, strips
from rig.units import Units
from rig.words import flatness as words
from rig.words import join, numeral, say, say_many

TONES: dict[str, Tone] = {"in": "good", "out": "bad", "unsure": "unsure"}
MOST_STRIPS = 20


def proof_section(source: Source) -> Section:
    """Verdict and where it comes from."""
    rule, why = source.rule
    assumed = None if why is None else Words(why, "small")
    try:
        told = source.proof
    except CannotAnswer as error:
        return section(
            "proof", say("Proof of flatness"), Words(say("Not yet: {error}", error=error))
        )
    failed = strips(source.job, source.outline, rule, told.kind, source.surfaces)
    settle = [source.where(place.x_mm, place.y_mm) for place in told.next]
    verdict, *behind = verdict_blocks(told, source.job.units, settle)
    return section(
        "proof",
        say("Proof of flatness")
        if told.kind == "finished"
        else say("Flatness of the floor as it is"),
        verdict,
        assumed,
        *behind,
        _strips_table(source, failed),
        _figure(source, told, failed[1:] if told.worst else failed),
    )


def verdict_blocks(told: Proof, units: Units, settle: Sequence[str]) -> list[Block]:
    """What is told of a proof, on paper and on the screen; `settle` says the shots to take."""
    unsure = told.verdict == "unsure"
    says = words.SAYS[told.kind][told.verdict]
    text = units.own(told.text)
    blocks = [
        Words(say(says, rule=told.rule, text=text), TONES[told.verdict], told="answer"),
        Words(words.conforms(told.chance, told.confidence, unsure), told="answer"),
        *_worst_blocks(told, units),
        bullets(
            told.warnings,
            "warning",
            told="answer" if unsure else "why",
            reminder=say_many(
                "{count} warning stands behind this.",
                "{count} warnings stand behind this.",
                len(told.warnings),
            ),
        ),
        Words(say("To settle it, shoot: {places}.", places=join("; ", settle)), told="answer")
        if settle
        else None,
        *_pour_blocks(told, units),
        Facts(tuple(_facts(told, units))),
        _lines_table(told),
        Words(words.STANDARD_RULES, "small"),
    ]
    return [block for block in blocks if block is not None]


def _worst_blocks(told: Proof, units: Units) -> list[Block]:
    blocks: list[Block] = []
    worst = told.worst
    if worst is not None:
        text = say(
            words.WORDING[told.measure].worst,
            off=units.off(worst.gap_mm),
            where=worst.where,
            limit=_limit(told, units),
        )
        blocks.append(Words(text, told="answer"))
    for name, number, ci90 in (("FF", told.ff, told.ff_ci90), ("FL", told.fl, told.fl_ci90)):
        if ci90 is not None:
            blocks.append(Words(words.f_number(name, number, ci90), told="answer"))
    return blocks


def _pour_blocks(told: Proof, units: Units) -> list[Block | None]:
    if not isinstance(told, PourProof):
        return []
    blocks: list[Block | None] = []
    before = told.before
    if before is not None:
        gap = before.worst.gap_mm if before.worst else None
        text = words.before_pour(before.verdict, told.measure, gap, units)
        blocks.append(Words(text, told="answer"))
    if told.change is not None:
        kicked = [
            words.kicked(one.label, one.off_mm, units) for one in told.change.markers if one.kicked
        ]
        blocks += [bullets(kicked, "warning", told="answer"), _markers_table(told.change, units)]
    return blocks


def _limit(told: Proof, units: Units) -> str:
    assert told.worst is not None
    return say(
        words.WORDING[told.measure].limit,
        limit=units.length(told.worst.limit_mm),
        span=units.place(told.worst.span_mm),
    )


def _facts(told: Proof, units: Units) -> list[tuple[str, str]]:
    own = units.own(told.text)
    rule = (
        words.rule(told.rule, own)
        if own == told.text
        else words.rule_in_own_units(told.rule, own, told.text)
    )
    rows = [(say("Rule"), rule), (say("Source"), told.source)]
    if told.worst is not None:
        worst_is = say(
            "{between} 9 times in 10, reckoned to the limit of the worst place",
            between=units.between(*told.worst.range_mm),
        )
        rows.append((say("The worst anywhere"), worst_is))
    if told.share_in is not None:
        within = say(words.WORDING[told.measure].within, share=numeral(told.share_in, ".1%"))
        rows.append((say("Within the limit"), within))
    if isinstance(told, PourProof) and told.change is not None and told.change.depth_mm:
        depth = told.change.depth_mm
        text = words.raised(told.change.points, depth.min, depth.max, depth.mean, units)
        rows.append((say("The pour raised it by"), text))
    return rows


def _lines_table(told: Proof) -> Table | None:
    if not told.lines:
        return None
    rows = tuple((one.line, words.endless(one.ff), words.endless(one.fl)) for one in told.lines)
    return Table(say("F-numbers of the lines"), (say("Line"), "FF", "FL"), rows, right=(1, 2))


def _figure(source: Source, told: Proof, failed: Sequence[Strip]) -> Figure:
    heights = own_heights(source.job, source.outline, told.kind)
    surface = source.surfaces.of(heights, built=told.kind == "floor")
    rows: dict[str, list[tuple[float, float]]] = {}
    names = {line.line for line in told.lines}
    for label, x, y in zip(heights.labels, heights.x_mm, heights.y_mm, strict=True):
        name, dash, _ = label.partition("-")
        if dash and name in names:
            rows.setdefault(name, []).append((float(x), float(y)))
    lines: list[tuple[str, Floats]] = [
        (name, np.array(places)) for name, places in rows.items() if len(places) > 1
    ]
    finished = told.kind == "finished"
    return Figure(
        "flatness",
        flatness_drawing(
            source.outline,
            source.look,
            lambda x, y: surface.predict(x, y, quick=True)[0],
            told,
            failed,
            lines,
            say("Flatness of the finished surface") if finished else say("Flatness of the floor"),
        ),
    )


def _strips_table(source: Source, failed: Sequence[Strip]) -> Table | None:
    if not failed:
        return None
    rows = tuple(
        (
            source.length(one.gap_mm),
            source.length(one.limit_mm),
            source.where(one.x_mm, one.y_mm),
        )
        for one in failed[:MOST_STRIPS]
    )
    return Table(
        say("Strips that fail, each dip once"),
        (say("Gap"), say("Limit"), say("Where")),
        rows,
        right=(0, 1),
    )


def _markers_table(change: Change, units: Units) -> Table | None:
    if not change.markers:
        return None
    rows = tuple(
        (
            one.label,
            ("+" if one.off_mm > 0 else "") + units.length(one.off_mm),
            put("± {doubt}", doubt=units.doubt(2 * one.stderr_mm)),
            say("was it kicked?") if one.kicked else "",
        )
        for one in change.markers
    )
    return Table(
        say("Cured surface over the tops of the markers"),
        (say("Marker"), say("Surface less top"), "95 %", ""),
        rows,
        right=(1, 2),
    )
