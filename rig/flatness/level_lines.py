"""Reads a table of level readings along lines: `line,reading`, equally spaced, in walking order."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from rig import texts
from rig.errors import BadInput
from rig.flatness.field import Floats
from rig.language import numeral, say
from rig.units import parse_length

LONGEST_ROD_MM = 20_000.0
# Every reading of a line may go with every other, and work grows with the square of them. A line of
# so many, a foot apart, is 600 m long.
MOST_IN_LINE = 2000
MOST_READINGS = 1_000_000


@dataclass(frozen=True, eq=False)
class LevelLine:
    """Heights along one line, up-positive, `step_mm` apart; `stderr_mm` is that of a reading.

    `shared_mm`, (n, k), is what each of k errors that all lines share (a laser's slope, say) does
    to the heights at one standard uncertainty; the columns stand for the same in every line.
    """

    name: str
    z_mm: Floats
    step_mm: float
    stderr_mm: float = 0.0
    shared_mm: Floats | None = None


def read_lines(path: Path, unit: str, step_mm: float) -> list[LevelLine]:
    """Read lines from a CSV; a larger reading is a lower floor.

    The readings of a line follow each other in the order in which they were taken. Their
    standard error is that of the last digit written (a twelfth of its square, as a variance);
    what the foot adds the table cannot tell.

    Parameters
    ----------
    path : Path
    unit : {'mm', 'cm', 'm', 'in', 'ft'}
        Of bare readings.
    step_mm : float
        Between readings.

    Raises
    ------
    BadInput
        With the line and column at fault: text, gaps, a line that comes back after another.
    """
    found: dict[str, list[float]] = {}
    finest = np.inf
    current = None
    for row in texts.read_table(path, unit, ("line", "reading"), most=MOST_READINGS):
        name = row.text("line")
        if not name:
            raise BadInput(
                say("{where}, column line: the name of the line is missing.", where=row.where)
            )
        if not row.text("reading"):
            raise BadInput(
                say(
                    "{where}, column reading: there is none. Readings are equally spaced, so "
                    "none may be missing; shoot it, or cut the line in two names there.",
                    where=row.where,
                )
            )
        if name != current and name in found:
            raise BadInput(
                say(
                    "{where}, column line: {name} comes back after another line; keep its "
                    "readings together, in the order in which they were taken.",
                    where=row.where,
                    name=name,
                )
            )
        reading = row.length("reading")
        if abs(reading) > LONGEST_ROD_MM:
            raise BadInput(
                say(
                    "{where}, column reading: {reading} m is longer than any rod.",
                    where=row.where,
                    reading=numeral(reading / 1000, ".1f"),
                )
            )
        readings = found.setdefault(name, [])
        readings.append(reading)
        if len(readings) > MOST_IN_LINE:
            raise BadInput(
                say(
                    "{where}, column line: {name} has more than {most_in_line} readings; cut "
                    "it into lines of their own names.",
                    where=row.where,
                    name=name,
                    most_in_line=MOST_IN_LINE,
                )
            )
        finest = min(finest, _last_digit(row.text("reading"), unit))
        current = name
    if not found:
        raise texts.no_rows(path)
    stderr = float(finest / np.sqrt(12.0)) if np.isfinite(finest) else 0.0
    return [LevelLine(name, -np.array(row), step_mm, stderr) for name, row in found.items()]


def _last_digit(text: str, unit: str) -> float:
    """Size in mm of the last digit written, or of the fraction's denominator."""
    if parts := re.search(r"/ *(\d+)", text):
        return parse_length(f"1/{parts[1]}", unit="in") if int(parts[1]) else np.inf
    number = re.match(r"[-+]?\d*(?:\.(\d*))?", text)
    digits = len(number[1] or "") if number else 0
    size: float = parse_length("1", unit=unit) / 10.0**digits
    return size
