"""Reads tolerance rules from TOML: what a rule measures, and the limit it sets at a length.

A straightedge rule is a table of lengths and limits. Between its lengths the limit is that of the
next longer edge (`next`: two edges, each with its own limit) or on a straight line (`line`). A
rule on levelness has such a table too: by how much one end of a floor may stand over the other.
"""

from __future__ import annotations

from importlib import resources
from pathlib import Path

from rig.errors import BadInput
from rig.flatness.measures import MEASURES
from rig.flatness.rule import Rule, Table
from rig.language import join, say
from rig.texts import MOST_TOML_BYTES, parse_toml, read_text

SHIPPED = (
    *(f"din18202-{row}" for row in range(1, 5)),
    "din18202-level",
    "a108-small",
    "a108-large",
    *(f"bs8204-sr{grade}" for grade in range(1, 4)),
    "e1155",
    "click-lock",
)

_TEXTS = ("text", "source", "edition", "from_memory")


def load_rule(given: str | Path) -> Rule:
    """Load a shipped rule by its key, or the user's own by the path of its file.

    Raises
    ------
    BadInput
        For an unknown key, or a file that is wrong, with the key at fault.
    """
    key = str(given)
    if key in SHIPPED:
        text = (resources.files("rig.flatness") / "rules" / f"{key}.toml").read_text("utf-8")
        return parse_rule(text, key)
    path = Path(given)
    if path.suffix != ".toml" and not path.exists():
        raise BadInput(
            say(
                "There is no rule {key!r}. The rules are {shipped}, or a file of your own "
                "ending in .toml.",
                key=key,
                shipped=join(", ", SHIPPED),
            )
        )
    text = read_text(path, say("a rule is a TOML file"), MOST_TOML_BYTES)
    return parse_rule(text, path.stem, str(path))


def parse_rule(text: str, key: str, name: str | None = None) -> Rule:
    """Read a rule from TOML text; `name` is what refusals call it."""
    where = name or say("rule {key}", key=key)
    file = Table(parse_toml(text, where), where)
    measure = file.values.get("measure")
    kind = MEASURES.get(measure) if isinstance(measure, str) else None
    if kind is None:
        raise file.refusal(say("measure must be one of {measures}.", measures=join(", ", MEASURES)))
    file.refuse_unknown((*_TEXTS, "measure", kind.measure))
    values = file.values.get(kind.measure)
    if not isinstance(values, dict):
        raise file.refusal(say("the table [{measure}] is missing.", measure=kind.measure))
    table = Table(values, where)
    table.refuse_unknown(kind.keys, f", [{kind.measure}]")
    texts = {word: file.text(word, needed=word == "text") for word in _TEXTS}
    if name is None and key in SHIPPED:
        texts = {word: say(told) if told else told for word, told in texts.items()}
    return kind.read(table, key=key, **texts)
