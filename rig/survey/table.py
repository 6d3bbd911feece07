"""Tables of shots: read a CSV whole or not at all, and write one that reads back the same."""

import csv
import io
import math
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rig.devices.typed import TypedReader
from rig.errors import BadInput
from rig.files import write_whole
from rig.job.rows import SAME_PLACE_MM
from rig.room import Outline
from rig.survey.plausibility import LONGEST_TYPED_MM
from rig.units import counted, parse_length

if TYPE_CHECKING:
    from rig.job.rows import Shot

KINDS = ("floor", "benchmark", "threshold", "finished")
NEEDED = ("label", "x", "y", "reading")
OPTIONAL = ("stderr", "setup", "kind")
EXPORTED = ("label", "x_mm", "y_mm", "reading_mm", "stderr_mm", "setup", "kind")
OUTSIDE_MM = 25.0
LONGEST_ROD_MM = 20_000.0
# A table read in too small a unit stands crammed in one corner of the room: from so many places
# on, within so small a part of it.
LEAST_CRAMMED, CRAMMED_SHARE = 4, 1.0 / 8.0
_UNITS_MM = {"mm": 1.0, "cm": 10.0, "in": 25.4, "ft": 304.8, "m": 1000.0}


@dataclass(frozen=True)
class Row:
    """One shot of a table; x and y are None for a benchmark without a place."""

    point: str
    x_mm: float | None
    y_mm: float | None
    reading_mm: float
    stderr_mm: float
    setup: str
    kind: str


def read_table(
    path: Path, unit: str, outline: "Outline", grid: dict[str, tuple[float, float]]
) -> list[Row]:
    """Read `label,x,y,reading[,stderr][,setup][,kind]`; every length is in `unit` unless it says.

    Column names may end in `_mm` where the unit is mm, as in the tables that `write_table` makes.
    A reading without its own standard error counts as a tape reading.

    Parameters
    ----------
    path : Path
    unit : str
        Of bare numbers: mm, cm, m, in or ft.
    outline : Outline
        Floor shots must lie in it.
    grid : dict of label to (x_mm, y_mm)
        A row with a grid point's label must stand at its place.

    Raises
    ------
    BadInput
        With the line at fault, or the unit that the table must be in; nothing is taken then.
    """
    tape_mm = TypedReader("in" if unit in ("in", "ft") else "mm").stderr_mm
    rows: list[Row] = []
    seen: dict[tuple[str, str, str], int] = {}
    for line, cells in _cells(path, unit):

        def refuse(text: str, line: int = line) -> BadInput:
            return BadInput(f"{path}, line {line}: {text} Nothing was taken; mend it and retry.")

        def length(column: str, cells: dict[str, str] = cells, line: int = line) -> float:
            try:
                return parse_length(cells[column], unit=unit, what=column)
            except BadInput as error:
                raise refuse(str(error), line) from None

        label = cells["label"].strip()
        if label.upper() in grid:
            label = label.upper()
        if not label:
            raise refuse("the label is missing.")
        kind = cells.get("kind", "").strip() or "floor"
        if kind not in KINDS:
            raise refuse(f"kind {kind!r} is not known; it is one of {', '.join(KINDS)}.")
        setup = cells.get("setup", "").strip() or "1"
        placeless = kind == "benchmark" and not cells["x"].strip() and not cells["y"].strip()
        x_mm, y_mm = (None, None) if placeless else (length("x"), length("y"))
        reading_mm = length("reading")
        if abs(reading_mm) > LONGEST_ROD_MM:
            raise refuse(
                f"the reading is {reading_mm / 1000:.1f} m, longer than any rod: is --unit {unit} "
                "right?"
            )
        if reading_mm < 0.0 and kind in ("floor", "finished"):
            raise refuse(
                f"{label} reads less than 0. A reading is how far the line stands above the floor, "
                "larger where the floor is lower; turn heights into readings first."
            )
        stderr_mm = length("stderr") if cells.get("stderr", "").strip() else tape_mm
        if stderr_mm < 0.0 or (stderr_mm == 0.0 and kind == "benchmark"):
            raise refuse("the standard error must be above 0.")

        once = (kind, label, setup if kind == "benchmark" else "")
        if once in seen:
            raise refuse(f"{label} stands in line {seen[once]} already.")
        seen[once] = line
        if x_mm is not None and y_mm is not None and kind != "benchmark":
            if label in grid and math.dist((x_mm, y_mm), grid[label]) > SAME_PLACE_MM:
                x, y = grid[label]
                raise refuse(f"the grid has {label} at {x:.0f}, {y:.0f} mm, not here.")
            if kind != "threshold" and (off_mm := _outside_mm(outline, x_mm, y_mm)) > OUTSIDE_MM:
                ask = f" Is --unit {unit} right?" if off_mm > _reach_mm(outline) / 2.0 else ""
                raise refuse(f"{label} lies outside the walls or in an opening.{ask}")
        # A line may be tied by a sight of the very spot; else two places would pass for one.
        if kind == "benchmark" and label in grid:
            x, y = grid[label]
            if x_mm is None or y_mm is None or math.dist((x_mm, y_mm), (x, y)) > SAME_PLACE_MM:
                raise refuse(
                    f"{label} is a grid point: give the benchmark a name of its own, as BM1."
                )
        rows.append(Row(label, x_mm, y_mm, reading_mm, stderr_mm, setup, kind))
    if not rows:
        raise BadInput(f"{path} has a heading but no rows.")
    likelier = _likelier_unit(rows, unit, outline)
    if likelier:
        raise BadInput(
            f"{path}: read in {unit}, all places stand crammed in one corner of the room; read in "
            f"{likelier} they fill it. Nothing was taken; retry with --unit {likelier}."
        )
    return rows


