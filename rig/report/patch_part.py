"""The part of a report on patches: the least work that passes a rule, where it was asked for."""

from rig.drawing.work import patches_drawing
from rig.errors import CannotAnswer
from rig.flatness.rules import load_rule
from rig.report.document import Block, Figure, Section, Table, Words, bullets, section
from rig.report.source import Source
from rig.report.text import to_text
from rig.study.patching import PatchAnswer, patch_answer
from rig.units import Units, format_chance
from rig.words import money, say, say_many
from rig.words import patch as words
from rig.words.plan import waste as waste_words

TITLE = say("Patches instead of a pour")


def patches_section(source: Source) -> Section | None:
    """The least work that passes a rule, where it was asked for."""
    if source.options.patch is None:
        return None
    rule = load_rule(source.options.patch)
    try:
        told = patch_answer(source.job, source.outline, rule, source.options.confidence)
    except CannotAnswer as error:
        return section("patches", TITLE, Words(error.text))
    return section(
        "patches",
        TITLE,
        *patch_blocks(told, source.job.units),
        Figure("patches", patches_drawing(source.outline, source.look, told.patches)),
    )


def patch_blocks(told: PatchAnswer, units: Units) -> list[Block]:
    """What is told of patches, on paper and on the screen."""
    lead = words.chosen(told.way, told.rule, len(told.patches), told.area_m2, told.chance, units)
    waste = waste_words(told.bags.waste, told.bags.waste_share)
    blocks = [
        Words(lead, "lead", told="answer"),
        Words(words.buy(told.bags.p95, told.bags.p50, waste), told="answer"),
        _places_table(told, units),
        bullets(
            told.warnings,
            "warning",
            reminder=say_many(
                "{count} warning stands behind this.",
                "{count} warnings stand behind this.",
                len(told.warnings),
            ),
        ),
        _ways_table(told, units),
        Words(words.PROVED_AFTER, told="answer"),
        bullets(told.assumptions),
    ]
    return [block for block in blocks if block is not None]


def patch_text(told: PatchAnswer, units: Units, *, why: bool = False) -> str:
    """Write what `rig plan --patch` prints."""
    cautions = section(
        "cautions", say("Cautions"), bullets(told.cautions, reminder=words.CAUTIONS_IN_SHORT)
    )
    return to_text([section("patches", TITLE, *patch_blocks(told, units)), cautions], why=why)


def _ways_table(told: PatchAnswer, units: Units) -> Table:
    rows = tuple(
        (
            words.WAYS[one.way],
            units.volume(one.fill_l),
            units.volume(one.grind_l),
            str(one.bags.p95),
            "" if one.cost is None else money(f"{one.cost:.2f}"),
            "" if one.chance is None else format_chance(one.chance),
        )
        for one in told.comparison
    )
    head = (say("Way"), say("Fill"), say("Grind"), say("Bags (95 %)"), say("Cost"), say("Passes"))
    return Table(say("Ways to choose from"), head, rows, right=(1, 2, 3, 4, 5))


def _places_table(told: PatchAnswer, units: Units) -> Table | None:
    if not told.patches:
        return None
    rows = tuple(
        (
            str(n),
            units.area(one.area_m2),
            units.doubt(one.deepest_mm),
            words.volumes(one.fill_l, one.grind_l, units),
            one.where,
        )
        for n, one in enumerate(told.patches, 1)
    )
    head = (say("No"), say("Area"), say("Deepest"), say("Takes"), say("Where"))
    return Table(say("Places"), head, rows, right=(1, 2), told="answer")
