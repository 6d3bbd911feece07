"""What a job is about: its settings, the outline with its openings and doors, and the grid.

Functions over a connection; the caller holds the transaction.
"""

import json
import math
import sqlite3
from collections.abc import Iterable, Sequence
from numbers import Real
from typing import Protocol, TypeVar

from rig.errors import BadInput
from rig.job.rows import DoorEnds, DoorGiven, Given, Json, Point, Ring
from rig.job.settings import Settings
from rig.job.trouble import SAID, stored_json
from rig.language import kept, say

_AMOUNTS = {
    "min_cover_mm": say("minimum cover"),
    "max_cover_mm": say("maximum cover"),
    "bag_yield_l": say("bag yield"),
    "bag_mass_kg": say("bag mass"),
    "bag_water_l": say("bag water"),
    "waste_share": "waste",
}
IN_WORDS = {"units": "units", "denominator": "denominator", "covering": "covering", **_AMOUNTS}
_COLUMNS = ("units", "denominator", "covering", *_AMOUNTS)


T = TypeVar("T")


def to_json(value: object, what: str) -> str:
    """Write a value as JSON; arrays and scalars with `tolist` are taken as what they list.

    Sentences are kept as English, and beside them, under `SAID`, what they were made of.

    Raises
    ------
    BadInput
        If a number in it is not finite.
    """
    said = kept(value)
    if said and isinstance(value, dict):
        value = {**value, SAID: said}
    try:
        return json.dumps(value, allow_nan=False, separators=(",", ":"), default=_listed)
    except ValueError as error:
        raise BadInput(
            say("{what} holds a number that is not finite; it is not kept.", what=what)
        ) from error


def text(value: str, what: str) -> str:
    """Return a text that is not empty and that a file can hold, or refuse it."""
    if not value.strip():
        raise BadInput(say("{what} is empty; give it a name.", what=what))
    return storable(value, what)


def storable(value: str, what: str) -> str:
    """Return a text, empty or not, that a file can hold, or refuse it."""
    try:
        value.encode()
    except UnicodeEncodeError as error:
        raise BadInput(
            say("{what} {value!a} is not readable text; write it in UTF-8.", what=what, value=value)
        ) from error
    return value


def finite(value: float, what: str) -> float:
    """Return a number as a float, or refuse it if it is not finite."""
    number = float(value)
    if not math.isfinite(number):
        raise BadInput(
            say("{what} is {number}: it must be a finite number.", what=what, number=number)
        )
    return number


def read_settings(connection: sqlite3.Connection) -> dict[str, object]:
    """Return every setting as the file keeps it, None where it was not given."""
    row = connection.execute(f"SELECT {', '.join(_COLUMNS)}, other FROM job").fetchone()
    settings: dict[str, object] = stored_json(row[-1], dict)
    return settings | dict(zip(_COLUMNS, row, strict=False))


def write_settings(connection: sqlite3.Connection, settings: Settings) -> None:
    """Write the settings in place of those there."""
    told = settings.stored()
    columns = {key: _checked(key, told.pop(key)) for key in _COLUMNS}
    other = stored_json(connection.execute("SELECT other FROM job").fetchone()[0], dict)
    for key, value in told.items():
        if value is None:
            other.pop(key, None)
        else:
            other[key] = value
    columns["other"] = to_json(other, "a setting")
    assignments = ", ".join(f"{key} = ?" for key in columns)
    connection.execute(f"UPDATE job SET {assignments}", tuple(columns.values()))


def read_outline(
    connection: sqlite3.Connection,
) -> tuple[Ring, tuple[Ring, ...], tuple[DoorEnds, ...]]:
    """Return the walls' ring, the openings' rings and the doors, in the order they were given."""
    rings: dict[int, list[tuple[float, float]]] = {}
    for ring, x_mm, y_mm in connection.execute(
        "SELECT ring, x_mm, y_mm FROM outline ORDER BY ring, corner"
    ):
        rings.setdefault(ring, []).append((x_mm, y_mm))
    walls = tuple(rings.pop(0, ()))
    doors = connection.execute("SELECT x_mm, y_mm, end_x_mm, end_y_mm FROM door ORDER BY id")
    return walls, tuple(map(tuple, rings.values())), tuple(map(DoorEnds._make, doors))


