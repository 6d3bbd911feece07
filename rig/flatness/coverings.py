"""Which tolerance rule goes with what will lie on a floor, by the words people have for it.

Figures are those of the rules; which covering asks for which is common practice, no source, save
where a rule's own text says it. The covering's maker rules.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from rig.errors import BadInput
from rig.flatness.rules import SHIPPED
from rig.language import join, say
from rig.units.parsing import quotable


@dataclass(frozen=True, slots=True)
class Covering:
    """A kind of covering: its name, the rule it asks for, and other words that mean it.

    Its name is typed and kept in English; `told` says it to people.
    """

    name: str
    told: str
    rule: str
    words: tuple[str, ...]


# A word of a later row that is longer wins: "small tile" before "tile", "vinyl plank" before
# "vinyl". Tiles without a size are taken for large ones, whose rule is the stricter.
COVERINGS = (
    Covering("tile", say("large tiles"), "a108-large", (
        "tiles", "large tile", "large tiles", "porcelain", "ceramic", "stone", "marble", "slate",
        "fliesen", "fliese", "azulejo", "azulejos", "baldosa", "baldosas", "carrelage", "płytki",
        "плитка",
    )),
    Covering("small tile", say("small tiles"), "a108-small", (
        "small tiles", "mosaic", "mosaics", "mosaik",
    )),
    Covering("plank", say("planks that click"), "click-lock", (
        "planks", "vinyl plank", "vinyl planks", "click-lock", "click", "floating", "laminate",
        "laminat", "lvp", "lvt",
    )),
    Covering("wood", say("wood"), "click-lock", (
        "hardwood", "parquet", "parkett", "engineered wood", "oak", "boards", "bamboo", "cork",
    )),
    Covering("sheet", say("sheet: vinyl, linoleum, resin"), "bs8204-sr1", (
        "vinyl", "sheet vinyl", "linoleum", "lino", "rubber", "resin", "epoxy", "paint",
    )),
    Covering("carpet", say("carpet"), "bs8204-sr2", (
        "carpets", "carpet tile", "carpet tiles", "teppich",
    )),
)  # fmt: skip


def rule_of_covering(covering: str) -> str | None:
    """Return the key of the rule that a covering asks for, None where no rule knows the word.

    Parameters
    ----------
    covering : str
        In the user's words, such as "oak planks"; the key of a rule means itself.
    """
    said = covering.strip().lower()
    if said in SHIPPED:
        return said
    found = [
        (len(word), kind.rule)
        for kind in COVERINGS
        for word in (kind.name, *kind.words)
        if re.search(rf"(?<!\w){re.escape(word)}(?!\w)", said)
    ]
    return max(found, key=lambda one: one[0])[1] if found else None


def told_covering(covering: str) -> str:
    """Return how a covering is told to people: a kind of ours in their language, else as given."""
    return next((kind.told for kind in COVERINGS if kind.name == covering), covering)


def known_covering(covering: str) -> str:
    """Return a covering as it was given, or refuse one that no rule knows, with the list."""
    if rule_of_covering(covering) is None:
        kinds = join(", ", (f"{kind.name} ({kind.rule})" for kind in COVERINGS))
        raise BadInput(
            say(
                "No rule knows the covering “{covering}”. The coverings are {kinds}; or give "
                "the key of a rule, see rig rules.",
                covering=quotable(covering),
                kinds=kinds,
            )
        )
    return covering
