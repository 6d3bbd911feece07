"""Surface and plan of every job reckoned anew by today's model, into a table of their own.

One machine does it job by job, or several workers do; a worker that dies has its jobs done again by
another, and a job that kills two is left out and named. The shelf is never touched.
"""

import math
import tempfile
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rig import __version__
from rig.errors import CannotAnswer, JobUnusable, RigError
from rig.job.store import Job
from rig.office import books, shelf
from rig.office.extract import Row
from rig.record import Record

if TYPE_CHECKING:
    from distributed import Client

    from rig.office.place import Place
    from rig.study.house_plan import HousePlan
    from rig.study.plan_answer import PlanAnswer

MODEL = f"{__version__}/1"
"""What reckoned: the program, and a number that is another one where the same job would differ."""
_AT_ONCE = 50
_DEATHS = 1
"""A job whose worker died more often is left out."""

COLUMNS: Mapping[str, str] = {
    "uid": "VARCHAR",
    "content": "VARCHAR",
    "model": "VARCHAR",
    "rig_version": "VARCHAR",
    "answered": "BOOLEAN",
    "confidence": "DOUBLE",
    "volume_l": "DOUBLE",
    "volume_sd_l": "DOUBLE",
    "cover_mean_mm": "DOUBLE",
    "chance_min_cover": "DOUBLE",
    "bags_p50": "DOUBLE",
    "bags_p95": "DOUBLE",
    "buy_bags": "DOUBLE",
    "stock_l": "DOUBLE",
    "high_mm": "DOUBLE",
    "roughness_mm": "DOUBLE",
    "plane_a_mm": "DOUBLE",
    "plane_b": "DOUBLE",
    "plane_c": "DOUBLE",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Redone(Record):
    """How many jobs were reckoned anew, by which model, and which (uid) could not be."""

    done: int
    failed: tuple[str, ...]
    model: str


def redo(place: "Place", workers: int = 1, at: str | None = None) -> Redone:
    """Reckon every job anew that today's model has not reckoned yet, as it is in the books now.

    Parameters
    ----------
    place : Place
    workers : int
        Processes on this machine.
    at : str, optional
        The address of a scheduler whose workers do it instead.
    """
    with books.opened(place) as connection:
        jobs = connection.execute("SELECT uid, content FROM job ORDER BY uid").fetchall()
    there = _there(place)
    left = [(uid, content) for uid, content in jobs if content not in there]
    failed: list[str] = []
    done = 0
    for some in _chunks(left):
        rows = list(_rows(place, some, workers, at, failed))
        if rows:
            books.append(place, rows, books.AGAIN, COLUMNS)
        done += len(rows)
    return Redone(done=done, failed=tuple(failed), model=MODEL)


def redo_one(data: bytes, uid: str, content: str) -> Row:
    """Return a job's row in the table of what was reckoned anew."""
    row: Row = dict.fromkeys(COLUMNS)
    row |= {"uid": uid, "content": content, "model": MODEL, "rig_version": __version__}
    with tempfile.TemporaryDirectory(prefix="rig-") as folder:
        file = Path(folder, "job.sqlite")
        file.write_bytes(data)
        with Job.open(file) as job:
            try:
                return row | {"answered": True, **_figures(_planned(job))}
            except CannotAnswer:
                return row | {"answered": False}


def _planned(job: Job) -> "PlanAnswer | HousePlan":
    from rig import study
    from rig.study.plan_answer import wish_of
    from rig.study.rooms import has_several

    kept = None if has_several(job) else job.current_plan()
    # By the floor alone: what a crew took before is no matter of the model.
    wish = None if kept is None else replace(wish_of(kept.inputs), history=None)
    return study.plan(job, wish)


def _figures(told: "PlanAnswer | HousePlan") -> Row:
    plane, high = told.plane, getattr(told, "high", None)
    found = {
        "confidence": told.confidence,
        "volume_l": told.volume_l.mean,
        "volume_sd_l": told.volume_l.sd_l,
        "cover_mean_mm": told.cover_mm.mean,
        "chance_min_cover": told.chance_min_cover,
        "bags_p50": told.bags.p50,
        "bags_p95": told.bags.p95,
        "buy_bags": told.bags.buy,
        "stock_l": told.safety.stock_l,
        "high_mm": None if high is None else high.z_mm,
        "roughness_mm": getattr(told, "roughness_mm", None),
        "plane_a_mm": None if plane is None else plane.a,
        "plane_b": None if plane is None else plane.b,
        "plane_c": None if plane is None else plane.c,
    }
    return {
        name: None if value is None or not math.isfinite(value) else float(value)
        for name, value in found.items()
    }


def _there(place: "Place") -> set[str]:
    try:
        with books.plain(place, books.AGAIN) as connection:
            rows = connection.execute("SELECT content FROM version WHERE model = ?", [MODEL])
            return {content for (content,) in rows.fetchall()}
    except CannotAnswer:
        return set()


def _rows(
    place: "Place",
    jobs: Sequence[tuple[str, str]],
    workers: int,
    at: str | None,
    failed: list[str],
) -> Iterator[Row]:
    loaded = []
    for uid, content in jobs:
        try:
            loaded.append((shelf.fetch(place, content), uid, content))
        except JobUnusable:
            failed.append(uid)
    if workers <= 1 and at is None:
        for one in loaded:
            try:
                yield redo_one(*one)
            except (RigError, ValueError, TypeError, KeyError, ArithmeticError):
                failed.append(one[1])
        return
    yield from _by_workers(loaded, workers, at, failed)


def _by_workers(
    loaded: Sequence[tuple[bytes, str, str]], workers: int, at: str | None, failed: list[str]
) -> Iterator[Row]:
    import dask
    from distributed import Client, LocalCluster

    quiet = {
        "distributed.scheduler.allowed-failures": _DEATHS,
        "distributed.nanny.pre-spawn-environ.MALLOC_TRIM_THRESHOLD_": 1 << 30,
        "distributed.nanny.pre-spawn-environ.MALLOC_MMAP_THRESHOLD_": 1 << 30,
    }
    with dask.config.set(quiet):
        if at is not None:
            with Client(at) as client:  # type: ignore[no-untyped-call]
                yield from _gathered(client, loaded, failed)
            return
        with (
            LocalCluster(  # type: ignore[no-untyped-call]
                n_workers=workers, threads_per_worker=1, dashboard_address=None, silence_logs=50
            ) as cluster,
            Client(cluster) as client,  # type: ignore[no-untyped-call]
        ):
            yield from _gathered(client, loaded, failed)


def _gathered(
    client: "Client", loaded: Iterable[tuple[bytes, str, str]], failed: list[str]
) -> Iterator[Row]:
    futures = [client.submit(redo_one, *one, pure=False) for one in loaded]
    for future, (_, uid, _) in zip(futures, loaded, strict=True):
        try:
            row: dict[str, Any] = future.result()
        except Exception:
            failed.append(uid)
        else:
            yield row


def _chunks(jobs: Sequence[tuple[str, str]]) -> Iterator[Sequence[tuple[str, str]]]:
    for first in range(0, len(jobs), _AT_ONCE):
        yield jobs[first : first + _AT_ONCE]
