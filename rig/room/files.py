"""An outline from a file: WKT, or a CSV of corners."""

import os
import re
from pathlib import Path

import numpy as np
import shapely

from rig.errors import BadInput
from rig.language import say
from rig.room.geometry import Point
from rig.room.outline import Outline, from_rings
from rig.texts import no_rows, read_text, table_rows
from rig.units import parse_length


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
    return from_text(read_text(path, say("give WKT or CSV")), Path(path).name, unit)


def from_text(text: str, name: str, unit: str) -> Outline:
    """Outline from the text of a file called `name`; see `from_file`."""
    size = parse_length("1", unit=unit)
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
            say(
                "{name} is not sound WKT ({reason}); write POLYGON ((x y, ...)), each ring "
                "ending on its first corner.",
                name=name,
                reason=reason,
            )
        ) from None
    if shape is None or shape.geom_type != "Polygon" or shape.is_empty:
        if shape is None or shape.is_empty:
            raise BadInput(
                say(
                    "{name} holds nothing; an outline is one POLYGON, its holes the openings.",
                    name=name,
                )
            )
        raise BadInput(
            say(
                "{name} holds a {kind}; an outline is one POLYGON, its holes the openings.",
                name=name,
                kind=shape.geom_type,
            )
        )

    def scaled(ring: shapely.LinearRing) -> list[Point]:
        return [(size * x, size * y) for x, y, *_ in ring.coords]

    return from_rings(scaled(shape.exterior), map(scaled, shape.interiors))


def _from_csv(text: str, unit: str, name: str) -> Outline:
    rings: dict[str, list[Point]] = {}
    for row in table_rows(text, name, unit, ("ring", "x", "y"), others=True):
        rings.setdefault(row.text("ring"), []).append((row.length("x"), row.length("y")))
    if not rings:
        raise no_rows(name)
    walls = rings.pop("0") if "0" in rings else rings.pop(next(iter(rings)))
    return from_rings(walls, rings.values())
