"""The floor as found, as a part of the report and as what `rig floor` prints."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from rig.drawing.characters import floor_in_characters
from rig.drawing.floor import floor_drawing
from rig.drawing.look import Look
from rig.language import put
from rig.report.document import Block, Facts, Figure, Section, Table, Words, bullets, section
from rig.room import Outline
from rig.study.floor_answer import FloorAnswer
from rig.study.laser_budget import Budget, BudgetRow
from rig.study.picture import Picture
from rig.units import Units
from rig.words import floor as words
from rig.words import join, numeral, say
from rig.words import laser as laser_words

TITLE = say("The floor as found")
# Part of the draws whose highest place the dashed line takes in.
LIKELY_SHARE = 0.95
_LOOKS_TOLD, _WORTH_TELLING_BAGS = 6, 0.05


@dataclass(frozen=True, kw_only=True)
class FloorTold:
    """A floor that is to be told: the study's answer, and what is drawn beside it.

    Attributes
    ----------
    answer : FloorAnswer
    picture : Picture
        Of the same floor.
    look : Look
        Of the drawing.
    units : Units
    where : callable
        Of x and y in mm: words for a place.
    drawn : bool
        Whether with the drawing.
    looked_on : bool
        Whether it was reckoned which shots are worth the walk.
    """

    answer: FloorAnswer
    picture: Picture
    look: Look
    units: Units
    where: Callable[[float, float], str]
    drawn: bool = True
    looked_on: bool = True


def floor_section(told: FloorTold) -> Section:
    """Tell a floor: the answer first, then its doubt, the ties of its set-ups, its drawing."""
    answer, units, where = told.answer, told.units, told.where
    high, low, picture = answer.high, answer.low, told.picture
    return section(
        "floor",
        TITLE,
        Words(words.out_of_level(answer.shots, answer.range_mm, units), "lead", told="answer"),
        Facts(
            (
                (
                    say("High point"),
                    words.below_the_line(high.z_mm, where(high.x_mm, high.y_mm), units),
                ),
                (
                    say(
                        "By the shots, with {confidence} nothing stands higher than",
                        confidence=numeral(answer.confidence, ".0%"),
                    ),
                    say(
                        "{upper} below the line, {z} over the best estimate",
                        upper=units.length(-high.upper_mm),
                        z=units.length(high.upper_mm - high.z_mm),
                    ),
                ),
                (
                    say("Low point"),
                    words.below_the_line(low.z_mm, where(low.x_mm, low.y_mm), units),
                ),
            ),
            told="answer",
        ),
        bullets(
            [
                words.height_at(one.x_mm, one.y_mm, one.z_mm, one.stderr_mm, units)
                for one in answer.points
            ],
            told="answer",
        ),
        bullets(answer.warnings, "warning", told="answer"),
        Facts(
            (
                (
                    say("A shot is sure to"),
                    put("± {doubt} (95 %)", doubt=units.doubt(2 * picture.shot_stderr_mm)),
                ),
                (
                    say("Roughness between shots"),
                    put(
                        "± {doubt} (95 %)",
                        doubt=units.doubt(2 * float(np.sqrt(picture.surface.nugget_mm2))),
                    ),
                ),
            )
        ),
        _figure(told) if told.drawn else None,
        *ties_blocks(answer, units),
        *doubt_blocks(answer.budget, units),
        *(next_blocks(answer, units, where) if told.looked_on else []),
        *(look_blocks(answer, units, where) if told.looked_on else []),
    )


def next_blocks(
    answer: FloorAnswer, units: Units, where: Callable[[float, float], str]
) -> list[Block | None]:
    """Tell which shots are worth the walk."""
    if not answer.next:
        return [Words(words.no_more_worth_it(), told="answer")]
    first, last = answer.next[0], answer.next[-1]
    saved = sum(shot.bags for shot in answer.next)
    return [
        Words(
            words.shots_worth_it(saved, first.doubt_mm, last.left_mm, units),
            told="answer",
        ),
        bullets(
            [
                words.shot_worth_it(where(one.x_mm, one.y_mm), one.plane_mm, one.bags, units)
                for one in answer.next
            ],
            told="answer",
        ),
        Words(words.beside_the_grid()),
    ]


def look_blocks(
    answer: FloorAnswer, units: Units, where: Callable[[float, float], str]
) -> list[Block | None]:
    """Tell where a straightedge shows what the shots can't."""
    looks = answer.look_between
    bags = sum(one.bags for one in looks)
    if bags < _WORTH_TELLING_BAGS:
        return []
    return [
        Words(words.humps_may_hide(len(looks), max(one.hides_mm for one in looks), bags, units)),
        bullets(
            [
                words.look_worth_it(where(one.x_mm, one.y_mm), one.hides_mm, one.bags, units)
                for one in looks[:_LOOKS_TOLD]
            ]
        ),
    ]


