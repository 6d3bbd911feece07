"""One job version as one row of the books: a fixed list of columns, and nothing else of it.

No free text, no file name and no label but the grid's comes into the books; what identifies a crew,
a product and a laser is the name that they were given for that. Columns carry their unit.
"""

import math
import re
import sqlite3
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, NamedTuple

from rig.errors import RigError
from rig.flatness.coverings import rule_of_covering
from rig.flatness.rules import SHIPPED
from rig.job.description import read_outline, read_settings
from rig.job.settings import FLOOR_KINDS, Settings, settings_of
from rig.job.snapshot import Heads, content_hash, heads, uid_of
from rig.job.trouble import stored_figures
from rig.pour.crew import Times
from rig.pour.pace import HandsSeen, hands_seen
from rig.quantities.bags import BagSheet, sheet_of
from rig.quantities.volume import ONE_SIDED_95
from rig.record import from_json
from rig.room import from_rings
from rig.study.pour_answer import PourPlan
from rig.study.pour_log import past_of

MODEL = "2"
"""What computed a row; another number where the same job would give another row."""

Row = dict[str, Any]
Told = Mapping[str, Any]

_CHECK = (
    "utc_s DOUBLE, kind VARCHAR, ok BOOLEAN, verdict VARCHAR, error_mm_per_m DOUBLE, "
    "stderr_mm_per_m DOUBLE, limit_mm_per_m DOUBLE, tilt_mm_per_m DOUBLE, rate_mm_per_h DOUBLE, "
    "sd_mm DOUBLE"
)
_SHOT = (
    "label VARCHAR, kind VARCHAR, setup INTEGER, x_mm DOUBLE, y_mm DOUBLE, reading_mm DOUBLE, "
    "stderr_mm DOUBLE, n INTEGER, utc_s DOUBLE, current BOOLEAN"
)
_MARKER = (
    "x_mm DOUBLE, y_mm DOUBLE, target_reading_mm DOUBLE, stick_out_mm DOUBLE, residual_mm DOUBLE, "
    "set_utc_s DOUBLE"
)
_POUR = (
    "utc_s DOUBLE, batches INTEGER, used_bags DOUBLE, share DOUBLE, stated_bags DOUBLE, "
    "yield_l DOUBLE, yield_stderr_l DOUBLE, interval_s DOUBLE, planned_interval_s DOUBLE, "
    "log_hands DOUBLE, log_hands_sd DOUBLE, log_mixing_sd DOUBLE"
)
_PROOF = (
    "utc_s DOUBLE, rule VARCHAR, kind VARCHAR, verdict VARCHAR, chance DOUBLE, share_in DOUBLE, "
    "ff DOUBLE, fl DOUBLE, gap_mm DOUBLE, limit_mm DOUBLE"
)
COLUMNS: Mapping[str, str] = {
    "uid": "VARCHAR",
    "content": "VARCHAR",
    "readings": "BIGINT",
    "events": "BIGINT",
    "shots_ever": "BIGINT",
    "digest": "VARCHAR",
    "forks": "VARCHAR[]",
    "made_utc_s": "DOUBLE",
    "last_utc_s": "DOUBLE",
    "poured_utc_s": "DOUBLE",
    "rig_version": "VARCHAR",
    "model": "VARCHAR",
    "crew": "VARCHAR",
    "product": "VARCHAR",
    "laser": "VARCHAR",
    "floor": "VARCHAR",
    "rule": "VARCHAR",
    "units": "VARCHAR",
    "area_m2": "DOUBLE",
    "rooms": "INTEGER",
    "points": "INTEGER",
    "temperature_c": "DOUBLE",
    "confidence": "DOUBLE",
    "volume_l": "DOUBLE",
    "volume_sd_l": "DOUBLE",
    "bag_l": "DOUBLE",
    "waste_share": "DOUBLE",
    "cover_mean_mm": "DOUBLE",
    "chance_min_cover": "DOUBLE",
    "stated_bags": "DOUBLE",
    "upper_bags": "DOUBLE",
    "buy_bags": "DOUBLE",
    "used_bags": "DOUBLE",
    "shots": f"STRUCT({_SHOT})[]",
    "checks": f"STRUCT({_CHECK})[]",
    "markers": f"STRUCT({_MARKER})[]",
    "pours": f"STRUCT({_POUR})[]",
    "proofs": f"STRUCT({_PROOF})[]",
}

