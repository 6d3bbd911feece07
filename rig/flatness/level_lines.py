"""Reads a table of level readings along lines: `line,reading`, equally spaced, in walking order."""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from rig.errors import BadInput
from rig.flatness.field import Floats
from rig.units import counted, parse_length

LONGEST_ROD_MM = 20_000.0
_COLUMNS = ("line", "reading")


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
    try:
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise BadInput(f"There is no file {path}.") from None
    except UnicodeDecodeError:
        raise BadInput(f"{path} is no text file in UTF-8. Save the table as CSV.") from None
    except OSError as error:
        raise BadInput(f"{path} cannot be read: {error.strerror}.") from None
    found: dict[str, list[float]] = {}
    finest = np.inf
    names: list[str] = []
    current = None
    reader = csv.reader(text.splitlines(), strict=True)
    try:
        for record in reader:
            at = f"{path}, line {reader.line_num}"
            if not any(cell.strip() for cell in record):
                continue
            if not names:
                names = _heading(record, unit, at)
                continue
            if len(record) != len(names):
                raise BadInput(
                    f"{at}: {counted(len(record), 'cell')}, but the heading names {len(names)}."
                )
            cells = dict(zip(names, (cell.strip() for cell in record), strict=True))
            name = cells["line"]
            if not name:
                raise BadInput(f"{at}, column line: the name of the line is missing.")
            if not cells["reading"]:
                raise BadInput(
                    f"{at}, column reading: there is none. Readings are equally spaced, so none "
                    "may be missing; shoot it, or cut the line in two names there."
                )
            if name != current and name in found:
                raise BadInput(
                    f"{at}, column line: {name} comes back after another line; keep its readings "
                    "together, in the order in which they were taken."
                )
            reading = parse_length(cells["reading"], unit=unit, what=f"{at}, column reading")
            if abs(reading) > LONGEST_ROD_MM:
                raise BadInput(
                    f"{at}, column reading: {reading / 1000:.1f} m is longer than any rod."
                )
            found.setdefault(name, []).append(reading)
            finest = min(finest, _last_digit(cells["reading"], unit))
            current = name
    except csv.Error as error:
        raise BadInput(f"{path}, line {reader.line_num}: {error}.") from None
    if not names:
        raise BadInput(f"{path} is empty; it needs a heading line,reading and rows.")
    if not found:
        raise BadInput(f"{path} has a heading but no rows.")
    stderr = float(finest / np.sqrt(12.0)) if np.isfinite(finest) else 0.0
    return [LevelLine(name, -np.array(row), step_mm, stderr) for name, row in found.items()]


def _heading(record: list[str], unit: str, at: str) -> list[str]:
    names = []
    for cell in record:
        name = cell.strip().lower()
        if name.endswith("_mm"):
            if unit != "mm":
                raise BadInput(f"{at}: column {name} is in mm, but --unit is {unit}.")
            name = name.removesuffix("_mm")
        if name not in _COLUMNS or name in names:
            raise BadInput(f"{at}: column {cell!r} is not expected; the heading is line,reading.")
        names.append(name)
    if len(names) < 2:
        raise BadInput(f"{at}: the heading is line,reading.")
    return names


def _last_digit(text: str, unit: str) -> float:
    """Size in mm of the last digit written, or of the fraction's denominator."""
    if parts := re.search(r"/ *(\d+)", text):
        return parse_length(f"1/{parts[1]}", unit="in") if int(parts[1]) else np.inf
    number = re.match(r"[-+]?\d*(?:\.(\d*))?", text)
    digits = len(number[1] or "") if number else 0
    size: float = parse_length("1", unit=unit) / 10.0**digits
    return size