def write_table(path: Path, shots: "Iterable[Shot]") -> None:
    """Write shots as CSV in millimetres, digits enough to read back the same numbers."""
    made = io.StringIO()
    table = csv.writer(made)
    table.writerow(EXPORTED)
    for shot in shots:
        numbers: list[Any] = [shot.x_mm, shot.y_mm, shot.reading_mm, shot.stderr_mm]
        shown = ["" if number is None else repr(number) for number in numbers]
        table.writerow([shot.point, *shown, shot.setup, shot.kind])
    write_whole(path, made.getvalue())


def read_columns(path: Path, needed: tuple[str, ...], unit: str) -> list[tuple[float, ...]]:
    """Read a table of lengths with exactly the columns `needed`, such as x,y.

    Raises
    ------
    BadInput
        With the line at fault.
    """
    rows = []
    for line, cells in _cells(path, unit, needed, ()):
        try:
            rows.append(tuple(parse_length(cells[name], unit=unit, what=name) for name in needed))
        except BadInput as error:
            raise BadInput(f"{path}, line {line}: {error}") from None
    if not rows:
        raise BadInput(f"{path} has a heading but no rows.")
    return rows


def read_timed(path: Path, unit: str) -> tuple[list[float], list[float]]:
    """Read a table `seconds,reading`; the readings are lengths in `unit`.

    Raises
    ------
    BadInput
        With the line at fault.
    """
    times, readings = [], []
    for line, cells in _cells(path, unit, ("seconds", "reading"), ()):
        try:
            times.append(float(cells["seconds"]))
            readings.append(parse_length(cells["reading"], unit=unit, what="reading"))
        except BadInput as error:
            raise BadInput(f"{path}, line {line}: {error}") from None
        except ValueError:
            raise BadInput(
                f"{path}, line {line}: seconds {cells['seconds']!r} is no number."
            ) from None
        if not math.isfinite(times[-1]):
            raise BadInput(f"{path}, line {line}: seconds {cells['seconds']!r} is not finite.")
    return times, readings