_GRID_LABEL = re.compile(r"[A-Z]{1,3}[0-9]{1,4}")
_WHOLE = 0.999
"""A pour that covered so much of its plan poured all of it."""
_RUNS = 30
"""Simulated pours at each pace: what is told of it is as doubtful as one pour's luck anyway."""
_ALL = 0.98
"""Pours that together hold so much of the plan's volume are the whole plan's."""


def row_of(connection: sqlite3.Connection, version: str) -> Row:
    """Return what the books keep of a job.

    Parameters
    ----------
    connection : sqlite3.Connection
        To a job that was looked over, see `rig.job.snapshot.opened`.
    version : str
        Of this program.

    Raises
    ------
    ValueError, TypeError, KeyError, sqlite3.Error
        Where the job is not as floor-rig writes it.
    """
    settings = settings_of(read_settings(connection))
    now, gone = heads(connection), _taken_back(connection)
    pours = list(_pours(connection, gone, settings))
    return {
        **_identity(connection, now),
        "rig_version": version,
        "model": MODEL,
        "crew": settings.crew,
        "product": None if settings.compound is None else settings.compound.name,
        "laser": settings.laser_name,
        "floor": settings.floor if settings.floor in FLOOR_KINDS else None,
        "rule": None if settings.covering is None else rule_of_covering(settings.covering),
        "units": settings.units,
        "area_m2": _area_m2(connection, settings),
        "rooms": 1 + len(settings.rooms),
        "points": connection.execute("SELECT count(*) FROM point").fetchone()[0],
        "temperature_c": _temperature_c(connection, gone, pours),
        **_stated(connection, settings, pours)._asdict(),
        "poured_utc_s": pours[-1].utc_s if pours else None,
        "shots": list(_shots(connection)),
        "checks": list(_checks(connection)),
        "markers": list(_markers(connection)),
        "pours": [one.as_row() for one in pours],
        "proofs": list(_proofs(connection, gone)),
    }


def _identity(connection: sqlite3.Connection, now: Heads) -> Row:
    (made_utc_s,) = connection.execute("SELECT made_utc_s FROM job").fetchone()
    (last_utc_s,) = connection.execute(
        "SELECT max(utc_s) FROM (SELECT max(utc_s) AS utc_s FROM event UNION ALL "
        "SELECT max(utc_s) FROM shot UNION ALL SELECT max(utc_s) FROM plan UNION ALL "
        'SELECT max(utc_s) FROM "check" UNION ALL SELECT made_utc_s FROM job)'
    ).fetchone()
    return {
        "uid": uid_of(connection),
        "content": content_hash(connection),
        "readings": now.reading,
        "events": now.event,
        "shots_ever": now.shot,
        "digest": now.digest,
        "forks": [],
        "made_utc_s": made_utc_s,
        "last_utc_s": last_utc_s,
    }


def _area_m2(connection: sqlite3.Connection, settings: Settings) -> float:
    walls, openings, _ = read_outline(connection)
    area = from_rings(walls, openings).area_m2
    return area + sum(from_rings(room.walls, room.openings).area_m2 for room in settings.rooms)


def _taken_back(connection: sqlite3.Connection) -> set[int]:
    """Return the events that were undone."""
    undone: set[int] = set()
    for (data,) in connection.execute("SELECT data FROM event WHERE kind = 'undo' ORDER BY id"):
        undone.update(one for one in _listed(stored_figures(data, dict), "events"))
    return undone


def _events(
    connection: sqlite3.Connection, kind: str, gone: set[int]
) -> Iterable[tuple[int, float, Told]]:
    for number, utc_s, data in connection.execute(
        "SELECT id, utc_s, data FROM event WHERE kind = ? ORDER BY id", (kind,)
    ):
        if number not in gone:
            yield number, utc_s, stored_figures(data, dict)


class _Poured(NamedTuple):
    """How a pour ended; but for `plan_id`, whose plan it was, the fields are columns."""

    plan_id: object
    utc_s: float
    batches: int
    used_bags: float | None
    share: float | None
    stated_bags: float | None
    yield_l: float | None
    yield_stderr_l: float | None
    interval_s: float | None
    planned_interval_s: float | None
    log_hands: float | None
    log_hands_sd: float | None
    log_mixing_sd: float | None

    def as_row(self) -> Row:
        return {key: value for key, value in self._asdict().items() if key != "plan_id"}


