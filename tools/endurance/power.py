"""Lose the power, or the disk, at every point of the write sequence of a survey.

A survey of shots runs once over a file system that notes each write and each sync (a VFS made with
apsw). Then, for each point of that sequence, the disk is made as a power cut there may leave it:
what was synced is there, of what was not any part may be missing or torn, and the job is opened by
the product as it is. In a second round each write and sync fails in turn, as on a full or broken
disk.
"""

import os
import random
import shutil
import sqlite3
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import apsw

from rig.errors import JobUnusable
from rig.job import opening, wal
from rig.job.settings import Settings
from rig.job.store import Job

SECTOR = 512
CORNERS = [(0.0, 0.0), (3000.0, 0.0), (3000.0, 4000.0), (0.0, 4000.0)]
CHECKPOINT_PAGES = 60  # so that a short survey meets many checkpoints
READINGS_PER_SHOT = 6


@dataclass
class Tally:
    """What so many cuts and failures came to."""

    cuts: int = 0
    failures: int = 0
    told: int = 0
    lost: int = 0
    damaged: int = 0
    wrong_next: int = 0
    not_refused: int = 0
    notes: list[str] = field(default_factory=list)

    @property
    def sound(self) -> bool:
        """Nothing went wrong."""
        return not (self.lost or self.damaged or self.wrong_next or self.not_refused)


# What happened, in order: ("write", file, offset, bytes), ("truncate", file, size), ("sync", file),
# ("delete", file), ("told", shot). Files by name, all in one folder.
Step = tuple[Any, ...]


class _Disk(apsw.VFS):
    """Passes all on to the file system; notes it, and fails at a chosen step."""

    def __init__(self, name: str) -> None:
        super().__init__(name, "unix")
        self.steps: list[Step] = []
        self.fails_at: int | None = None
        self.error = apsw.SQLITE_FULL
        self.failed = False

    def note(self, *step: Any) -> None:
        if self.fails_at is not None and (self.failed or len(self.steps) == self.fails_at):
            self.failed = True  # and goes on failing: the disk stays full
            raise apsw.exception_for(self.error)
        self.steps.append(step)

    def xOpen(self, name: Any, flags: list[int]) -> "_File":  # noqa: N802
        path = name if isinstance(name, str) else name.filename()
        return _File(self, os.path.basename(path), name, flags)

    def xDelete(self, name: str, sync: bool) -> None:  # noqa: N802
        self.note("delete", os.path.basename(name))
        super().xDelete(name, sync)


class _File(apsw.VFSFile):
    def __init__(self, disk: _Disk, base: str, name: Any, flags: list[int]) -> None:
        super().__init__("unix", name, flags)
        self._disk, self._base = disk, base

    def xWrite(self, data: bytes, offset: int) -> None:  # noqa: N802
        self._disk.note("write", self._base, offset, bytes(data))
        super().xWrite(data, offset)

    def xTruncate(self, size: int) -> None:  # noqa: N802
        self._disk.note("truncate", self._base, size)
        super().xTruncate(size)

    def xSync(self, flags: int) -> None:  # noqa: N802
        self._disk.note("sync", self._base)
        super().xSync(flags)


class _Cursor:
    def __init__(self, rows: Iterator[tuple[Any, ...]], last: int) -> None:
        self._rows, self.lastrowid = rows, last

    def __iter__(self) -> Iterator[tuple[Any, ...]]:
        with _as_sqlite3():
            yield from self._rows

    def fetchone(self) -> tuple[Any, ...] | None:
        return next(iter(self), None)

    def fetchall(self) -> list[tuple[Any, ...]]:
        return list(self)