def _cells(
    path: Path, unit: str, needed: tuple[str, ...] = NEEDED, optional: tuple[str, ...] = OPTIONAL
) -> Iterator[tuple[int, dict[str, str]]]:
    """Yield (line number, column name to text); every fault of the frame is refused here."""
    try:
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise BadInput(f"There is no file {path}.") from None
    except UnicodeDecodeError:
        raise BadInput(f"{path} is no text file in UTF-8. Save the table as CSV.") from None
    except OSError as error:
        raise BadInput(f"{path} cannot be read: {error.strerror}.") from None
    wanted = ",".join(needed) + "".join(f"[,{name}]" for name in optional)
    reader = csv.reader(text.splitlines(), strict=True)
    names: list[str] = []
    try:
        for record in reader:
            if not any(cell.strip() for cell in record):
                continue
            if not names:
                names = _heading(path, reader.line_num, record, unit, needed, optional, wanted)
            elif len(record) != len(names):
                raise BadInput(
                    f"{path}, line {reader.line_num}: {counted(len(record), 'cell')}, "
                    f"but the heading names {len(names)}."
                )
            else:
                yield reader.line_num, dict(zip(names, record, strict=True))
    except csv.Error as error:
        raise BadInput(f"{path}, line {reader.line_num}: {error}.") from None
    if not names:
        raise BadInput(f"{path} is empty; it needs a heading {wanted} and rows.")


def _heading(
    path: Path,
    line: int,
    record: list[str],
    unit: str,
    needed: tuple[str, ...],
    optional: tuple[str, ...],
    wanted: str,
) -> list[str]:
    names = []
    for cell in record:
        name = cell.strip().lower()
        if name.endswith("_mm"):
            if unit != "mm":
                raise BadInput(
                    f"{path}, line {line}: column {name} is in mm, but --unit is {unit}."
                )
            name = name.removesuffix("_mm")
        if name not in needed + optional:
            commas = " Its cells must be parted by commas." if re.search(r"[;\t]", cell) else ""
            raise BadInput(
                f"{path}, line {line}: column {cell!r} is not known; it takes {wanted}.{commas}"
            )
        if name in names:
            raise BadInput(f"{path}, line {line}: column {cell!r} stands twice.")
        names.append(name)
    missing = [name for name in needed if name not in names]
    if missing:
        raise BadInput(
            f"{path}, line {line}: column {missing[0]!r} is missing; the heading is {wanted}."
        )
    return names


def _likelier_unit(rows: list[Row], unit: str, outline: "Outline") -> str | None:
    """Name the larger unit in which a crammed table would fill the room, where there is one."""
    places = [
        (row.x_mm, row.y_mm, row.reading_mm)
        for row in rows
        if row.kind in ("floor", "finished") and row.x_mm is not None and row.y_mm is not None
    ]
    if len(places) < LEAST_CRAMMED:
        return None
    xs, ys, readings = zip(*places, strict=True)
    span_mm, reach_mm = math.hypot(max(xs) - min(xs), max(ys) - min(ys)), _reach_mm(outline)
    if span_mm > CRAMMED_SHARE * reach_mm:
        return None
    for other in sorted(_UNITS_MM, key=_UNITS_MM.__getitem__, reverse=True):
        times = _UNITS_MM[other] / _UNITS_MM[unit]
        if (
            times * span_mm >= reach_mm / 2.0
            and times * max(readings) <= LONGEST_TYPED_MM
            and all(_outside_mm(outline, times * x, times * y) <= OUTSIDE_MM for x, y, _ in places)
        ):
            return other
    return None


def _reach_mm(outline: "Outline") -> float:
    """How far the room reaches from corner to corner."""
    left, low, right, high = outline.polygon.bounds
    return math.hypot(right - left, high - low)


def _outside_mm(outline: "Outline", x_mm: float, y_mm: float) -> float:
    from shapely import Point

    distance: float = outline.polygon.distance(Point(x_mm, y_mm))
    return distance
