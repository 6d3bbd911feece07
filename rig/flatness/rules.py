"""Reads tolerance rules from TOML: what a rule measures, and the limit it sets at a length.

A straightedge rule is a table of lengths and limits. Between its lengths the limit is that of the
next longer edge (`next`: two edges, each with its own limit) or on a straight line (`line`). A
rule on levelness has such a table too: by how much one end of a floor may stand over the other.
"""

from __future__ import annotations

import itertools
import math
import tomllib
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from typing import Any, Literal

from rig.errors import BadInput

Measure = Literal["straightedge", "pairs", "level", "f-numbers"]
MEASURES = ("straightedge", "pairs", "level", "f-numbers")

SHIPPED = (
    *(f"din18202-{row}" for row in range(1, 5)),
    "din18202-level",
    "a108-small",
    "a108-large",
    *(f"bs8204-sr{grade}" for grade in range(1, 4)),
    "e1155",
    "click-lock",
)

_SPAN_STEP_MM = 5.0  # how finely a limit that grows with the span is cut into edges
_TEXTS = ("text", "source", "edition", "from_memory")
_TABLES = {
    "straightedge": ("lengths_mm", "limits_mm", "between", "round_mm"),
    "pairs": ("lengths_mm", "limits_mm", "between", "round_mm"),
    "level": ("lengths_mm", "limits_mm", "between", "round_mm"),
    "f-numbers": ("ff", "fl", "local_ff", "local_fl"),
}


@dataclass(frozen=True)
class Edge:
    """One straightedge of a rule: no gap between supports up to `length_mm` apart may exceed it.

    `whole`: the edge is a thing of this length, so all of it must lie on the floor; otherwise it
    is as long as its supports are apart.
    """

    length_mm: float
    limit_mm: float
    whole: bool


@dataclass(frozen=True)
class Rule:
    """A tolerance rule as its file has it.

    Attributes
    ----------
    measure : 'straightedge', 'pairs', 'level' or 'f-numbers'
        Gaps under a straightedge, height differences of two points, of the two ends of a floor, or
        F-numbers.
    lengths_mm, limits_mm : tuples of float
        Of all but F-number rules; lengths rise, limits never fall.
    between : 'next' or 'line'
    round_mm : float
        A limit between two lengths is rounded to this; 0 leaves it.
    ff, fl, local_ff, local_fl : float or None
        Of F-number rules: for the section, and the least of any line.
    """

    key: str
    text: str
    source: str
    edition: str
    from_memory: str
    measure: Measure
    lengths_mm: tuple[float, ...] = ()
    limits_mm: tuple[float, ...] = ()
    between: Literal["next", "line"] = "next"
    round_mm: float = 0.0
    ff: float | None = None
    fl: float | None = None
    local_ff: float | None = None
    local_fl: float | None = None

    def limit_mm(self, span_mm: float) -> float | None:
        """Limit for supports (or two points) a distance apart, or None where there is none.

        Notes
        -----
        `line` follows DIN 18202: on a straight line between the tabled spacings, to the nearest
        whole mm (10.67 is 11; a handbook prints 10 at 6 m, row 3, which rounds down there; the
        nearest is followed, for it is what the table's own text asks). Below the first spacing
        its limit holds, beyond the last one that of the last.
        """
        lengths, limits = self.lengths_mm, self.limits_mm
        if self.measure == "f-numbers":
            return None
        for n, length in enumerate(lengths):
            if span_mm > length * (1 + 1e-9):
                continue
            if self.between == "next" or n == 0:
                return limits[n]
            share = (span_mm - lengths[n - 1]) / (length - lengths[n - 1])
            limit = limits[n - 1] + share * (limits[n] - limits[n - 1])
            if self.round_mm:
                limit = math.floor(limit / self.round_mm + 0.5 + 1e-9) * self.round_mm
            return limit
        return limits[-1] if self.between == "line" else None

    def edges(self, longest_mm: float) -> list[Edge]:
        """Straightedges that together hold the rule in a room, shortest first.

        Parameters
        ----------
        longest_mm : float
            The longest straight line in the room. A limit that grows with the span becomes one
            edge for each of its values; a fixed edge stays as long as the rule says.
        """
        if self.between == "next":
            return [
                Edge(length, limit, self.measure == "straightedge")
                for length, limit in zip(self.lengths_mm, self.limits_mm, strict=True)
            ]
        found: list[Edge] = []
        count = max(1, math.ceil(longest_mm / _SPAN_STEP_MM))
        for n in range(1, count + 1):
            span = min(n * _SPAN_STEP_MM, longest_mm)
            limit = self.limit_mm(span)
            assert limit is not None
            if found and found[-1].limit_mm == limit:
                found.pop()
            found.append(Edge(span, limit, False))
        return found


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
            f"There is no rule {key!r}. The rules are {', '.join(SHIPPED)}, or a file of your own "
            "ending in .toml."
        )
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError:
        raise BadInput(f"There is no file {path}.") from None
    except UnicodeDecodeError:
        raise BadInput(f"{path} is no text file in UTF-8; a rule is a TOML file.") from None
    except OSError as error:
        raise BadInput(f"{path} cannot be read: {error.strerror}.") from None
    return parse_rule(text, path.stem, str(path))