class _Connection:
    """As much of `sqlite3.Connection` as the job file uses, over apsw."""

    def __init__(self, path: str, vfs: str) -> None:
        with _as_sqlite3():
            self._inner = apsw.Connection(path, flags=apsw.SQLITE_OPEN_READWRITE, vfs=vfs)

    def execute(self, sql: str, values: Any = ()) -> _Cursor:
        with _as_sqlite3():
            # Read at once, as sqlite3 steps a statement once before it returns.
            rows = list(self._inner.execute(sql, tuple(values)))
            return _Cursor(iter(rows), self._inner.last_insert_rowid())

    def executemany(self, sql: str, rows: Any) -> None:
        with _as_sqlite3():
            self._inner.executemany(sql, list(rows))

    @property
    def in_transaction(self) -> bool:
        return self._inner.in_transaction

    def close(self) -> None:
        with suppress(apsw.Error):  # as sqlite3 does: what the last checkpoint met is not told
            self._inner.close()


@contextmanager
def _as_sqlite3() -> Iterator[None]:
    """Raise what sqlite3 would, with SQLite's own code."""
    try:
        yield
    except apsw.Error as error:
        told = sqlite3.OperationalError(str(error))
        told.sqlite_errorcode = getattr(error, "extendedresult", 1)
        raise told from error


@contextmanager
def _over(disk: _Disk, name: str) -> Iterator[None]:
    """Have the product open its files over a disk."""
    usual, most = opening._connect, wal.MOST_PAGES
    opening._connect = lambda file, options, wait_s: _Connection(file, name)  # type: ignore
    wal.MOST_PAGES = CHECKPOINT_PAGES
    try:
        yield
    finally:
        opening._connect, wal.MOST_PAGES = usual, most


def points(shots: int) -> list[tuple[str, float, float, int]]:
    """A grid of so many points."""
    return [(f"A{n}", 10.0 * n, 100.0, n) for n in range(1, shots + 1)]


def survey(path: Path, tell: Callable[[int, str, float], None]) -> None:
    """Shoot what has no shot yet, each with its readings; undo and shoot one again in between."""
    with Job.open(path, write=True) as job:
        session = job.start_session("survey", "1", "test", "", {}, "boot", 1.7e9, monotonic_s=1.0)
        had = {shot.point for shot in job.shots()}
        for label, x_mm, y_mm, order in points(len(job.points())):
            if label in had:
                continue
            for again in range(2 if order % 5 == 0 else 1):
                for n in range(READINGS_PER_SHOT):
                    time_s = order + n / 20
                    raw = f"$U0HGT,{order},{label},{again}"
                    job.log_reading(session, time_s, 1.7e9 + time_s, raw, 50.0, "valid", n)
                job.log_event(session, float(order), 1.7e9, "act", {"act": "accept"})
                reading_mm = 1200.0 + order + again / 8
                shot = job.add_shot(
                    session,
                    point=label,
                    x_mm=x_mm,
                    y_mm=y_mm,
                    reading_mm=reading_mm,
                    stderr_mm=0.1,
                    n=READINGS_PER_SHOT,
                    kind="floor",
                    time_s=float(order),
                    utc_s=1.7e9 + order,
                )
                tell(shot, label, reading_mm)
            if order % 7 == 0:
                job.supersede(shot)
                tell(-shot, label, reading_mm)


def new_job(path: Path, shots: int) -> None:
    """A job with a grid and nothing shot."""
    with Job.create(path, Settings(units="mm"), CORNERS) as job:
        job.set_points(points(shots))


def record(path: Path, name: str) -> list[Step]:
    """Survey over a noting disk and return the steps, with what was told and when."""
    disk = _Disk(name)
    try:
        with _over(disk, name):
            survey(path, lambda *shot: disk.steps.append(("told", *shot)))
    finally:
        disk.unregister()
    return disk.steps


