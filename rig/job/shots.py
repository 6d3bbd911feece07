"""Shots: written once, never changed but for what superseded them.

Functions over a connection inside the caller's transaction. A shot supersedes the current one of
its kind at its label; a benchmark only the one of its own set-up, for a sight from another set-up
is what ties the two.
"""

import sqlite3
from collections.abc import Iterable, Sequence
from typing import NamedTuple

from rig.errors import BadInput
from rig.job.description import finite, first_repeated, text
from rig.job.rows import Given, Move, RoomView, Row, Shot
from rig.language import say

KINDS = ("floor", "benchmark", "threshold", "marker", "finished")

_COLUMNS = (
    "id, session_id, setup_id, point, x_mm, y_mm, reading_mm, stderr_mm, n, kind, time_s, utc_s"
)
_INSERT = f"INSERT INTO shot ({_COLUMNS}) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)"
_SUPERSEDE = (
    "UPDATE shot SET superseded_by = ? WHERE point = ? AND kind = ? AND superseded_by IS NULL"
)
# A label has at most 64 characters; a file from elsewhere may have one of a megabyte.
_SELECT = (
    "SELECT shot.id, session_id, substr(setup.name, 1, 64), substr(point, 1, 64), x_mm, y_mm, "
    "reading_mm, stderr_mm, n, kind, time_s, utc_s, superseded_by "
    "FROM shot JOIN setup ON setup.id = setup_id"
)


def add(
    connection: sqlite3.Connection,
    *,
    session_id: int | None,
    setup_id: int,
    point: str,
    x_mm: float | None,
    y_mm: float | None,
    reading_mm: float,
    stderr_mm: float,
    n: int,
    kind: str,
    time_s: float | None,
    utc_s: float,
) -> int:
    """Write a shot in place of the current one and return its id."""
    row = _checked(point, x_mm, y_mm, reading_mm, stderr_mm, n, kind)
    if time_s is not None:
        finite(time_s, say("the time of shot {point}", point=point))
    finite(utc_s, say("the time of shot {point}", point=point))
    shot_id = _next_id(connection)
    _supersede_current(connection, shot_id, point, kind, setup_id)
    connection.execute(_INSERT, (shot_id, session_id, setup_id, *row, time_s, utc_s))
    return shot_id


def supersede(connection: sqlite3.Connection, shot_id: int, by: int | None) -> None:
    """Take a current shot out of use; an undone one points at itself.

    What an undone shot had taken the place of counts again, except at a marker: its screw was
    turned since.
    """
    shot = _current(connection, shot_id)
    if (
        by is not None
        and not connection.execute("SELECT 1 FROM shot WHERE id = ?", (by,)).fetchone()
    ):
        raise BadInput(
            say(
                "there is no shot {by} to take the place of shot {shot_id}.", by=by, shot_id=shot_id
            )
        )
    connection.execute(
        "UPDATE shot SET superseded_by = ? WHERE id = ?", (shot_id if by is None else by, shot_id)
    )
    if by is None:
        _bring_back(connection, shot)
    connection.execute(
        "UPDATE marker SET residual_mm = NULL, shot_id = NULL, set_utc_s = NULL WHERE shot_id = ?",
        (shot_id,),
    )


def set_aside(connection: sqlite3.Connection, shot_id: int) -> None:
    """Take a current shot out of use, and bring nothing back that it had taken the place of."""
    _current(connection, shot_id)
    connection.execute("UPDATE shot SET superseded_by = id WHERE id = ?", (shot_id,))


def correct(connection: sqlite3.Connection, session_id: int, setup_id: int, row: Given) -> int:
    """Write a shot in place of the current one, of which it is a better reading; return its id.

    What the uncorrected one had taken the place of is now replaced by this one.
    """
    old = connection.execute(
        "SELECT id FROM shot WHERE point = ? AND kind = ? AND superseded_by IS NULL",
        (row["point"], row["kind"]),
    ).fetchall()
    new = add(connection, session_id=session_id, setup_id=setup_id, **row)
    for (shot_id,) in old:
        connection.execute(
            "UPDATE shot SET superseded_by = ? WHERE superseded_by = ? AND id <> ?",
            (new, shot_id, shot_id),
        )
        connection.execute("UPDATE shot SET superseded_by = id WHERE id = ?", (shot_id,))
    return new


def put_back(connection: sqlite3.Connection, shot_ids: Iterable[int]) -> list[int]:
    """Put shots in use again that were set aside; return those that no later shot stands for."""
    back = []
    for shot_id in shot_ids:
        row = connection.execute(
            "SELECT point, kind, setup_id FROM shot WHERE id = ? AND superseded_by = id", (shot_id,)
        ).fetchone()
        if row is None or _has_current(connection, *row):
            continue
        connection.execute("UPDATE shot SET superseded_by = NULL WHERE id = ?", (shot_id,))
        back.append(shot_id)
    return back


