"""Tables of shots: read a CSV whole or not at all, and write one that reads back the same."""

import csv
import io
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from rig import texts
from rig.devices.typed import TypedReader
from rig.errors import BadInput
from rig.files import write_whole
from rig.job.rows import SAME_PLACE_MM
from rig.language import join, numeral, say
from rig.room import Outline
from rig.survey.table_doubts import LONGEST_TYPED_MM

if TYPE_CHECKING:
    from rig.job.rows import Shot

KINDS = ("floor", "benchmark", "threshold", "finished")
MOST_SHOTS = 100_000  # more than these no floor is made of: `rig.surface.gaussian_process`
NEEDED = ("label", "x", "y", "reading")
OPTIONAL = ("stderr", "setup", "kind")
EXPORTED = ("label", "x_mm", "y_mm", "reading_mm", "stderr_mm", "setup", "kind")
THINNER = say(
    "of a scan, keep the mean reading of each square of 25 mm (1 in) or more as one row: "
    "floor, plan and flatness work with such a scan, and more points would tell no more"
)
OUTSIDE_MM = 25.0
LONGEST_ROD_MM = 20_000.0
# A table read in too small a unit stands crammed in one corner of the room: from so many places
# on, within so small a part of it.
LEAST_CRAMMED, CRAMMED_SHARE = 4, 1.0 / 8.0
Place = tuple[float, float]
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