def cut(start: dict[str, bytes], steps: list[Step], rng: random.Random) -> dict[str, bytes]:
    """What a power cut after these steps may leave of the files.

    Per file: all up to its last sync is there. Of later writes each is there, missing, or, sector
    by sector, torn; a file never synced may be missing whole, a deletion may not have happened.
    """
    synced = {name: n for n, step in enumerate(steps) if step[0] == "sync" for name in [step[1]]}
    files = {name: bytearray(data) for name, data in start.items()}
    mode = rng.choice(["none", "all", "some", "torn", "last torn"])
    last = max((n for n, step in enumerate(steps) if step[0] == "write"), default=-1)
    for n, step in enumerate(steps):
        kind = step[0]
        if kind in ("told", "sync"):
            continue
        name = step[1]
        durable = n < synced.get(name, -1)
        here = durable or mode in ("all", "torn", "last torn") or rng.random() < 0.5
        if not durable and mode == "none":
            here = False
        if not here:
            continue
        if kind == "delete":
            files.pop(name, None)
        elif kind == "truncate":
            if name in files:
                del files[name][step[2] :]
        else:
            torn = not durable and (mode == "torn" or (mode == "last torn" and n == last))
            _put(files.setdefault(name, bytearray()), step[2], step[3], rng if torn else None)
    return {name: bytes(data) for name, data in files.items() if not name.endswith("-shm")}


def _put(file: bytearray, offset: int, data: bytes, torn: random.Random | None) -> None:
    if len(file) < offset + len(data):
        file.extend(bytes(offset + len(data) - len(file)))
    for begin in range(0, len(data), SECTOR):
        if torn is None or torn.random() < 0.5:
            file[offset + begin : offset + min(begin + SECTOR, len(data))] = data[
                begin : begin + SECTOR
            ]


