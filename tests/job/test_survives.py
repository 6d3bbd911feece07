"""What was accepted is on the disk, whatever happens to the program or the disk."""

import os
import random
import resource
import signal
import sqlite3
import subprocess
import sys
import textwrap
import time
from pathlib import Path

import pytest

from rig.errors import JobUnusable
from rig.job import Job, description
from rig.job.settings import Settings
from tests.job.conftest import Shoot, raws

SHOOTER = textwrap.dedent("""
    import itertools, sys
    from rig.job import Job
    job = Job.open(sys.argv[1], write=True)
    session = job.start_session("survey", "1", "test", "", {}, "boot", 1.7e9)
    for n in itertools.count():
        label = f"{session}.{n}"
        for k in range(5):
            job.log_reading(session, n + k / 10, 1.7e9, f"{label} {k}", 50.0, "valid", k)
        job.log_event(session, float(n), 1.7e9, "act", {"shot": label})
        shot = job.add_shot(session, point=label, x_mm=1.0, y_mm=2.0, reading_mm=50.0,
                            stderr_mm=0.1, n=5, kind="floor", time_s=float(n), utc_s=1.7e9)
        print(shot, label, flush=True)
""")


def test_every_shot_that_was_answered_survives_kill_9(job: Job, path: str) -> None:
    job.close()
    chance = random.Random(9)
    answered = []
    for _ in range(10):
        with subprocess.Popen(
            [sys.executable, "-c", SHOOTER, path], stdout=subprocess.PIPE, text=True
        ) as child:
            assert child.stdout is not None
            first = child.stdout.readline()
            time.sleep(chance.uniform(0.0, 0.05))
            child.send_signal(signal.SIGKILL)
            lines = (first + child.stdout.read()).split("\n")[:-1]  # a torn last line is no answer
        answered += [line.split() for line in lines]
    with Job.open(path, write=True) as job:
        kept = {shot.id: shot.point for shot in job.shots()}
        raw = {
            message.raw if message.what == "reading" else message.data["shot"]
            for session in job.sessions()
            for message in job.stored_messages(session.id)
        }
    assert len(answered) >= 10
    for shot, label in answered:
        assert kept[int(shot)] == label
    for label in kept.values():
        assert {label, *(f"{label} {k}" for k in range(5))} <= raw
    with sqlite3.connect(path) as plain:
        assert plain.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert plain.execute("PRAGMA foreign_key_check").fetchall() == []


def test_a_full_disk_is_told_and_keeps_every_shot_before_it(
    job: Job, path: str, session: int, shoot: Shoot
) -> None:
    (pages,) = job._connection.execute("PRAGMA page_count").fetchone()
    job._connection.execute(f"PRAGMA max_page_count = {pages + 4}")
    kept = []
    with pytest.raises(JobUnusable) as caught:  # noqa: PT012
        for n in range(10_000):
            kept.append(shoot(f"A{n}"))
    assert str(caught.value) == (
        f"{path}: the disk is full: the last shot was not kept; free some space and start again."
    )
    assert len(kept) > 20
    assert [shot.id for shot in job.shots()] == kept

    # With room again nothing of what waited is missing, and ids go on without a gap.
    job._connection.execute(f"PRAGMA max_page_count = {pages + 400}")
    kept.append(shoot("B1"))
    readings = [m for m in job.stored_messages(session) if m.what == "reading"]
    assert [reading.id for reading in readings] == list(range(1, len(kept) + 2))
    assert kept == list(range(1, len(kept) + 1))


def test_leaving_a_full_job_tells_of_the_shot_not_of_the_rest(
    path: str, job: Job, shoot: Shoot
) -> None:
    job.close()

    def fill(job: Job) -> None:
        (pages,) = job._connection.execute("PRAGMA page_count").fetchone()
        job._connection.execute(f"PRAGMA max_page_count = {pages}")
        session = job.start_session("survey", "1", "test", "", {}, "boot", 1.7e9)
        for n in range(10_000):
            job.log_reading(session, n, 1.7e9, "x" * 500, 1.0, "valid", n)
            job.add_shot(
                session,
                point=f"A{n}",
                x_mm=0.0,
                y_mm=0.0,
                reading_mm=1.0,
                stderr_mm=0.1,
                n=1,
                kind="floor",
                time_s=n,
                utc_s=1.7e9,
            )

    with (
        pytest.raises(JobUnusable, match="the last shot was not kept"),
        Job.open(path, write=True) as full,
    ):
        fill(full)
    Job.open(path, write=True, wait_s=0.0).close()


