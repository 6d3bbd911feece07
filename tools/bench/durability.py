"""Shots made durable against a bare sqlite3 loop with the same pragmas and rows; readings too."""

import sqlite3
import tempfile
import time
from pathlib import Path

from rig.job.settings import Settings
from rig.job.store import Job

SHOTS = 60  # short rounds and many: the best of each meets a disk that nobody else uses
READINGS_PER_SHOT = 30
ROUNDS = 14
CORNERS = [(0.0, 0.0), (3658.0, 0.0), (3658.0, 4572.0), (0.0, 4572.0)]


def run() -> list[dict[str, object]]:
    ours, bare, reads = [], [], []
    with tempfile.TemporaryDirectory() as folder:
        for n in range(ROUNDS):
            bare.append(_bare(Path(folder) / f"bare{n}.sqlite"))
            ours.append(_ours(Path(folder) / f"job{n}.sqlite"))
            if n < 3:
                reads.append(_readings(Path(folder) / f"read{n}.sqlite"))
    ratio = max(ours) / max(bare)
    return [
        {
            "what": "durable shots a second",
            "value": round(max(ours)),
            "against": f"bare sqlite3 {max(bare):.0f}, ratio {ratio:.2f}; aim 0.7 or more",
        },
        {
            "what": "readings logged a second (batched)",
            "value": round(max(reads)),
            "against": "aim over 5000",
        },
    ]


def _ours(path: Path) -> float:
    with Job.create(path, Settings(units="in"), CORNERS, [], []) as job:
        session = _session(job)
        begun = time.perf_counter()
        for n in range(SHOTS):
            for k in range(READINGS_PER_SHOT):
                _log(job, session, n + k / 100)
            job.add_shot(
                session,
                point=f"A{n}",
                x_mm=1.0 * n,
                y_mm=2.0,
                reading_mm=1234.5,
                stderr_mm=0.1,
                n=20,
                kind="floor",
                time_s=float(n),
                utc_s=1e9 + n,
            )
        return SHOTS / (time.perf_counter() - begun)


def _bare(path: Path) -> float:
    with Job.create(path, Settings(units="in"), CORNERS, [], []) as job:
        _session(job)
    bare = sqlite3.connect(path, isolation_level=None)
    bare.execute("PRAGMA journal_mode=WAL")
    bare.execute("PRAGMA synchronous=FULL")
    bare.execute("PRAGMA foreign_keys=ON")
    raw = "$U0HGT,1,1234.5,mm,V*00"
    begun = time.perf_counter()
    for n in range(SHOTS):
        bare.execute("BEGIN IMMEDIATE")
        bare.executemany(
            "INSERT INTO reading (session_id, time_s, utc_s, raw, value_mm, status, seq) "
            "VALUES (1, ?, ?, ?, 1234.5, 'valid', ?)",
            [(n + k / 100, 1e9 + n, raw, k) for k in range(READINGS_PER_SHOT)],
        )
        bare.execute(
            "INSERT INTO shot (session_id, setup_id, point, x_mm, y_mm, reading_mm, stderr_mm, n, "
            "kind, time_s, utc_s) VALUES (1, 1, ?, ?, 2.0, 1234.5, 0.1, 20, 'floor', ?, ?)",
            (f"A{n}", 1.0 * n, float(n), 1e9 + n),
        )
        bare.execute("COMMIT")
    rate = SHOTS / (time.perf_counter() - begun)
    bare.close()
    return rate


def _readings(path: Path) -> float:
    count = 20_000
    with Job.create(path, Settings(units="in"), CORNERS, [], []) as job:
        session = _session(job)
        begun = time.perf_counter()
        for n in range(count):
            _log(job, session, n / 100)
            if n % 50 == 49:
                job.flush()
        job.flush()
        return count / (time.perf_counter() - begun)


def _session(job: Job) -> int:
    return job.start_session(
        kind="survey",
        setup="1",
        source="bench",
        profile_text="",
        capture={},
        boot_id="bench",
        utc_s=1e9,
    )


def _log(job: Job, session: int, time_s: float) -> None:
    job.log_reading(
        session,
        time_s=time_s,
        utc_s=1e9 + time_s,
        raw="$U0HGT,1,1234.5,mm,V*00",
        value_mm=1234.5,
        status="valid",
        seq=1,
    )