def write_outline(
    connection: sqlite3.Connection,
    walls: Sequence[Sequence[float]],
    openings: Iterable[Sequence[Sequence[float]]] = (),
    doors: Iterable[DoorGiven] = (),
) -> None:
    """Put walls, openings and doors in place of those there.

    A door is given by four numbers x, y, end x, end y (mm), or by anything with `x_mm`, `y_mm`,
    `end_x_mm` and `end_y_mm`.
    """
    corners = [
        (number, corner, finite(x_mm, "a corner"), finite(y_mm, "a corner"))
        for number, ring in enumerate((walls, *openings))
        for corner, (x_mm, y_mm) in enumerate(ring)
    ]
    ends = [tuple(finite(value, "a door's end") for value in _ends(door)) for door in doors]
    connection.execute("DELETE FROM outline")
    connection.execute("DELETE FROM door")
    connection.executemany(
        "INSERT INTO outline (ring, corner, x_mm, y_mm) VALUES (?, ?, ?, ?)", corners
    )
    connection.executemany(
        "INSERT INTO door (x_mm, y_mm, end_x_mm, end_y_mm) VALUES (?, ?, ?, ?)", ends
    )


_RULE = ("key", "text", "source", "per", "amount", "unit", "package")


def read_material_rules(connection: sqlite3.Connection) -> list[Json]:
    """Return the rules for materials that the job keeps, as dicts."""
    rows = connection.execute(f"SELECT {', '.join(_RULE)} FROM material_rule ORDER BY id")
    return [dict(zip(_RULE, row, strict=True)) for row in rows]


def write_material_rules(connection: sqlite3.Connection, rules: Iterable[Given]) -> None:
    """Write rules, each in place of the one of its key."""
    changes = ", ".join(f"{name} = excluded.{name}" for name in _RULE[1:])
    connection.executemany(
        f"INSERT INTO material_rule ({', '.join(_RULE)}) VALUES (?, ?, ?, ?, ?, ?, ?) "
        f"ON CONFLICT (key) DO UPDATE SET {changes}",
        [tuple(rule[name] for name in _RULE) for rule in rules],
    )


def read_points(connection: sqlite3.Connection) -> list[Point]:
    """Return the grid in the order of the walk."""
    rows = connection.execute(
        'SELECT substr(label, 1, 64), x_mm, y_mm, "order" FROM point ORDER BY "order", id'
    )
    return [Point(*row) for row in rows]


def write_points(
    connection: sqlite3.Connection, points: Iterable[tuple[str, float, float, int]]
) -> None:
    """Put a grid in place of the one there."""
    rows = [
        (
            text(label, "a point's label"),
            finite(x_mm, say("x of point {label}", label=label)),
            finite(y_mm, say("y of point {label}", label=label)),
            int(order),
        )
        for label, x_mm, y_mm, order in points
    ]
    twice = first_repeated(row[0] for row in rows)
    if twice is not None:
        raise BadInput(
            say("the grid has the label {twice} twice; give each point its own.", twice=twice)
        )
    connection.execute("DELETE FROM point")
    connection.executemany(
        'INSERT INTO point (label, x_mm, y_mm, "order") VALUES (?, ?, ?, ?)', rows
    )


def first_repeated(labels: Iterable[T]) -> T | None:
    """Return the first item that was there before, or None."""
    seen: set[T] = set()
    for label in labels:
        if label in seen:
            return label
        seen.add(label)
    return None


def _checked(key: str, value: object) -> str | float | None:
    if key == "units":
        if value not in ("in", "mm"):
            raise BadInput(say("units are {value!r}: they must be in or mm.", value=value))
        return str(value)
    if value is None and key != "denominator":
        return None
    if key == "covering":
        return text(str(value), say("the covering"))
    name = IN_WORDS[key]
    if isinstance(value, bool) or not isinstance(value, Real):
        raise BadInput(say("the {name} is {value!r}: it must be a number.", name=name, value=value))
    number = finite(float(value), say("the {name}", name=name))
    if key == "denominator":
        if number < 1 or number != int(number) or number > 1024:
            raise BadInput(
                say(
                    "the denominator is {value}: it must be a whole number up to 1024.", value=value
                )
            )
        return int(number)
    if number < 0:
        raise BadInput(
            say("the {name} is {value}: it must not be negative.", name=name, value=value)
        )
    return number


def _ends(door: DoorGiven) -> tuple[float, float, float, float]:
    if isinstance(door, Sequence):
        x_mm, y_mm, end_x_mm, end_y_mm = door
        return x_mm, y_mm, end_x_mm, end_y_mm
    return door.x_mm, door.y_mm, door.end_x_mm, door.end_y_mm


class _Array(Protocol):
    def tolist(self) -> object: ...


def _listed(value: _Array) -> object:
    return value.tolist()
