"""An outline from a file: WKT, or a CSV of corners."""

import csv
import os
import re
from pathlib import Path

import numpy as np
import shapely

from rig.errors import BadInput
from rig.room.geometry import Point
from rig.room.outline import Outline, from_rings
from rig.units import counted, parse_length


def from_file(path: str | os.PathLike[str], unit: str) -> Outline:
    """
    Outline from a file.

    Parameters
    ----------
    path : path
        WKT `POLYGON ((...), (...))`, its holes being openings; or CSV with the header
        `ring,x,y`, where ring 0 (or else the first) is the walls, each other one an opening.
    unit : {'mm', 'cm', 'm', 'in', 'ft'}
        Of every coordinate.

    Raises
    ------
    BadInput
        Where the file can't be read, is neither, or holds no sound outline.
    """
    size = parse_length("1", unit=unit)
    name = Path(path).name
    try:
        text = Path(path).read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise BadInput(f"there is no file {path}.") from None
    except UnicodeDecodeError:
        raise BadInput(f"{name} is not a text file (UTF-8); give WKT or CSV.") from None
    except OSError as error:
        raise BadInput(f"{path} cannot be read: {error.strerror}.") from None
    if re.match(r"\s*(?:SRID=\d+;)?\s*[A-Za-z]+\s*(?:ZM?|M)?\s*(?:\(|EMPTY)", text):
        return _from_wkt(re.sub(r"^\s*SRID=\d+;", "", text), size, name)
    return _from_csv(text, unit, name)


def _from_wkt(text: str, size: float, name: str) -> Outline:
    try:
        with np.errstate(all="ignore"):  # what is no number is refused below
            shape = shapely.from_wkt(text.strip())
    except shapely.errors.ShapelyError as error:
        reason = str(error).splitlines()[0]
        raise BadInput(
            f"{name} is not sound WKT ({reason}); write POLYGON ((x y, ...)), "
            "each ring ending on its first corner."
        ) from None
    if shape is None or shape.geom_type != "Polygon" or shape.is_empty:
        kind = "nothing" if shape is None or shape.is_empty else f"a {shape.geom_type}"
        raise BadInput(f"{name} holds {kind}; an outline is one POLYGON, its holes the openings.")

    def scaled(ring: shapely.LinearRing) -> list[Point]:
        return [(size * x, size * y) for x, y, *_ in ring.coords]

    return from_rings(scaled(shape.exterior), map(scaled, shape.interiors))


def _from_csv(text: str, unit: str, name: str) -> Outline:
    reader = csv.reader(text.splitlines())
    rings: dict[str, list[Point]] = {}
    try:
        header = [cell.strip().lower() for cell in next(reader, [])]
        if not {"ring", "x", "y"} <= set(header):
            raise BadInput(
                f"{name}, line 1: the header must be ring,x,y (or the file a WKT POLYGON)."
            )
        ring, x, y = (header.index(column) for column in ("ring", "x", "y"))
        for row in reader:
            if not any(cell.strip() for cell in row):
                continue
            line = f"{name}, line {reader.line_num}"
            if len(row) != len(header):
                raise BadInput(
                    f"{line}: {counted(len(row), 'cell')} where the header has {len(header)}."
                )
            corner = tuple(
                parse_length(row[column], unit=unit, what=f"{line}: {axis}")
                for axis, column in (("x", x), ("y", y))
            )
            rings.setdefault(row[ring].strip(), []).append((corner[0], corner[1]))
    except csv.Error as error:
        raise BadInput(f"{name}, line {reader.line_num}: {error}.") from None
    if not rings:
        raise BadInput(f"{name} has a header but no corners.")
    walls = rings.pop("0") if "0" in rings else rings.pop(next(iter(rings)))
    return from_rings(walls, rings.values())