def torment(cuts: int, seed: int, folder: Path, shots: int = 40) -> Tally:
    """Cut the power so many times, over surveys that begin where an earlier cut left the job."""
    rng = random.Random(seed)
    tally = Tally()
    path = folder / "job.sqlite"
    new_job(path, shots)
    before: dict[str, tuple[int, float]] = {}
    generation = 0
    while tally.cuts < cuts:
        start = {p.name: p.read_bytes() for p in folder.glob("job.sqlite*") if p.suffix != ".lock"}
        steps = record(path, f"noting{generation}")
        share = cuts if generation else cuts - cuts // 3
        at = sorted(rng.sample(range(len(steps) + 1), min(share - tally.cuts, len(steps) + 1)))
        for point in at:
            left = cut(start, steps[:point], rng)
            told, open_shot = _told(before, steps, point)
            _examine(left, told, open_shot, shots, tally)
        # Go on from one of the states that a cut left, in the middle of the walk.
        point = rng.randrange(len(steps) // 4, len(steps) // 2)
        left = cut(start, steps[:point], rng)
        before, _ = _told(before, steps, point)
        for file in folder.glob("job.sqlite*"):
            file.unlink()
        for name, data in left.items():
            (folder / name).write_bytes(data)
        try:
            with Job.open(path) as job:  # what was under way may have got to the disk after all
                before = {shot.point: (shot.id, shot.reading_mm) for shot in job.shots()}
        except JobUnusable as error:
            tally.damaged += 1
            tally.notes.append(str(error))
            break
        generation += 1
    return tally


def _told(
    before: dict[str, tuple[int, float]], steps: list[Step], point: int
) -> tuple[dict[str, tuple[int, float]], str | None]:
    """What was told up to a step and still stands; and the point that was under way."""
    standing = {label: [shot] for label, shot in before.items()}
    for step in steps[:point]:
        if step[0] == "told":
            _, shot, label, reading_mm = step
            if shot > 0:
                standing.setdefault(label, []).append((shot, reading_mm))
            else:
                standing[label].pop()
    under_way = next((step[2] for step in steps[point:] if step[0] == "told"), None)
    return {label: there[-1] for label, there in standing.items() if there}, under_way


def _examine(
    left: dict[str, bytes],
    told: dict[str, tuple[int, float]],
    under_way: str | None,
    shots: int,
    tally: Tally,
) -> None:
    tally.cuts += 1
    tally.told += len(told)
    folder = Path(tempfile.mkdtemp(prefix="floor-rig-cut-", dir=_shelf()))
    try:
        for name, data in left.items():
            (folder / name).write_bytes(data)
        with Job.open(folder / "job.sqlite", write=True) as job:
            kept = {shot.point: (shot.id, shot.reading_mm) for shot in job.shots()}
            raw = {m.raw for s in job.sessions() for m in job.stored_messages(s.id)
                   if m.what == "reading"}  # fmt: skip
            first = next((p.label for p in job.points() if p.label not in kept), None)
        for label in set(told) | set(kept):
            if kept.get(label) != told.get(label) and label != under_way:
                tally.lost += 1
                tally.notes.append(f"{label}: told {told.get(label)}, kept {kept.get(label)}")
        for label in told:
            if f"$U0HGT,{label[1:]},{label},0" not in raw:
                tally.lost += 1
                tally.notes.append(f"{label} has lost its readings")
        allowed = {_first(told, shots)}
        if under_way is not None:
            allowed |= {
                _first(set(told) | {under_way}, shots),
                _first(set(told) - {under_way}, shots),
            }
        if first not in allowed:
            tally.wrong_next += 1
            tally.notes.append(f"next is {first}, not {allowed}")
        plain = sqlite3.connect(folder / "job.sqlite")
        sound = plain.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        sound &= plain.execute("PRAGMA foreign_key_check").fetchall() == []
        plain.close()
        tally.damaged += not sound
    except JobUnusable as error:
        tally.damaged += 1
        tally.notes.append(str(error))
    finally:
        shutil.rmtree(folder)


def _first(done: Any, shots: int) -> str | None:
    return next((label for label, *_ in points(shots) if label not in done), None)


def _shelf() -> str | None:
    """Memory, where there is some: thousands of files are looked at and thrown away."""
    return "/dev/shm" if os.access("/dev/shm", os.W_OK) else None


def break_disk(seed: int, folder: Path, shots: int = 16, most: int | None = None) -> Tally:
    """Fail each write and each sync of a survey in turn, as a full or a broken disk does.

    The survey must stop with a sentence, and the job afterwards hold what was told before.
    """
    rng = random.Random(seed)
    tally = Tally()
    master = folder / "master.sqlite"
    new_job(master, shots)
    copy = folder / "copy.sqlite"
    shutil.copy(master, copy)
    whole = record(copy, "counting")
    steps = len([step for step in whole if step[0] != "told"])
    acts = [step[2] for step in whole if step[0] == "told"]
    at = range(steps) if most is None else sorted(rng.sample(range(steps), min(most, steps)))
    for n in at:
        error = rng.choice([apsw.SQLITE_FULL, apsw.SQLITE_IOERR, apsw.SQLITE_READONLY])
        for file in folder.glob("job.sqlite*"):
            file.unlink()
        path = folder / "job.sqlite"
        shutil.copy(master, path)
        told: list[Step] = []

        disk = _Disk(f"failing{n}")
        disk.fails_at, disk.error = n, error
        refused = False
        try:
            with _over(disk, f"failing{n}"):
                survey(path, lambda *shot, told=told: told.append(("told", *shot)))
        except JobUnusable:
            refused = True
        finally:
            disk.unregister()
        tally.failures += 1
        # Work that fails after all was told (the last checkpoint, tidying up) loses nothing.
        if not refused and len(told) < len(acts):
            tally.not_refused += 1
            tally.notes.append(f"step {n} failed without a word")
        with Job.open(path, write=True) as job:
            kept = {shot.point: (shot.id, shot.reading_mm) for shot in job.shots()}
        current, _ = _told({}, told, len(told))
        tally.told += len(current)
        under_way = acts[len(told)] if len(told) < len(acts) else None
        for label in set(current) | set(kept):
            if kept.get(label) != current.get(label) and label != under_way:
                tally.lost += 1
                tally.notes.append(f"step {n}: {label} told {current.get(label)}, "
                                   f"kept {kept.get(label)}")  # fmt: skip
    return tally
