"""The layout of depth markers, and which of them stand at their height.

Functions over a connection inside the caller's transaction. A new layout takes the place of the old
one, which is kept; a marker that stays as it was stays set.
"""

import sqlite3
from collections.abc import Iterable

from rig.errors import BadInput, CannotAnswer
from rig.job import plans, shots
from rig.job.description import finite, first_repeated, text
from rig.job.rows import Given, Marker, RoomView, Row
from rig.language import say

_GIVEN = "label, x_mm, y_mm, target_reading_mm, stick_out_mm, stick_out_stderr_mm"
_SELECT = (
    'SELECT id, plan_id, substr(label, 1, 64), x_mm, y_mm, "order", target_reading_mm, '
    "stick_out_mm, stick_out_stderr_mm, residual_mm, shot_id, set_utc_s FROM marker "
    "WHERE layout = (SELECT max(layout) FROM marker)"
)


def save(
    connection: sqlite3.Connection,
    layout: Iterable[Given],
    plan_id: int | None,
    room: RoomView | None = None,
) -> None:
    """Write a layout in its order; see `Job.save_markers`. Other rooms' markers stay before it."""
    if plan_id is None:
        plan_id = _current_plan(connection, room)
    rows = [_row(given) for given in layout]
    there = select(connection)
    others = [] if room is None else [m for m in there if not room.has(m.x_mm, m.y_mm)]
    twice = first_repeated([*(one.label for one in others), *(row[0] for row in rows)])
    if twice is not None:
        raise BadInput(say("two markers are called {twice}; give each its own label.", twice=twice))
    was_set: dict[Row, Marker] = {
        (old.label, old.x_mm, old.y_mm, old.target_reading_mm): old for old in there if old.is_set
    }
    (number,) = connection.execute("SELECT ifnull(max(layout), 0) + 1 FROM marker").fetchone()
    kept = [
        (one.plan_id, (one.label, one.x_mm, one.y_mm, one.target_reading_mm, one.stick_out_mm,
                       one.stick_out_stderr_mm))
        for one in others
    ]  # fmt: skip
    for order, (plan_id, row) in enumerate([*kept, *((plan_id, row) for row in rows)], 1):
        old = was_set.get(row[:4])
        state = (old.residual_mm, old.shot_id, old.set_utc_s) if old else (None, None, None)
        connection.execute(
            f'INSERT INTO marker (plan_id, layout, "order", {_GIVEN}, residual_mm, shot_id, '
            "set_utc_s) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            (plan_id, number, order, *row, *state),
        )


def _current_plan(connection: sqlite3.Connection, room: RoomView | None) -> int:
    plan = plans.current(connection, room)
    if plan is None:
        raise CannotAnswer(say("there is no plan to set markers for: make one with `rig plan`."))
    return plan.id


def _row(given: Given) -> Row:
    label = text(given["label"], "a marker's label")
    numbers = [
        finite(given[key], say("{key} of marker {label}", key=key, label=label))
        for key in _GIVEN.split(", ")[1:]
    ]
    return (label, *numbers)


def select(connection: sqlite3.Connection) -> list[Marker]:
    """Return the current layout in its order."""
    return [Marker(*row) for row in connection.execute(f'{_SELECT} ORDER BY "order"')]


def mark_set(
    connection: sqlite3.Connection,
    label: str,
    residual_mm: float,
    *,
    session_id: int,
    setup_id: int,
    reading_mm: float,
    stderr_mm: float,
    n: int,
    time_s: float,
    utc_s: float,
) -> int:
    """Mark a marker as set and write the shot that shows it; returns the shot's id."""
    marker = _find(connection, label)
    residual_mm = finite(residual_mm, say("the residual of marker {label}", label=label))
    shot_id = shots.add(
        connection,
        session_id=session_id,
        setup_id=setup_id,
        point=label,
        x_mm=marker.x_mm,
        y_mm=marker.y_mm,
        reading_mm=reading_mm,
        stderr_mm=stderr_mm,
        n=n,
        kind="marker",
        time_s=time_s,
        utc_s=utc_s,
    )
    connection.execute(
        "UPDATE marker SET residual_mm = ?, shot_id = ?, set_utc_s = ? WHERE id = ?",
        (residual_mm, shot_id, utc_s, marker.id),
    )
    return shot_id


def unset(connection: sqlite3.Connection, label: str) -> None:
    """Take back that a marker was set; its shot counts as undone."""
    marker = _find(connection, label)
    if marker.shot_id is None:
        raise BadInput(say("marker {label} is not set; there is nothing to undo.", label=label))
    shots.supersede(connection, marker.shot_id, None)


def _find(connection: sqlite3.Connection, label: str) -> Marker:
    row = connection.execute(f"{_SELECT} AND label = ?", (label,)).fetchone()
    if row is None:
        raise BadInput(
            say("there is no marker {label} in the layout of `rig markers`.", label=label)
        )
    return Marker(*row)
