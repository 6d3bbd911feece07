"""What a tolerance rule is: where it comes from, what it limits, how a floor is held against it.

Each measure of `rig.flatness.measures` is a class of rules: a straightedge's, pairs of points, the
two ends of a floor, F-numbers. All are asked the same.
"""

from __future__ import annotations

import itertools
import math
from abc import ABC, abstractmethod
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar, Literal, Self, TypeGuard

from rig.errors import BadInput
from rig.language import join, put, say
from rig.texts import LONGEST_TEXT
from rig.units import METRIC, Units

if TYPE_CHECKING:
    from rig.flatness.field import Field
    from rig.flatness.level_lines import LevelLine
    from rig.flatness.model import Model, Shared
    from rig.flatness.straightedge import Placement
    from rig.flatness.verdict import Verdict
    from rig.room import Outline


@dataclass(frozen=True)
class Edge:
    """One straightedge of a rule: no gap between supports up to `length_mm` apart may exceed it.

    `whole`: the edge is a thing of this length, so all of it must lie on the floor; otherwise it
    is as long as its supports are apart.
    """

    length_mm: float
    limit_mm: float
    whole: bool


@dataclass(frozen=True, kw_only=True)
class Rule(ABC):
    """A tolerance rule as its file has it.

    Attributes
    ----------
    measure : str
        Name of what it limits, in rule files and in JSON.
    keys : tuple of str
        Of its table in a rule file.
    holds_shared : bool
        Whether its verdict on a surface holds errors that all shots share.
    by_lines : bool
        Whether lines that were shot for it are judged in the place of the surface.
    lengths_mm, limits_mm : tuples of float
        Lengths rise, limits never fall; none for F-numbers.
    """

    measure: ClassVar[str]
    keys: ClassVar[tuple[str, ...]]
    holds_shared: ClassVar[bool] = False
    by_lines: ClassVar[bool] = False

    key: str
    text: str
    source: str = ""
    edition: str = ""
    from_memory: str = ""
    lengths_mm: tuple[float, ...] = ()
    limits_mm: tuple[float, ...] = ()

    @classmethod
    @abstractmethod
    def read(cls, table: Table, **texts: str) -> Self:
        """Make the rule of its table in a file and its texts."""

    @abstractmethod
    def judge(
        self,
        outline: Outline,
        model: Model,
        confidence: float,
        shared: Shared | None = None,
        units: Units = METRIC,
    ) -> Verdict:
        """Judge a modelled floor.

        Parameters
        ----------
        outline : Outline
        model : Model
        confidence : float
        shared : callable, optional
            What errors that all shots share do to the heights, where the rule holds them.
        units : Units
            Of warnings.
        """

    @abstractmethod
    def judge_lines(
        self,
        lines: Sequence[LevelLine],
        confidence: float,
        area_m2: float | None = None,
        units: Units = METRIC,
    ) -> Verdict:
        """Judge a table of lines; what lies beside the lines is not judged.

        Parameters
        ----------
        lines : sequence of LevelLine
        confidence : float
        area_m2 : float, optional
            Of the section; unknown for a bare table.
        units : Units
            Of warnings and refusals.

        Raises
        ------
        BadInput
            Where the lines are too short for the rule, or their readings too far apart.
        """

    def limit_mm(self, span_mm: float) -> float | None:
        """Limit for a distance between supports, points or ends; None where there is none."""
        return None

    def failed_strips(
        self, surface: Callable[[], Field], outline: Outline, most: int
    ) -> list[Placement]:
        """Strips of a surface that break the rule, the worst first, where it has such."""
        return []


@dataclass(frozen=True, kw_only=True)
class LengthRule(Rule):
    """A rule whose limit goes by a length.

    Attributes
    ----------
    between : 'next' or 'line'
        Between two lengths the limit is that of the longer one, or on a straight line.
    round_mm : float
        A limit between two lengths is rounded to this; 0 leaves it.
    """

    keys = ("lengths_mm", "limits_mm", "between", "round_mm")

    between: Literal["next", "line"] = "next"
    round_mm: float = 0.0

    @classmethod
    def read(cls, table: Table, **texts: str) -> Self:
        """Make the rule of a table of lengths and limits."""
        lengths, limits = table.numbers("lengths_mm"), table.numbers("limits_mm")
        if len(lengths) != len(limits):
            raise table.refusal(
                say(
                    "{lengths} lengths_mm come with {limits} limits_mm; give as many.",
                    lengths=len(lengths),
                    limits=len(limits),
                )
            )
        if any(b <= a for a, b in itertools.pairwise(lengths)):
            raise table.refusal(say("lengths_mm must rise from one to the next."))
        if any(b < a for a, b in itertools.pairwise(limits)):
            raise table.refusal(say("limits_mm must not fall as the length grows."))
        between: Literal["next", "line"]
        match table.values.get("between", "next"):
            case "next":
                between = "next"
            case "line":
                between = "line"
            case _:
                raise table.refusal(say("between must be 'next' or 'line'."))
        round_mm = table.values.get("round_mm", 0)
        if not _is_number(round_mm) or not 0 <= round_mm < 9:
            raise table.refusal(say("round_mm must be a number of mm, as 1."))
        return cls(
            lengths_mm=lengths,
            limits_mm=limits,
            between=between,
            round_mm=float(round_mm),
            **texts,
        )

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


@dataclass(frozen=True)
class Table:
    """A table of a rule's file; `where` is what its refusals call it."""

    values: Mapping[str, object]
    where: str

    def refusal(self, reason: str) -> BadInput:
        """Say what is wrong."""
        return BadInput(put("{where}: {reason}", where=self.where, reason=reason))

    def refuse_unknown(self, known: Sequence[str], place: str = "") -> None:
        """Refuse a key that is not known."""
        for key in self.values:
            if key not in known:
                raise BadInput(
                    say(
                        "{where}{place}: the key {key!r} is not known; it takes {known}.",
                        where=self.where,
                        place=place,
                        key=key,
                        known=join(", ", known),
                    )
                )

    def text(self, word: str, needed: bool = False) -> str:
        """Text of a key."""
        value = self.values.get(word, "")
        if not isinstance(value, str) or (needed and not value.strip()):
            raise self.refusal(say("{word} must be a text in quotes.", word=word))
        if len(value) > LONGEST_TEXT:
            raise self.refusal(
                say(
                    "{word} is longer than {longest_text} characters.",
                    word=word,
                    longest_text=LONGEST_TEXT,
                )
            )
        return value

    def number(self, word: str) -> float | None:
        """Number above 0 of a key, where there is one."""
        value = self.values.get(word)
        if value is None:
            return None
        if not _is_number(value) or not 0 < value < 1e6:
            raise self.refusal(say("{word} must be a number above 0.", word=word))
        return float(value)

    def needed(self, word: str) -> float:
        """Number above 0 of a key that must be there."""
        number = self.number(word)
        if number is None:
            raise self.refusal(say("{word} is missing.", word=word))
        return number

    def numbers(self, word: str) -> tuple[float, ...]:
        """Numbers above 0, one or more, of a key."""
        values = self.values.get(word)
        if not isinstance(values, list) or not values:
            raise self.refusal(say("{word} must be a list of numbers in mm, as [2000].", word=word))
        for value in values:
            if not _is_number(value) or not 0 < value < 1e7:
                raise self.refusal(
                    say(
                        "{word} holds {value!r}; every one must be a number above 0.",
                        word=word,
                        value=value,
                    )
                )
        return tuple(float(value) for value in values)


def _is_number(value: object) -> TypeGuard[float]:
    return isinstance(value, int | float) and not isinstance(value, bool)