def test_a_disk_that_fails_to_write_is_told(job: Job, path: str, shoot: Shoot) -> None:
    shoot("A1")
    # SQLite cannot write past the limit on file size: a real failed write.
    limits = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (500, limits[1]))
    try:
        with pytest.raises(JobUnusable, match=r"the disk failed .*: the last shot was not kept"):
            shoot("A2")
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, limits)
    assert [shot.point for shot in job.shots()] == ["A1"]
    shoot("A3")
    with Job.open(path) as reader:
        assert [shot.point for shot in reader.shots()] == ["A1", "A3"]


def test_an_interrupt_right_after_the_commit_does_not_write_anything_twice(
    job: Job, path: str, session: int, shoot: Shoot, monkeypatch: pytest.MonkeyPatch
) -> None:
    def interrupt() -> None:
        monkeypatch.undo()
        raise KeyboardInterrupt

    monkeypatch.setattr(job._log, "clear", interrupt)
    job.log_event(session, 1.0, 1.7e9, "act", {})
    with pytest.raises(KeyboardInterrupt):
        shoot("A1")
    shoot("A2")
    job.close()
    with Job.open(path) as reader:
        assert [shot.point for shot in reader.shots()] == ["A1", "A2"]
        assert [m.id for m in reader.stored_messages(session)] == [1, 1, 2]


def test_a_refused_change_leaves_what_waits_and_no_trace_of_itself(
    job: Job, session: int, shoot: Shoot, monkeypatch: pytest.MonkeyPatch
) -> None:
    shoot("A1")
    job.log_event(session, 2.0, 1.7e9, "act", {"key": "u"})

    def break_down(connection: sqlite3.Connection, changes: object) -> None:
        job._note("edit", {"never": 1})
        raise RuntimeError("broken")

    monkeypatch.setattr(description, "write_settings", break_down)
    with pytest.raises(RuntimeError, match="broken"):
        job.update_settings(Settings(units="in"))
    job.flush()
    assert [event.kind for event in job.events()] == ["act"]


def test_close_keeps_what_waits(job: Job, path: str, session: int) -> None:
    job.log_reading(session, 1.0, 1.7e9, "last", None, "no_beam", None)
    job.close()
    with Job.open(path) as reader:
        assert raws(reader.stored_messages(session)) == ["last"]


def test_a_job_moved_away_while_open_is_told_and_whole(
    job: Job, path: str, shoot: Shoot, tmp_path: Path
) -> None:
    shoot("A1")
    os.rename(path, tmp_path / "elsewhere.sqlite")
    with pytest.raises(JobUnusable, match=r"was moved or deleted .*: the last shot was not kept"):
        shoot("A2")
    with pytest.raises(JobUnusable, match="the last readings were not kept"):
        job.close()
    with Job.open(tmp_path / "elsewhere.sqlite") as reader:
        assert [shot.point for shot in reader.shots()] == ["A1"]


def test_a_log_deleted_while_open_is_told_and_nothing_lost(
    job: Job, path: str, shoot: Shoot
) -> None:
    shoot("A1")
    os.unlink(path + "-wal")
    with pytest.raises(JobUnusable, match="sqlite-wal was moved or deleted"):
        shoot("A2")
    with pytest.raises(JobUnusable, match="the last readings were not kept"):
        job.close()
    with Job.open(path) as reader:
        assert [shot.point for shot in reader.shots()] == ["A1"]


def test_another_file_in_its_place_is_not_written(
    job: Job, path: str, shoot: Shoot, tmp_path: Path
) -> None:
    shoot("A1")
    os.rename(path, tmp_path / "elsewhere.sqlite")
    (tmp_path / "job.sqlite").write_bytes(b"something else")
    with pytest.raises(JobUnusable, match="was moved or deleted"):
        shoot("A2")
    with pytest.raises(JobUnusable, match="the last readings were not kept"):
        job.close()
    assert (tmp_path / "job.sqlite").read_bytes() == b"something else"
