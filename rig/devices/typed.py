"""Readings typed by hand from a tape, and the commands typed between them."""

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass
from statistics import median
from typing import Literal

from rig.devices.reading import Reading
from rig.errors import BadInput
from rig.language import say
from rig.units import INCH_FORMS, METRIC_FORMS, System, parse_length, with_point

Act = Literal["accept", "undo", "skip", "quit"]

TypedUnit = Literal["in", "ft", "mm", "cm", "m"]
UNITS: tuple[TypedUnit, ...] = ("in", "ft", "mm", "cm", "m")
_MM = {"in": 25.4, "ft": 304.8, "mm": 1.0, "cm": 10.0, "m": 1000.0}
_OF_SYSTEM: dict[System, tuple[TypedUnit, ...]] = {"in": ("in", "ft"), "mm": ("mm", "cm", "m")}

# A tape is read to its finest mark, a grade rod to a hundredth of a foot, and stood on the floor
# by eye (common practice, no source).
TAPE_RESOLUTION_MM = {"in": 25.4 / 16, "ft": 304.8 / 100, "mm": 1.0, "cm": 1.0, "m": 1.0}
TYPED_FOOT_MM = 0.5
# A line stands between a hand's breadth and head height over a floor; what is read under the same
# line is no three times as much (common practice, no source).
LEAST_LINE_MM, MOST_LINE_MM = 40.0, 3000.0
MOST_TIMES, NEAR_TIMES = 3.0, 1.5


def typed_stderr_mm(resolution_mm: float, foot_mm: float = TYPED_FOOT_MM) -> float:
    """Return the standard uncertainty of one typed reading: √(resolution²/12 + foot²).

    A value rounded to its mark is off by a uniform error, whose variance is a twelfth of the
    square of the step (JCGM 100:2008, 4.3.7).
    """
    return math.sqrt(resolution_mm**2 / 12 + foot_mm**2)


_COMMA = re.compile(r"\+?[0-9]+,[0-9]+")
_ACTS: dict[str, Act] = {"": "accept", "y": "accept", "u": "undo", "s": "skip", "q": "quit"}


@dataclass(frozen=True, slots=True)
class Doubted:
    """A bare number that is not taken before its unit is said.

    Attributes
    ----------
    text : str
        As it was typed.
    choices : tuple of str
        Units that explain it, the likely one first.
    blocks : bool
        Whether nothing can go on: no unit is settled yet.
    """

    text: str
    choices: tuple[TypedUnit, ...]
    blocks: bool

    def means_mm(self, unit: TypedUnit) -> float:
        """Return the reading that it would be."""
        return parse_length(self.text, unit=unit, what="reading")


