"""Plans and what they stand on: which shots, which outline, which settings have changed since.

Functions over a connection inside the caller's transaction.
"""

import hashlib
import json
import re
import sqlite3
from collections.abc import Iterable, Iterator, Mapping

from rig.errors import BadInput
from rig.job import shots
from rig.job.description import IN_WORDS, finite, read_outline, read_settings, to_json
from rig.job.rows import Given, Json, Plan, RoomView, Row, Shot
from rig.job.trouble import stored_json
from rig.language import say

STANDS_ON = ("floor", "benchmark", "threshold")
_PLANE_SETTINGS = ("covering", "min_cover_mm", "max_cover_mm", "laser_correction")
_TILT, _PLACES = "laser_tilt", "laser_places"  # by set-up
_BAG_SETTINGS = ("bag_yield_l", "bag_mass_kg", "bag_water_l", "waste_share")
_COLUMNS = "id, utc_s, inputs, result, a, b, c, shot_hash, shot_ids, basis"


def save(
    connection: sqlite3.Connection,
    inputs: Given,
    result: Given,
    plane: tuple[float, float, float],
    shot_ids: Iterable[int] | None,
    utc_s: float,
    room: RoomView | None = None,
) -> Plan:
    """Write a plan over the shots of these ids, or over all current ones.

    Where nothing differs from the last plan but its words, that one stays the current one: another
    version says what it reckoned otherwise, or tells more of it.
    """
    if shot_ids is None:
        stands_on = shots.of_room(shots.select(connection, STANDS_ON), room)
    else:
        wanted = sorted(set(shot_ids))
        stands_on = shots.select_ids(connection, json.dumps(wanted))
        if len(stands_on) < len(wanted):
            missing = set(wanted) - {shot.id for shot in stands_on}
            raise BadInput(
                say(
                    "the plan stands on shot {missing}, which is not in this job.",
                    missing=min(missing),
                )
            )
    row = (
        utc_s,
        to_json(inputs, say("the plan's inputs")),
        to_json(result, say("the plan's result")),
        *(finite(value, say("the plane")) for value in plane),
        shot_hash(stands_on),
        to_json([shot.id for shot in stands_on], say("the plan")),
        to_json(_basis(connection, room), say("the plan")),
    )
    last = _last(connection, room)
    if last is not None and _comes_out_as(row, last[1:]):
        plan_id, made_utc_s, *_ = last
        connection.execute("UPDATE plan SET result = ? WHERE id = ?", (row[2], plan_id))
        return _plan((plan_id, made_utc_s, *row[1:]))
    cursor = connection.execute(
        f"INSERT INTO plan ({_COLUMNS[4:]}) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)", row
    )
    return _plan((cursor.lastrowid, *row))


def _comes_out_as(new: Row, old: Row) -> bool:
    """Whether a plan's row, its id left out, is that of another but for words and new keys."""
    (_, inputs, result, *plane, shot_hash, shot_ids, basis) = new
    (_, inputs_then, result_then, *plane_then, hash_then, ids_then, basis_then) = old
    if (plane, shot_hash, shot_ids) != (plane_then, hash_then, ids_then):
        return False
    given = ((inputs, inputs_then), (basis, basis_then))
    if any(_given(one) != _given(other) for one, other in given):
        return False
    return _same_numbers(stored_json(result, dict), stored_json(result_then, dict))


def _given(told: str) -> Json:
    """Return what JSON says beside what is usual, which another version may not have known."""
    return {
        key: value
        for key, value in stored_json(told, dict).items()
        if value not in (None, False, [], {})
    }


def _same_numbers(one: object, other: object) -> bool:
    """Whether two results reckon the same in all that both tell, whatever the words."""
    match one, other:
        case str(), str():
            return True
        case dict(), dict():
            return all(_same_numbers(one[key], other[key]) for key in one.keys() & other.keys())
        case list(), list():
            return len(one) == len(other) and all(map(_same_numbers, one, other))
    return one == other


def current(connection: sqlite3.Connection, room: RoomView | None = None) -> Plan | None:
    """Return the last plan, or None."""
    row = _last(connection, room)
    return None if row is None else _plan(row)


def of_id(connection: sqlite3.Connection, plan_id: int) -> Plan | None:
    """Return a plan by its number, or None."""
    query = f"SELECT {_COLUMNS} FROM plan WHERE id = ?"
    row = connection.execute(query, (plan_id,)).fetchone()
    return None if row is None else _plan(row)


def first(connection: sqlite3.Connection, room: RoomView | None = None) -> Plan | None:
    """Return the first plan, or None."""
    row = next(_rows(connection, room, "ASC"), None)
    return None if row is None else _plan(row)


def _last(connection: sqlite3.Connection, room: RoomView | None) -> Row | None:
    return next(_rows(connection, room, "DESC"), None)