def read_table(path: Path, unit: str, outline: "Outline", grid: Mapping[str, Place]) -> list[Row]:
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
    grid : mapping of label to (x_mm, y_mm)
        A row with a grid point's label must stand at its place.

    Raises
    ------
    BadInput
        With the line at fault, or the unit that the table must be in; nothing is taken then.
    """
    from shapely import prepare

    tape_mm = TypedReader("in" if unit in ("in", "ft") else "mm").stderr_mm
    prepare(outline.polygon)
    rows: list[Row] = []
    seen: dict[tuple[str, str, str], int] = {}
    for told in texts.read_table(path, unit, NEEDED, OPTIONAL, most=MOST_SHOTS, thinner=THINNER):
        try:
            row = _row(told, tape_mm, grid)
            _refuse_twice(row, told.line, seen)
            _refuse_misplaced(row, unit, outline, grid)
        except BadInput as error:
            if str(error).startswith(f"{told.where}: "):
                text = say("{error} Nothing was taken; mend it and retry.", error=error)
            else:
                text = say(
                    "{where}: {error} Nothing was taken; mend it and retry.",
                    where=told.where,
                    error=error,
                )
            raise BadInput(text) from None
        rows.append(row)
    if not rows:
        raise texts.no_rows(path)
    likelier = _likelier_unit(rows, unit, outline)
    if likelier:
        raise BadInput(
            say(
                "{path}: read in {unit}, all places stand crammed in one corner of the room; "
                "read in {likelier} they fill it. Nothing was taken; retry with --unit "
                "{likelier}.",
                path=path,
                unit=unit,
                likelier=likelier,
            )
        )
    return rows


def _row(told: texts.Row, tape_mm: float, grid: Mapping[str, Place]) -> Row:
    """Read one row by itself."""
    label = _label(told.text("label"), grid)
    kind = told.text("kind") or "floor"
    if kind not in KINDS:
        raise BadInput(
            say(
                "kind {kind!r} is not known; it is one of {kinds}.",
                kind=kind,
                kinds=join(", ", KINDS),
            )
        )
    placeless = kind == "benchmark" and not told.text("x") and not told.text("y")
    x_mm, y_mm = (None, None) if placeless else (told.length("x"), told.length("y"))
    reading_mm = told.length("reading")
    if abs(reading_mm) > LONGEST_ROD_MM:
        raise BadInput(
            say(
                "the reading is {reading} m, longer than any rod: is --unit {unit} right?",
                reading=numeral(reading_mm / 1000, ".1f"),
                unit=told.unit,
            )
        )
    if reading_mm < 0.0 and kind in ("floor", "finished"):
        raise BadInput(
            say(
                "{label} reads less than 0. A reading is how far the line stands above the "
                "floor, larger where the floor is lower; turn heights into readings first.",
                label=label,
            )
        )
    stderr_mm = told.length("stderr") if told.text("stderr") else tape_mm
    if stderr_mm < 0.0 or (stderr_mm == 0.0 and kind == "benchmark"):
        raise BadInput(say("the standard error must be above 0."))
    return Row(
        label,
        x_mm,
        y_mm,
        reading_mm,
        stderr_mm,
        texts.name_of(told.text("setup") or "1", "set-up"),
        kind,
    )


def _label(written: str, grid: Mapping[str, Place]) -> str:
    if not written:
        raise BadInput(say("the label is missing."))
    texts.name_of(written, "label")
    return written.upper() if written.upper() in grid else written


def _refuse_twice(row: Row, line: int, seen: dict[tuple[str, str, str], int]) -> None:
    once = (row.kind, row.point, row.setup if row.kind == "benchmark" else "")
    if once in seen:
        raise BadInput(
            say("{point} stands in line {seen} already.", point=row.point, seen=seen[once])
        )
    seen[once] = line


def _refuse_misplaced(row: Row, unit: str, outline: "Outline", grid: Mapping[str, Place]) -> None:
    place = None if row.x_mm is None or row.y_mm is None else (row.x_mm, row.y_mm)
    meant = grid.get(row.point)
    if row.kind == "benchmark":
        # A line may be tied by a sight of the very spot; else two places would pass for one.
        if meant is not None and (place is None or math.dist(place, meant) > SAME_PLACE_MM):
            raise BadInput(
                say(
                    "{point} is a grid point: give the benchmark a name of its own, as BM1.",
                    point=row.point,
                )
            )
        return
    assert place is not None
    if meant is not None and math.dist(place, meant) > SAME_PLACE_MM:
        raise BadInput(
            say(
                "the grid has {point} at {meant}, {meant_2} mm, not here.",
                point=row.point,
                meant=numeral(meant[0], ".0f"),
                meant_2=numeral(meant[1], ".0f"),
            )
        )
    if row.kind != "threshold" and (off_mm := _outside_mm(outline, *place)) > OUTSIDE_MM:
        raise BadInput(
            say(
                "{point} lies outside the walls or in an opening. Is --unit {unit} right?",
                point=row.point,
                unit=unit,
            )
            if off_mm > _reach_mm(outline) / 2.0
            else say("{point} lies outside the walls or in an opening.", point=row.point)
        )


def write_table(path: Path, shots: "Iterable[Shot]") -> None:
    """Write shots as CSV in millimetres, digits enough to read back the same numbers."""
    made = io.StringIO()
    table = csv.writer(made)
    table.writerow(EXPORTED)
    for shot in shots:
        numbers = [shot.x_mm, shot.y_mm, shot.reading_mm, shot.stderr_mm]
        shown = ["" if number is None else repr(number) for number in numbers]
        names = (texts.as_cell(shot.point), texts.as_cell(shot.setup))
        table.writerow([names[0], *shown, names[1], shot.kind])
    write_whole(path, made.getvalue())


def read_columns(path: Path, needed: tuple[str, ...], unit: str) -> list[tuple[float, ...]]:
    """Read a table of lengths with exactly the columns `needed`, such as x,y.

    Raises
    ------
    BadInput
        With the line at fault.
    """
    rows = [
        tuple(row.length(column) for column in needed)
        for row in texts.read_table(path, unit, needed)
    ]
    if not rows:
        raise texts.no_rows(path)
    return rows


def read_timed(path: Path, unit: str) -> tuple[list[float], list[float]]:
    """Read a table `seconds,reading`; the readings are lengths in `unit`.

    Raises
    ------
    BadInput
        With the line at fault.
    """
    rows = [
        (row.number("seconds"), row.length("reading"))
        for row in texts.read_table(path, unit, ("seconds", "reading"))
    ]
    return [seconds for seconds, _ in rows], [reading_mm for _, reading_mm in rows]


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
    import shapely

    if shapely.contains_xy(outline.polygon, x_mm, y_mm):  # nearly always, and much the cheapest
        return 0.0
    distance: float = outline.polygon.distance(shapely.Point(x_mm, y_mm))
    return distance