def unrelabel(connection: sqlite3.Connection, moves: Sequence[Move]) -> None:
    """Take back a relabelling, by what its event keeps: old shots count again, new ones no more."""
    for move in moves:
        connection.execute(
            "UPDATE shot SET superseded_by = id WHERE id = ? AND superseded_by IS NULL",
            (move.new,),
        )
    for move in moves:
        ids = connection.execute(
            "SELECT id, point, kind, setup_id FROM shot WHERE id = ? OR (superseded_by = ? "
            "AND id <> ?) ORDER BY id",
            (move.shot, move.new, move.new),
        ).fetchall()
        for shot_id, *aim in ids:
            if not _has_current(connection, *aim):
                connection.execute("UPDATE shot SET superseded_by = NULL WHERE id = ?", (shot_id,))


def _has_current(connection: sqlite3.Connection, point: str, kind: str, setup: int) -> bool:
    query = "SELECT 1 FROM shot WHERE point = ? AND kind = ? AND superseded_by IS NULL"
    values: tuple[str | int, ...] = (point, kind)
    if kind == "benchmark":
        query, values = query + " AND setup_id = ?", (*values, setup)
    return connection.execute(query, values).fetchone() is not None


def relabel(
    connection: sqlite3.Connection,
    moves: Sequence[tuple[int, str, float | None, float | None]],
) -> list[Move]:
    """Write shots again under other labels, at other places."""
    moved = [
        (_current(connection, shot_id), text(label, "a label"), x_mm, y_mm)
        for shot_id, label, x_mm, y_mm in moves
    ]
    twice = first_repeated(shot[0] for shot, *_ in moved)
    if twice is not None:
        raise BadInput(say("shot {twice} is moved twice; name each shot once.", twice=twice))
    aims = [(label, shot[9], shot[2] if shot[9] == "benchmark" else 0) for shot, label, *_ in moved]
    aim = first_repeated(aims)
    if aim is not None:
        raise BadInput(say("two shots are moved to {aim}; a point keeps one.", aim=aim[0]))
    first = _next_id(connection)
    # All leave their old labels before any arrives, so that two may change places.
    for new_id, (shot, *_) in enumerate(moved, first):
        connection.execute("UPDATE shot SET superseded_by = ? WHERE id = ?", (new_id, shot[0]))
    done = []
    for new_id, (shot, label, x_mm, y_mm) in enumerate(moved, first):
        old_id, session_id, setup_id, old_label, _, _, reading_mm, stderr_mm, n, kind = shot[:10]
        row = _checked(label, x_mm, y_mm, reading_mm, stderr_mm, n, kind)
        _supersede_current(connection, new_id, label, kind, setup_id)
        connection.execute(_INSERT, (new_id, session_id, setup_id, *row, *shot[10:12]))
        done.append(Move(old_id, old_label, label, new_id))
    return done


class _Given(NamedTuple):
    """A shot of a table."""

    point: str
    x_mm: float | None
    y_mm: float | None
    reading_mm: float
    stderr_mm: float
    setup: str = "1"
    kind: str = "floor"
    n: int = 1


def import_rows(connection: sqlite3.Connection, rows: Iterable[Given], utc_s: float) -> list[int]:
    """Write shots that no session took; see `Job.import_shots`."""
    table = [_Given(**row) for row in rows]
    aims = [(row.point, row.kind, row.setup if row.kind == "benchmark" else "") for row in table]
    twice = first_repeated(aims)
    if twice is not None:
        raise BadInput(
            say(
                "the label {twice} is there twice as {twice_2}; keep one of them.",
                twice=twice[0],
                twice_2=twice[1],
            )
        )
    setups = {name: setup_id(connection, name) for name in {row.setup: 0 for row in table}}
    current = "SELECT DISTINCT point, kind FROM shot WHERE superseded_by IS NULL"
    there = {(point, kind) for point, kind in connection.execute(current)}
    finite(utc_s, say("the time of the table"))
    first = _next_id(connection)
    made: list[Row] = []
    for shot_id, row in enumerate(table, first):
        point, kind, setup = row.point, row.kind, setups[row.setup]
        checked = _checked(point, row.x_mm, row.y_mm, row.reading_mm, row.stderr_mm, row.n, kind)
        if (point, kind) in there:
            _supersede_current(connection, shot_id, point, kind, setup)
        made.append((shot_id, None, setup, *checked, None, utc_s))
    connection.executemany(_INSERT, made)
    return [*range(first, first + len(made))]