def _rows(connection: sqlite3.Connection, room: RoomView | None, way: str) -> Iterator[Row]:
    for row in connection.execute(f"SELECT {_COLUMNS} FROM plan ORDER BY id {way}"):
        if room is None or room.has_plan(stored_json(row[2], dict)):
            yield row


def changed_since(
    connection: sqlite3.Connection, plan: Plan, bags: bool = False, room: RoomView | None = None
) -> list[str]:
    """Name what a plan stands on and what is different now; see `Job.changed_since`."""
    then = shots.select_ids(connection, json.dumps(plan.shot_ids))
    known = {shot.setup for shot in then}
    now = _counting(then, shots.of_room(shots.select(connection, STANDS_ON), room), known)
    changed = _changed_labels(then, now)
    if not changed and shot_hash(now) != plan.shot_hash:
        changed.append("shots")  # the rows themselves were altered by another program
    basis = _basis(connection, room)
    keys = ("outline", *_PLANE_SETTINGS, *(_BAG_SETTINGS if bags else ()))
    changed += [IN_WORDS.get(key, key) for key in keys if basis[key] != plan.basis.get(key)]
    if _differs(plan.basis.get(_TILT), basis[_TILT], known):
        changed.append("laser's slope")
    # What is taken off grows with the distance from the laser.
    if basis["laser_correction"] and _differs(plan.basis.get(_PLACES), basis[_PLACES], known):
        changed.append("laser's place")
    return changed


def _counting(then: list[Shot], current: list[Shot], known: set[str]) -> list[Shot]:
    """Return the current shots that a plan would stand on, `known` being its set-ups.

    A benchmark sighted from a set-up that the plan knows nothing of ties that set-up to the survey;
    it must not call the plan stale that it is tied for. One that only a single set-up of the plan
    has sighted ties nothing.
    """
    sighted: dict[str, set[str]] = {}
    for shot in [*then, *current]:
        if shot.kind == "benchmark" and shot.setup in known:
            sighted.setdefault(shot.point, set()).add(shot.setup)
    lines_then = set(map(_line, then))
    return [
        shot
        for shot in current
        if shot.kind != "benchmark"
        or (shot.setup in known and (_line(shot) in lines_then or len(sighted[shot.point]) > 1))
    ]


def _changed_labels(then: list[Shot], now: list[Shot]) -> list[str]:
    lines_then, lines_now = set(map(_line, then)), set(map(_line, now))
    labels = {shot.point for shot in now if _line(shot) not in lines_then}
    labels |= {shot.point for shot in then if _line(shot) not in lines_now}
    return sorted(labels, key=_natural)


def _differs(was: object, now: object, setups: set[str]) -> bool:
    """Tell whether what is kept by set-up differs for one of these."""
    old = was if isinstance(was, Mapping) else {}
    new = now if isinstance(now, Mapping) else {}
    return any(old.get(setup) != new.get(setup) for setup in setups)


def shot_hash(stands_on: Iterable[Shot]) -> str:
    """Return SHA-256 over the sorted lines of shots, one a shot, floats written exactly."""
    text = "\n".join(sorted(map(_line, stands_on)))
    return hashlib.sha256(text.encode()).hexdigest()


def _line(shot: Shot) -> str:
    return repr(
        (
            shot.kind,
            shot.setup,
            shot.point,
            shot.x_mm,
            shot.y_mm,
            shot.reading_mm,
            shot.stderr_mm,
        )
    )


def _basis(connection: sqlite3.Connection, room: RoomView | None) -> dict[str, object]:
    settings = read_settings(connection)
    walls, openings, _ = read_outline(connection)
    if room is not None and not room.is_first:
        walls, openings = room.outline.walls, room.outline.openings
    outline = hashlib.sha256(repr((walls, openings)).encode()).hexdigest()
    return {"outline": outline} | {
        key: settings.get(key) for key in (*_PLANE_SETTINGS, *_BAG_SETTINGS, _TILT, _PLACES)
    }


def _natural(label: str) -> list[tuple[int, str]]:
    """Sort A2 before A10."""
    parts = re.findall(r"\d+|\D+", label)
    return [(int(part), "") if part.isdecimal() else (-1, part) for part in parts]


def _plan(row: Row) -> Plan:
    plan_id, utc_s, inputs, result, a, b, c, hashed, shot_ids, basis = row
    return Plan(
        id=plan_id,
        utc_s=utc_s,
        inputs=stored_json(inputs, dict),
        result=stored_json(result, dict),
        a=a,
        b=b,
        c=c,
        shot_hash=hashed,
        shot_ids=tuple(stored_json(shot_ids, list)),
        basis=stored_json(basis, dict),
    )