def _pours(connection: sqlite3.Connection, gone: set[int], settings: Settings) -> Iterable[_Poured]:
    """Yield how each pour ended, with the bags that its own plan stated at even odds."""
    sheet = sheet_of(settings)
    planned = list(_events(connection, "pour_plan", gone))
    for number, utc_s, ended in _events(connection, "pour_done", gone):
        before = [data for at, _, data in planned if at < number]
        last: Told = before[-1] if before else {}
        made = _inner(last, "result")
        batches = _listed(made, "batches")
        poured, interval_s = int(_number(ended, "batches") or 0), _number(ended, "interval_s")
        hands = _hands(made, poured, interval_s)
        volume_l = sum(_number(one, "volume_l") or 0.0 for one in batches)
        yield _Poured(
            plan_id=last.get("plan_id"),
            utc_s=utc_s,
            batches=poured,
            used_bags=_number(ended, "bags_used"),
            share=_number(ended, "share"),
            stated_bags=volume_l * (1.0 + sheet.waste_share) / sheet.yield_l or None,
            yield_l=_number(ended, "yield_l"),
            yield_stderr_l=_number(ended, "yield_stderr_l"),
            interval_s=interval_s,
            planned_interval_s=_number(ended, "planned_interval_s"),
            log_hands=None if hands is None else hands.log_hands,
            log_hands_sd=None if hands is None else hands.sd,
            log_mixing_sd=None if hands is None else hands.mixing_sd,
        )


def _hands(made: Told, batches: int, interval_s: float | None) -> HandsSeen | None:
    """Tell the hands' pace of a pour against the figures that every plan begins with."""
    if not interval_s or batches < 2:
        return None
    try:
        plan = from_json(PourPlan, made)
        times = Times(plan.mix_time_s)
        return hands_seen(past_of(plan, times, batches, interval_s, _RUNS))
    except (ValueError, RigError):
        return None  # as an older version or a stranger wrote it


class _Stated(NamedTuple):
    """What the plan stated, and what was used where pours tell it; the fields are columns."""

    bag_l: float
    waste_share: float
    confidence: float | None = None
    volume_l: float | None = None
    volume_sd_l: float | None = None
    cover_mean_mm: float | None = None
    chance_min_cover: float | None = None
    stated_bags: float | None = None
    upper_bags: float | None = None
    buy_bags: float | None = None
    used_bags: float | None = None


def _stated(
    connection: sqlite3.Connection, settings: Settings, pours: Sequence[_Poured]
) -> _Stated:
    wanted = {one.plan_id for one in pours if isinstance(one.plan_id, int)}
    rows = connection.execute("SELECT id, inputs, result FROM plan ORDER BY id").fetchall()
    plans = [row for row in rows if row[0] in wanted] or _last_of_each_room(rows)
    results = [stored_figures(result, dict) for _, _, result in plans]
    return _with_pours(_planned(results, sheet_of(settings)), pours)


def _planned(results: Sequence[Told], sheet: BagSheet) -> _Stated:
    """Tell what plans state together, and more where it is one."""
    told = _Stated(sheet.yield_l, sheet.waste_share)
    if not results:
        return told
    volumes = [_inner(one, "volume_l") for one in results]
    means = [_number(one, "mean") or 0.0 for one in volumes]
    sds = [((_number(one, "p95") or 0.0) - mean) / ONE_SIDED_95
           for one, mean in zip(volumes, means, strict=True)]  # fmt: skip
    volume_l = math.fsum(means)
    stated = volume_l * (1.0 + sheet.waste_share) / sheet.yield_l
    told = told._replace(
        volume_l=volume_l,
        volume_sd_l=math.hypot(*sds),
        stated_bags=stated,
        buy_bags=sum(_number(_inner(one, "bags"), "buy") or 0.0 for one in results),
    )
    if len(results) > 1:
        return told
    (one,) = results
    stock = _number(_inner(one, "safety"), "stock_l")
    factor = _number(_inner(one, "history"), "factor") or 1.0
    return told._replace(
        confidence=_number(one, "confidence"),
        cover_mean_mm=_number(_inner(one, "cover_mm"), "mean"),
        chance_min_cover=_number(one, "chance_min_cover"),
        upper_bags=None if stock is None else factor * stated + stock / sheet.yield_l,
    )


