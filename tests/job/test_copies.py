"""A copy of the job file alone has what was told, and an end that was none is named once."""

import contextlib
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import textwrap
import threading
import warnings
from pathlib import Path

import pytest

from rig.errors import BadInput, JobWarning
from rig.job import Job
from tests.job.conftest import Shoot, begin

KILLED = textwrap.dedent("""
    import os, signal, sys
    from rig.job import Job
    job = Job.open(sys.argv[1], write=True)
    session = job.start_session("survey", "1", "test", "", {}, "boot", 1.7e9)
    job.add_shot(session, point="A1", x_mm=1.0, y_mm=2.0, reading_mm=50.0, stderr_mm=0.1, n=5,
                 kind="floor", time_s=1.0, utc_s=1.7e9)
    job.log_reading(session, 2.0, 1.7e9, "late", 50.0, "valid", 1)
    job.flush()
    os.kill(os.getpid(), signal.SIGKILL)
""")


def kill_a_writer(path: str) -> None:
    done = subprocess.run([sys.executable, "-c", KILLED, path], check=False)
    assert done.returncode == -signal.SIGKILL


def labels(path: object) -> list[str]:
    with contextlib.closing(sqlite3.connect(str(path))) as plain:
        assert plain.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        return [label for (label,) in plain.execute("SELECT point FROM shot ORDER BY id")]


def test_the_file_alone_has_every_shot_each_time(job: Job, tmp_path: Path, shoot: Shoot) -> None:
    alone = tmp_path / "alone" / "job.sqlite"
    alone.parent.mkdir()
    for n in range(60):
        shoot(f"A{n}")
        shutil.copyfile(job.path, alone)
        assert labels(alone) == [f"A{k}" for k in range(n + 1)]


def test_readings_go_into_the_file_in_bulk(job: Job, session: int) -> None:
    for n in range(5):
        job.log_reading(session, n, 1.7e9, "r", 1.0, "valid", n)
        job.flush()
    assert os.path.getsize(job.path + "-wal") > 0
    with contextlib.closing(sqlite3.connect(f"file:{job.path}?immutable=1", uri=True)) as alone:
        assert alone.execute("SELECT count(*) FROM reading").fetchone() == (0,)


def test_a_reader_in_the_way_holds_a_shot_out_of_the_file_only_meanwhile(
    job: Job, tmp_path: Path, shoot: Shoot
) -> None:
    shoot("A1")
    alone = tmp_path / "alone.sqlite"
    with Job.open(job.path) as reader:
        reader._connection.execute("BEGIN")
        assert len(reader.shots()) == 1
        shoot("A2")
        reader._connection.execute("ROLLBACK")
    job.flush()
    shutil.copyfile(job.path, alone)
    assert labels(alone) == ["A1", "A2"]


def test_a_safe_copy_beside_a_writer_is_whole(job: Job, tmp_path: Path) -> None:
    session = begin(job)
    going = threading.Event()
    told: list[int] = []

    def copy() -> None:
        with Job.open(job.path) as reader:
            for n in range(20):
                least = len(told)
                copied = tmp_path / f"copy{n}.sqlite"
                reader.copy_to(copied)
                assert len(labels(copied)) >= least
                done.append(copied)
        going.set()

    done: list[Path] = []
    thread = threading.Thread(target=copy)
    thread.start()
    while not going.is_set() and thread.is_alive():
        told.append(
            job.add_shot(
                session,
                point=f"A{len(told)}",
                x_mm=0.0,
                y_mm=0.0,
                reading_mm=1.0,
                stderr_mm=0.1,
                n=1,
                kind="floor",
                time_s=1.0,
                utc_s=1.7e9,
            )
        )
    thread.join()
    assert len(done) == 20
    assert sorted(os.listdir(tmp_path)) == sorted(
        ["job.sqlite", "job.sqlite-shm", "job.sqlite-wal", "job.sqlite.lock"]
        + [copied.name for copied in done]
    )
    with Job.open(done[-1], write=True) as copied:
        assert copied.content_hash()


def test_a_copy_takes_the_place_of_nothing(job: Job, tmp_path: Path) -> None:
    (tmp_path / "there").write_text("twenty years of books")
    with pytest.raises(BadInput, match="there is a file at"):
        job.copy_to(tmp_path / "there")
    with pytest.raises(BadInput, match="there is no folder"):
        job.copy_to(tmp_path / "nowhere" / "copy.sqlite")
    assert (tmp_path / "there").read_text() == "twenty years of books"


@pytest.mark.parametrize("write", [True, False])
def test_a_log_that_went_missing_after_a_kill_is_named_till_a_writer_has_heard(
    job: Job, path: str, write: bool
) -> None:
    job.close()
    kill_a_writer(path)
    os.unlink(path + "-wal")
    with pytest.warns(JobWarning, match=r"sqlite-wal is missing: .*`rig copy`"):
        Job.open(path, write=write).close()
    assert labels(path) == ["A1"]
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        if not write:
            with pytest.raises(JobWarning):
                Job.open(path).close()
        else:
            Job.open(path).close()
            Job.open(path, write=True).close()


@pytest.mark.parametrize("write", [True, False])
def test_a_log_that_is_there_after_a_kill_is_taken_in_without_a_word(
    job: Job, path: str, write: bool
) -> None:
    job.close()
    kill_a_writer(path)
    assert os.path.getsize(path + "-wal") > 0
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        with Job.open(path, write=write) as again:
            assert [m.raw for m in again.stored_messages(1) if m.what == "reading"] == ["late"]
        assert not os.path.exists(path + "-wal")
        Job.open(path).close()
        Job.open(path, write=True).close()


def test_a_reader_beside_a_writer_leaves_its_mark(job: Job, path: str, shoot: Shoot) -> None:
    shoot("A1")
    Job.open(path).close()
    assert Path(path + ".lock").read_text() == f"{os.getpid()}\nopen\n"
    job.close()
    assert Path(path + ".lock").read_text() == f"{os.getpid()}\n"