def select(
    connection: sqlite3.Connection, kinds: Iterable[str] | None = None, current: bool = True
) -> list[Shot]:
    """Return shots in the order in which they were written."""
    conditions: list[str] = []
    values: tuple[str, ...] = ()
    if kinds is not None:
        values = (kinds,) if isinstance(kinds, str) else tuple(kinds)
        conditions.append(f"kind IN ({', '.join('?' * len(values))})")
    if current:
        conditions.append("superseded_by IS NULL")
    where = " WHERE " + " AND ".join(conditions) if conditions else ""
    return [Shot(*row) for row in connection.execute(f"{_SELECT}{where} ORDER BY shot.id", values)]


def of_room(found: list[Shot], room: RoomView | None) -> list[Shot]:
    """Return those that count in a room; all where none was asked for."""
    if room is None:
        return found
    return [shot for shot in found if room.has_shot(shot.kind, shot.x_mm, shot.y_mm)]


def select_ids(connection: sqlite3.Connection, ids_json: str) -> list[Shot]:
    """Return the shots of a JSON list of ids."""
    query = f"{_SELECT} WHERE shot.id IN (SELECT value FROM json_each(?)) ORDER BY shot.id"
    return [Shot(*row) for row in connection.execute(query, (ids_json,))]


def setup_id(connection: sqlite3.Connection, name: str, stand: str | None = None) -> int:
    """Return the id of a set-up; a name not met before becomes the next one.

    `stand` is that of a set-up which is one rod's of several.
    """
    text(name, say("the set-up"))
    row = connection.execute("SELECT id FROM setup WHERE name = ?", (name,)).fetchone()
    if row is None:
        cursor = connection.execute("INSERT INTO setup (name, stand) VALUES (?, ?)", (name, stand))
        return int(cursor.lastrowid or 0)
    return int(row[0])


def _next_id(connection: sqlite3.Connection) -> int:
    return int(connection.execute("SELECT ifnull(max(id), 0) + 1 FROM shot").fetchone()[0])


def _supersede_current(
    connection: sqlite3.Connection, by: int, point: str, kind: str, setup: int
) -> None:
    if kind == "benchmark":
        connection.execute(_SUPERSEDE + " AND setup_id = ?", (by, point, kind, setup))
    else:
        connection.execute(_SUPERSEDE, (by, point, kind))


def _bring_back(connection: sqlite3.Connection, undone: Row) -> None:
    """Make the shot current that an undone one superseded at its own point, if there was one."""
    shot_id, _, setup, point, *_, kind, _, _, _ = undone
    if kind == "marker":
        return
    replaced = (
        "SELECT max(id) FROM shot WHERE superseded_by = ? AND id <> ? AND point = ? AND kind = ?"
    )
    values = [shot_id, shot_id, point, kind]
    if kind == "benchmark":
        replaced += " AND setup_id = ?"
        values.append(setup)
    connection.execute(f"UPDATE shot SET superseded_by = NULL WHERE id = ({replaced})", values)


def _current(connection: sqlite3.Connection, shot_id: int) -> Row:
    row: Row | None = connection.execute(
        f"SELECT {_COLUMNS}, superseded_by FROM shot WHERE id = ?", (shot_id,)
    ).fetchone()
    if row is None:
        raise BadInput(say("there is no shot {shot_id} in this job.", shot_id=shot_id))
    if row[-1] is not None:
        raise BadInput(
            say(
                "shot {shot_id} ({row}) has been undone or replaced already.",
                shot_id=shot_id,
                row=row[3],
            )
        )
    return row


def _checked(
    point: str,
    x_mm: float | None,
    y_mm: float | None,
    reading_mm: float,
    stderr_mm: float,
    n: int,
    kind: str,
) -> Row:
    """Return point to kind as the row wants them, or refuse what no shot can be."""
    text(point, "a shot's label")
    if kind not in KINDS:
        raise BadInput(
            say(
                "shot {point} is of kind {kind!r}: it must be one of {kinds}.",
                point=point,
                kind=kind,
                kinds=", ".join(KINDS),
            )
        )
    if (x_mm is None) != (y_mm is None) or (x_mm is None and kind != "benchmark"):
        raise BadInput(
            say("shot {point} has no place: only a benchmark may go without x and y.", point=point)
        )
    if x_mm is not None and y_mm is not None:
        x_mm, y_mm = (
            finite(x_mm, say("x of shot {point}", point=point)),
            finite(y_mm, say("y of shot {point}", point=point)),
        )
    reading_mm = finite(reading_mm, say("the reading of shot {point}", point=point))
    stderr_mm = finite(stderr_mm, say("the standard error of shot {point}", point=point))
    if stderr_mm < 0 or n < 1:
        raise BadInput(
            say(
                "shot {point} has a standard error of {stderr} from {n} readings.",
                point=point,
                stderr=stderr_mm,
                n=n,
            )
        )
    return point, x_mm, y_mm, reading_mm, stderr_mm, int(n), kind