def _with_pours(told: _Stated, pours: Sequence[_Poured]) -> _Stated:
    """Add the bags that were used, where each pour tells them, and hold them to its own plan."""
    poured = [
        (one.share, one.stated_bags, one.used_bags)
        for one in pours
        if one.share and one.used_bags and one.stated_bags
    ]
    if not poured or len(poured) < len(pours):
        return told
    stated = math.fsum(share * bags for share, bags, _ in poured)
    whole = min(share for share, *_ in poured) >= _WHOLE
    if not (whole and stated >= _ALL * (told.stated_bags or math.inf)):
        told = told._replace(upper_bags=None, buy_bags=None)
    return told._replace(stated_bags=stated, used_bags=math.fsum(used for *_, used in poured))


def _last_of_each_room(rows: list[tuple[int, str, str]]) -> list[tuple[int, str, str]]:
    found: dict[object, tuple[int, str, str]] = {}
    for row in rows:
        found[stored_figures(row[1], dict).get("room")] = row
    return list(found.values())


def _temperature_c(
    connection: sqlite3.Connection, gone: set[int], pours: Sequence[_Poured]
) -> float | None:
    """Return the air's temperature, else the floor's, as last read before the last pour."""
    until = pours[-1].utc_s if pours else math.inf
    found: dict[str, float | None] = {}
    for _, utc_s, data in _events(connection, "site", gone):
        if utc_s <= until and data.get("what") in ("air", "floor"):
            found[str(data["what"])] = _number(data, "value")
    return found.get("air", found.get("floor"))


def _shots(connection: sqlite3.Connection) -> Iterable[Row]:
    columns = "kind, setup_id, x_mm, y_mm, reading_mm, stderr_mm, n, utc_s"
    for label, *values, superseded in connection.execute(
        f"SELECT point, {columns}, superseded_by FROM shot ORDER BY id"
    ):
        told = dict(zip(columns.replace("setup_id", "setup").split(", "), values, strict=True))
        grid = _GRID_LABEL.fullmatch(label) is not None
        yield {"label": label if grid else None, **told, "current": superseded is None}


def _checks(connection: sqlite3.Connection) -> Iterable[Row]:
    for utc_s, kind, ok, result in connection.execute(
        'SELECT utc_s, kind, ok, result FROM "check" ORDER BY id'
    ):
        told = stored_figures(result, dict)
        tilt = [float(one) for one in _listed(told, "tilt_mm_per_m")]
        yield {
            "utc_s": utc_s,
            "kind": _one_of(kind, ("two-peg", "cross", "repeat", "drift", "rod")),
            "ok": bool(ok),
            "verdict": _one_of(told.get("verdict"), ("in", "out", "unsure")),
            "error_mm_per_m": _number(told, "error_mm_per_m"),
            "stderr_mm_per_m": _number(told, "stderr_mm_per_m"),
            "limit_mm_per_m": _number(told, "limit_mm_per_m"),
            "tilt_mm_per_m": math.hypot(*tilt) if len(tilt) == 2 else None,
            "rate_mm_per_h": _number(told, "rate_mm_per_h"),
            "sd_mm": _number(told, "sd_mm"),
        }


def _markers(connection: sqlite3.Connection) -> Iterable[Row]:
    columns = "x_mm, y_mm, target_reading_mm, stick_out_mm, residual_mm, set_utc_s"
    for values in connection.execute(
        f"SELECT {columns} FROM marker WHERE layout = (SELECT max(layout) FROM marker) ORDER BY id"
    ):
        yield dict(zip(columns.split(", "), values, strict=True))


def _proofs(connection: sqlite3.Connection, gone: set[int]) -> Iterable[Row]:
    for _, utc_s, told in _events(connection, "proof", gone):
        worst = _inner(told, "worst")
        yield {
            "utc_s": utc_s,
            "rule": _one_of(told.get("rule"), SHIPPED) or "own",
            "kind": _one_of(told.get("kind"), ("floor", "finished")),
            "verdict": _one_of(told.get("verdict"), ("in", "out", "unsure")),
            **{key: _number(told, key) for key in ("chance", "share_in", "ff", "fl")},
            "gap_mm": _number(worst, "gap_mm"),
            "limit_mm": _number(worst, "limit_mm"),
        }


def _inner(told: Told, name: str) -> Told:
    found = told.get(name)
    return found if isinstance(found, dict) else {}


def _listed(told: Told, name: str) -> list[Any]:
    found = told.get(name)
    return found if isinstance(found, list) else []


def _number(told: Told, name: str) -> float | None:
    value = told.get(name)
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        return None
    return float(value)


def _one_of(value: object, known: Iterable[str]) -> str | None:
    return value if isinstance(value, str) and value in known else None