def ties_blocks(answer: FloorAnswer, units: Units) -> list[Block | None]:
    """Tell how the set-ups stand to each other, and how well their benchmarks agree."""
    first, *others = answer.setups
    if not others:
        return []
    ties = answer.ties
    lines = [
        laser_words.line_over(one.setup, one.line_mm, one.stderr_mm, first.setup, units)
        for one in others
    ]
    if ties.misfit is None or ties.chance_agree is None:
        return [bullets([*lines, laser_words.no_spare_sight()])]
    worst = max(ties.sights, key=lambda sight: abs(sight.residual_mm))
    agree = laser_words.sights_disagree(
        ties.redundancy,
        ties.misfit,
        ties.chance_agree,
        (worst.benchmark, worst.setup, worst.residual_mm),
        units,
    )
    return [bullets([*lines, agree])]


def doubt_blocks(budget: Budget | None, units: Units) -> list[Block | None]:
    """Tell where the doubt of results comes from, and what would make it less."""
    if budget is None:
        return []

    def amount(value: float, row: BudgetRow) -> str:
        if row.unit == "mm":
            return units.doubt(value) if value > 0 else "0"
        if row.unit == "l":
            return units.volume(value)
        return put("{n} {unit}", n=numeral(value, ".2f"), unit=row.unit)

    rows = tuple(
        (
            row.quantity,
            put("± {amount}", amount=amount(2.0 * row.stderr, row)),
            join(
                "; ",
                (
                    put(
                        "{amount} {source}",
                        amount=amount(2.0 * part.stderr, row),
                        source=part.source,
                    )
                    for part in row.parts
                    if part.stderr
                ),
            ),
        )
        for row in budget.rows
        if row.stderr > 0
    )
    head = (say("Of"), say("In all, 95%"), say("Made of, each as if alone"))
    table = Table(say("Where the doubt comes from"), head, rows) if rows else None
    return [table, bullets([*budget.notes, *budget.advice])]


def _figure(told: FloorTold) -> Figure:
    answer, picture, outline = told.answer, told.picture, told.picture.outline
    heights = picture.heights
    places = (heights.x_mm.tolist(), heights.y_mm.tolist(), heights.z_mm.tolist())

    def in_characters(columns: int) -> list[str]:
        return floor_in_characters(
            outline,
            told.look,
            lambda x, y: picture.surface.predict(x, y, quick=True)[0],
            answer.high,
            answer.low,
            columns,
        )

    drawing = floor_drawing(
        outline,
        told.look,
        lambda x, y: picture.surface.predict(x, y, quick=True),
        list(zip(heights.labels, *places, strict=True)),
        answer.high,
        answer.low,
        likely_high(picture, outline),
    )
    return Figure("floor", drawing, in_characters)


def likely_high(picture: Picture, outline: Outline) -> BaseGeometry:
    """Return the least area that holds the high point 95 times in 100, rounded off."""
    extremes, cells = picture.extremes, picture.cells
    order = np.argsort(-extremes.chance_high)
    count = int(np.searchsorted(np.cumsum(extremes.chance_high[order]), LIKELY_SHARE)) + 1
    chosen = order[:count]
    reach = 1.5 * cells.step_mm
    spots = shapely.buffer(
        shapely.points(cells.x_mm[chosen], cells.y_mm[chosen]), reach, quad_segs=4
    )
    whole = shapely.union_all(spots).buffer(-0.3 * reach)
    likely: BaseGeometry = shapely.simplify(
        whole.intersection(outline.polygon), 0.2 * cells.step_mm
    )
    return likely