class TypedReader:
    """Makes readings and acts of typed lines.

    Parameters
    ----------
    units : {'in', 'mm'}
        The job's units, meant by a bare number where no unit is settled.
    resolution_mm, foot_mm : float, optional
        How finely the tape is read and how well its foot finds the floor.
    unit : {'in', 'ft', 'mm', 'cm', 'm'}, optional
        What a bare number is, where that is settled.
    known_mm : iterable of float
        What was read under this line before.

    Attributes
    ----------
    stderr_mm : float
        Standard uncertainty of the reading parsed last, or of one in the settled unit
        (`typed_stderr_mm`).
    """

    def __init__(
        self,
        units: System,
        resolution_mm: float | None = None,
        foot_mm: float = TYPED_FOOT_MM,
        *,
        unit: TypedUnit | None = None,
        known_mm: Iterable[float] = (),
    ) -> None:
        self.units = units
        self.unit = unit
        self._given_mm, self._foot_mm = resolution_mm, foot_mm
        self._known_mm = list(known_mm)
        self._read_in: str = unit or units
        self._halved_mm = math.inf  # the finest part of an inch that was read yet

    @property
    def resolution_mm(self) -> float:
        """One mark of what the last reading was read from; between marks, where they are halved."""
        if self._given_mm is not None:
            return self._given_mm
        coarse_mm = TAPE_RESOLUTION_MM[self._read_in]
        return min(coarse_mm, self._halved_mm) if self._read_in == "in" else coarse_mm

    @property
    def stderr_mm(self) -> float:
        """Standard uncertainty of the last reading."""
        return typed_stderr_mm(self.resolution_mm, self._foot_mm)

    def doubt(self, line: str) -> Doubted | None:
        """Return what must be asked before a line is taken, None where nothing must.

        The first bare number settles the unit: where one unit of the job's system explains it that
        is it, and a fraction is inches.
        """
        text = self._pointed(line.strip())
        value = _bare(text)
        if value is None:
            return None
        if "/" in text and self.unit in (None, "in"):
            self.unit = "in"
            return None
        return self._first(text, value) if self.unit is None else self._later(text, value)

    def _pointed(self, text: str) -> str:
        """A bare number of a metric job with the point in place of a decimal comma."""
        is_metric = self.units == "mm" and self.unit not in ("in", "ft")
        return text.replace(",", ".") if is_metric and _COMMA.fullmatch(text) else text

    def _first(self, text: str, value: float) -> Doubted | None:
        """Settle the unit by the first bare number, or say what it may be."""
        explain = [unit for unit in UNITS if _is_line(value * _MM[unit])]
        mine = [unit for unit in explain if unit in _OF_SYSTEM[self.units]]
        if mine == [self.units]:
            self.unit = self.units
        elif explain:
            return Doubted(text, tuple(mine or explain), blocks=True)
        return None

    def _later(self, text: str, value: float) -> Doubted | None:
        """Doubt a number that the settled unit does not explain and another one does."""
        usual_mm = median(self._known_mm) if self._known_mm else None

        def fits(unit: TypedUnit, times: float) -> bool:
            mm = value * _MM[unit]
            return _is_line(mm) and (usual_mm is None or _within(mm, usual_mm, times))

        assert self.unit is not None
        if fits(self.unit, MOST_TIMES):
            return None
        own = _OF_SYSTEM[self.units]
        order = (*own, *(unit for unit in UNITS if unit not in own))
        likely = [unit for unit in order if unit != self.unit and fits(unit, NEAR_TIMES)]
        return Doubted(text, (likely[0], self.unit), blocks=False) if likely else None

    def answer(self, doubted: Doubted, line: str) -> str | None:
        """Return the doubted reading with its unit, where a line names one that was offered.

        Raises
        ------
        BadInput
            In that unit it is no reading under any line.
        """
        said = line.strip().lower()
        unit = next((one for one in doubted.choices if one == said), None)
        if unit is None:
            return None
        if not _is_line(doubted.means_mm(unit)):
            raise BadInput(
                say(
                    "{doubted} {unit} is no reading under a line; type the reading again.",
                    doubted=doubted.text,
                    unit=unit,
                )
            )
        if doubted.blocks:
            self.unit = unit
        return f"{doubted.text} {unit}"

    def parse(self, line: str, time_s: float, utc_s: float) -> Reading | Act:
        """Return what a line means.

        ``u`` undoes, ``s`` skips, ``y`` or an empty line accepts, ``q`` ends; anything else is a
        length, in the settled unit or the job's where it names none.

        Raises
        ------
        BadInput
            The line is none of these, or a reading below 0.
        """
        text = line.strip()
        act = _ACTS.get(text.lower())
        if act is not None:
            return act
        unit = self.unit or self.units
        if self.units == "mm":
            text = with_point(text, unit)
        forms = METRIC_FORMS if self.units == "mm" else INCH_FORMS
        value_mm = parse_length(text, unit=unit, what="reading", forms=forms)
        if value_mm < 0:
            raise BadInput(
                say(
                    "The reading {text} is below 0; it is taken up from the floor to the line.",
                    text=text,
                )
            )
        if unit != self.units and _bare(text) is not None:
            text = f"{text} {unit}"  # so that the log tells it alone
        part = re.search(r"/(32|64)\b", text)
        if part is not None:
            self._halved_mm = min(self._halved_mm, 25.4 / int(part[1]))
        named = re.search(r"[0-9] ?(ft|cm|m)$", text)
        self._read_in = named[1] if named else self.units
        self._known_mm.append(value_mm)
        return Reading(time_s, utc_s, text, "valid", value_mm)


def _bare(text: str) -> float | None:
    """Value of a number that names no unit, None where it names one or is none."""
    found = re.fullmatch(r"\+?(?:(\d+)[ -])?(\d+)/(\d+)|\+?(\d+\.?\d*|\.\d+)", text)
    if found is None:
        return None
    if found[4]:
        return float(found[4])
    return float(found[1] or 0) + float(found[2]) / float(found[3] or 1) if int(found[3]) else None


def _is_line(mm: float) -> bool:
    return LEAST_LINE_MM <= mm <= MOST_LINE_MM


def _within(mm: float, other_mm: float, times: float) -> bool:
    return other_mm / times <= mm <= other_mm * times
