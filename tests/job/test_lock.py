"""One writer at a time, readers welcome."""

import os
import sqlite3
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest

from rig.errors import JobHeld, JobUnusable
from rig.job import Job
from tests.job.conftest import Shoot, begin


def test_a_second_writer_is_refused_by_name_and_a_reader_is_not(
    job: Job, path: str, shoot: Shoot
) -> None:
    shoot("A1")
    start = time.monotonic()
    with pytest.raises(JobHeld, match=rf"another floor-rig \(process {os.getpid()}\) .*{path}"):
        Job.open(path, write=True, wait_s=0.2)
    assert 0.2 <= time.monotonic() - start < 2.0
    with Job.open(path) as reader:
        assert [shot.point for shot in reader.shots()] == ["A1"]
        shoot("A2")
        assert [shot.point for shot in reader.shots()] == ["A1", "A2"]


def test_a_writer_waits_for_another_to_end(job: Job, path: str) -> None:
    job.close()
    code = (
        "import sys, time; from rig.job import Job; job = Job.open(sys.argv[1], write=True);"
        "print('mine', flush=True); time.sleep(0.3); job.close()"
    )
    with subprocess.Popen([sys.executable, "-c", code, path], stdout=subprocess.PIPE) as other:
        assert other.stdout is not None
        assert other.stdout.readline() == b"mine\n"
        with pytest.raises(JobUnusable, match=f"process {other.pid}"):
            Job.open(path, write=True, wait_s=0.0)
        Job.open(path, write=True, wait_s=5.0).close()


def test_a_closed_or_failed_writer_lets_the_next_in(job: Job, path: str) -> None:
    job.close()
    job.close()
    with pytest.raises(RuntimeError), Job.open(path, write=True, wait_s=0.0):
        raise RuntimeError
    with sqlite3.connect(path) as plain:
        plain.execute("PRAGMA user_version = 9")
    with pytest.raises(JobUnusable, match="newer"):
        Job.open(path, write=True, wait_s=0.0)
    with sqlite3.connect(path) as plain:
        plain.execute("PRAGMA user_version = 2")
    Job.open(path, write=True, wait_s=0.0).close()


def test_another_program_that_keeps_the_file_locked_is_told_at_the_start(
    job: Job, path: str
) -> None:
    job.close()
    foreign = sqlite3.connect(path, isolation_level=None)
    foreign.execute("BEGIN IMMEDIATE")
    with pytest.raises(JobUnusable, match="kept locked by another program"):
        Job.open(path, write=True, wait_s=0.1)
    foreign.execute("ROLLBACK")
    foreign.close()
    Job.open(path, write=True, wait_s=0.1).close()


def test_a_shot_against_a_foreign_lock_is_refused_and_its_readings_wait(
    job: Job, path: str
) -> None:
    job.close()
    with Job.open(path, write=True, wait_s=0.1) as job:
        session = begin(job)
        reading = job.log_reading(session, 1.0, 1.7e9, "r", 1.0, "valid", 1)
        foreign = sqlite3.connect(path, isolation_level=None)
        foreign.execute("BEGIN IMMEDIATE")
        shot: dict[str, Any] = {
            "point": "A1",
            "x_mm": 0.0,
            "y_mm": 0.0,
            "reading_mm": 1.0,
            "stderr_mm": 0.1,
        }
        shot |= {"n": 1, "kind": "floor", "time_s": 1.0, "utc_s": 1.7e9}
        with pytest.raises(JobUnusable, match="the last shot was not kept"):
            job.add_shot(session, **shot)
        foreign.execute("ROLLBACK")
        foreign.close()
        assert job.shots() == []
        job.add_shot(session, **shot)
        assert [message.id for message in job.stored_messages(session)] == [reading]
    with Job.open(path) as reader:
        assert len(reader.shots()) == 1


def test_a_reader_may_not_write(job: Job, path: str, shoot: Shoot) -> None:
    shot = shoot("A1")
    with Job.open(path) as reader, pytest.raises(JobUnusable, match="open for reading only"):
        reader.supersede(shot)


@pytest.mark.parametrize("kind", ["link", "dangling link", "hard link", "pipe", "folder"])
def test_what_is_no_lock_file_is_never_written_into(
    job: Any, path: Any, tmp_path: Path, kind: Any
) -> None:
    job.close()
    lock = tmp_path / "other.sqlite.lock"
    other = tmp_path / "other.sqlite"
    other.write_bytes(Path(path).read_bytes())
    precious = tmp_path / "precious"
    if kind in ("link", "hard link"):
        precious.write_text("twenty years of books")
    if kind == "hard link":
        lock.hardlink_to(precious)
    elif "link" in kind:
        lock.symlink_to(precious)
    elif kind == "pipe":
        os.mkfifo(lock)
    else:
        lock.mkdir()
    with pytest.raises(JobUnusable, match="lock file"):
        Job.open(other, write=True, wait_s=0.0)
    assert precious.exists() == (kind in ("link", "hard link"))
    if precious.exists():
        assert precious.read_text() == "twenty years of books"