def parse_rule(text: str, key: str, name: str | None = None) -> Rule:
    """Read a rule from TOML text; `name` is what refusals call it."""
    where = name or f"rule {key}"
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise BadInput(f"{where} is not sound TOML: {error}.") from None
    measure = data.get("measure")
    if measure not in MEASURES:
        raise BadInput(f"{where}: measure must be one of {', '.join(MEASURES)}.")
    _refuse_unknown(data, (*_TEXTS, "measure", measure), where)
    table = data.get(measure)
    if not isinstance(table, dict):
        raise BadInput(f"{where}: the table [{measure}] is missing.")
    _refuse_unknown(table, _TABLES[measure], f"{where}, [{measure}]")
    texts: dict[str, Any] = {}
    for word in _TEXTS:
        value = data.get(word, "")
        if not isinstance(value, str) or (word == "text" and not value.strip()):
            raise BadInput(f"{where}: {word} must be a text in quotes.")
        texts[word] = value
    if measure == "f-numbers":
        figures: dict[str, Any] = {
            word: _positive(table.get(word), word, where) for word in _TABLES[measure]
        }
        return Rule(key=key, measure=measure, **texts, **figures)
    lengths = _numbers(table, "lengths_mm", where)
    limits = _numbers(table, "limits_mm", where)
    if len(lengths) != len(limits):
        raise BadInput(
            f"{where}: {len(lengths)} lengths_mm come with {len(limits)} limits_mm; give as many."
        )
    if any(b <= a for a, b in itertools.pairwise(lengths)):
        raise BadInput(f"{where}: lengths_mm must rise from one to the next.")
    if any(b < a for a, b in itertools.pairwise(limits)):
        raise BadInput(f"{where}: limits_mm must not fall as the length grows.")
    between = table.get("between", "next")
    if between not in ("next", "line"):
        raise BadInput(f"{where}: between must be 'next' or 'line'.")
    round_mm = table.get("round_mm", 0)
    if isinstance(round_mm, bool) or not isinstance(round_mm, int | float) or not 0 <= round_mm < 9:
        raise BadInput(f"{where}: round_mm must be a number of mm, as 1.")
    return Rule(
        key=key,
        measure=measure,
        **texts,
        lengths_mm=lengths,
        limits_mm=limits,
        between=between,
        round_mm=float(round_mm),
    )


def _refuse_unknown(table: dict[str, Any], known: tuple[str, ...], where: str) -> None:
    for key in table:
        if key not in known:
            raise BadInput(f"{where}: the key {key!r} is not known; it takes {', '.join(known)}.")


def _positive(value: Any, word: str, where: str) -> float | None:
    if value is None:
        if word.startswith("local"):
            return None
        raise BadInput(f"{where}: {word} is missing.")
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 < value < 1e6:
        raise BadInput(f"{where}: {word} must be a number above 0.")
    return float(value)


def _numbers(table: dict[str, Any], word: str, where: str) -> tuple[float, ...]:
    values = table.get(word)
    if not isinstance(values, list) or not values:
        raise BadInput(f"{where}: {word} must be a list of numbers in mm, as [2000].")
    for value in values:
        if isinstance(value, bool) or not isinstance(value, int | float) or not 0 < value < 1e7:
            raise BadInput(f"{where}: {word} holds {value!r}; every one must be a number above 0.")
    return tuple(float(value) for value in values)
