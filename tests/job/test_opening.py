"""Making a job file whole or not at all, and refusing what is not one, each in its own words."""

import builtins
import os
import random
import signal
import sqlite3
import subprocess
import sys
import textwrap
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from rig.errors import BadInput, JobUnusable, RigError
from rig.job import Job, opening
from rig.job.schema import APPLICATION_ID, TABLES
from rig.job.settings import Settings
from tests.job.conftest import WALLS, begin


def make(path: str, shots: int = 0) -> None:
    with Job.create(path, Settings(), WALLS) as job:
        session = begin(job)
        for n in range(shots):
            job.log_reading(session, n, 1.7e9, "x" * 50, 1.0, "valid", n)
            job.add_shot(
                session,
                point=f"A{n}",
                x_mm=n,
                y_mm=0.0,
                reading_mm=50.0 + n,
                stderr_mm=0.1,
                n=5,
                kind="floor",
                time_s=n,
                utc_s=1.7e9,
            )


def test_a_new_job_is_a_sqlite_file_of_ours_with_all_tables_strict(path: str) -> None:
    Job.create(path, Settings(), WALLS).close()
    assert sorted(os.listdir(os.path.dirname(path))) == ["job.sqlite", "job.sqlite.lock"]
    with sqlite3.connect(path) as plain:
        assert plain.execute("PRAGMA application_id").fetchone() == (APPLICATION_ID,)
        assert plain.execute("PRAGMA user_version").fetchone() == (2,)
        assert plain.execute("PRAGMA journal_mode").fetchone() == ("wal",)
        strict = {
            name: strict
            for _, name, kind, _, _, strict in plain.execute("PRAGMA table_list")
            if kind == "table" and not name.startswith("sqlite_")
        }
    assert strict == dict.fromkeys(TABLES, 1)


def test_a_writer_commits_to_the_disk_and_keeps_references(job: Job) -> None:
    connection = job._connection
    assert connection.execute("PRAGMA synchronous").fetchone() == (2,)
    assert connection.execute("PRAGMA foreign_keys").fetchone() == (1,)
    assert connection.execute("PRAGMA journal_mode").fetchone() == ("wal",)


def test_an_existing_file_is_never_overwritten(path: str) -> None:
    Path(path).write_text("notes")
    with pytest.raises(BadInput, match="already"):
        Job.create(path, Settings(), WALLS)
    assert Path(path).read_text() == "notes"


def test_a_file_that_appears_while_the_job_is_made_is_not_overwritten(
    path: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    write = opening._write_draft

    def write_and_race(*arguments: Any) -> None:
        write(*arguments)
        Path(path).write_text("the other's")

    monkeypatch.setattr(opening, "_write_draft", write_and_race)
    with pytest.raises(BadInput, match="already"):
        Job.create(path, Settings(), WALLS)
    assert Path(path).read_text() == "the other's"
    assert os.listdir(os.path.dirname(path)) == ["job.sqlite"]


def test_a_disk_without_hard_links_gets_its_job_too(
    path: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def no_link(*_: str) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(os, "link", no_link)
    make(path, 1)
    with Job.open(path) as job:
        assert len(job.shots()) == 1
    assert sorted(os.listdir(os.path.dirname(path))) == ["job.sqlite", "job.sqlite.lock"]


@pytest.mark.parametrize(
    ("settings", "walls"),
    [
        (Settings(min_cover_mm=float("nan")), WALLS),
        (Settings(min_cover_mm=-1.0), WALLS),
        (Settings(units="furlong"), WALLS),  # type: ignore[arg-type]
        (Settings(laser_places={"1": (float("inf"), 0.0)}), WALLS),
        (Settings(), [(0.0, 0.0), (float("inf"), 0.0)]),
    ],
)
def test_a_refused_job_leaves_nothing_behind(
    path: str, settings: Settings, walls: list[tuple[float, float]]
) -> None:
    with pytest.raises(BadInput):
        Job.create(path, settings, walls)
    assert os.listdir(os.path.dirname(path)) == []


def test_a_job_killed_while_it_is_made_is_not_there(path: str) -> None:
    code = f"""
        import os, signal
        from rig.job import Job
        from rig.job.settings import Settings
        class Deadly(Settings):
            def stored(self):
                os.kill(os.getpid(), signal.SIGKILL)
        Job.create({path!r}, Deadly(), {WALLS!r})
    """
    done = subprocess.run([sys.executable, "-c", textwrap.dedent(code)], check=False)
    assert done.returncode == -signal.SIGKILL
    assert not os.path.exists(path)
    make(path)


def test_what_is_left_of_an_earlier_job_is_not_played_into_a_new_one(path: str) -> None:
    Path(path + "-wal").write_bytes(b"log of a file that was deleted")
    with pytest.raises(BadInput, match="-wal is left"):
        Job.create(path, Settings(), WALLS)


def test_no_folder_and_no_file_are_bad_input(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="no folder"):
        Job.create(tmp_path / "none" / "job.sqlite", Settings(), WALLS)
    with pytest.raises(BadInput, match=r"no job file at .*: make one with `rig new`"):
        Job.open(tmp_path / "job.sqlite")
    with pytest.raises(BadInput, match="not a file"):
        Job.open(tmp_path)
    assert os.listdir(tmp_path) == []


def test_each_wrong_file_has_its_own_sentence(tmp_path: Path) -> None:
    empty, text, other, newer, cut, spoilt, bare = (
        str(tmp_path / name)
        for name in ("empty", "text", "other", "newer", "cut", "spoilt", "bare")
    )
    Path(empty).touch()
    Path(text).write_bytes(random.Random(1).randbytes(9000))
    with sqlite3.connect(other) as plain:
        plain.execute("CREATE TABLE t (a)")
    make(newer)
    with sqlite3.connect(newer) as plain:
        plain.execute("PRAGMA user_version = 7")
    make(cut, 40)
    os.truncate(cut, os.path.getsize(cut) - 5000)
    make(spoilt, 40)
    with open(spoilt, "r+b") as raw:
        raw.seek(-4096, os.SEEK_END)
        raw.write(b"\xff" * 4096)
    make(bare)
    with sqlite3.connect(bare) as plain:
        plain.execute("DROP TABLE batch")
    sentences = {}
    for file in (empty, text, other, newer, cut, spoilt, bare):
        for write in (False, True):
            with pytest.raises(JobUnusable) as caught:
                Job.open(file, write=write)
            assert caught.value.exit_code == 4
            assert str(caught.value).startswith(file)
        sentences[os.path.basename(file)] = str(caught.value)
    assert "is empty" in sentences["empty"]
    assert "not an SQLite database" in sentences["text"]
    assert "another program" in sentences["other"]
    assert "newer floor-rig (its version is 7, this program knows 2)" in sentences["newer"]
    assert "damaged" in sentences["cut"]
    assert "damaged" in sentences["spoilt"]
    assert "table batch is missing" in sentences["bare"]


def test_damage_anywhere_is_told_or_harmless_but_never_a_traceback(path: str) -> None:
    make(path, 60)
    whole = Path(path).read_bytes()
    chance = random.Random(20)
    refused = 0
    for _ in range(150):
        spoilt = bytearray(whole)
        start = chance.randrange(len(whole))
        length = chance.choice((1, 8, 300, 4096))
        spoilt[start : start + length] = chance.randbytes(len(spoilt[start : start + length]))
        Path(path).write_bytes(spoilt)
        try:
            with Job.open(path) as job:
                job.shots(current=False)
                assert job.settings
                job.outline_rings()
                job.current_plan()
                for session in job.sessions():
                    list(job.stored_messages(session.id))
        except RigError as error:
            assert error.exit_code == 4  # noqa: PT017
            refused += 1
    assert refused > 30


def test_a_reader_finds_what_a_killed_writer_left_in_the_log(path: str) -> None:
    make(path, 2)
    code = f"""
        import os, signal
        from rig.job import Job
        job = Job.open({path!r}, write=True)
        job.add_shot(1, point="A2", x_mm=1.0, y_mm=0.0, reading_mm=1.0, stderr_mm=0.1, n=1,
                     kind="floor", time_s=1.0, utc_s=1.7e9)
        os.kill(os.getpid(), signal.SIGKILL)
    """
    done = subprocess.run([sys.executable, "-c", textwrap.dedent(code)], check=False)
    assert done.returncode == -signal.SIGKILL
    assert os.path.getsize(path + "-wal") > 0
    with Job.open(path) as job:
        assert [shot.point for shot in job.shots()] == ["A0", "A1", "A2"]


def test_the_database_is_never_opened_beside_sqlite(
    path: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    make(path, 1)
    opened = []

    def heard(real: Callable[..., Any]) -> Callable[..., Any]:
        def call(file: Any, *more: Any, **options: Any) -> Any:
            opened.append(file)
            return real(file, *more, **options)

        return call

    monkeypatch.setattr(builtins, "open", heard(builtins.open))
    monkeypatch.setattr(os, "open", heard(os.open))
    Job.open(path, write=True).close()
    Job.open(path).close()
    assert path + ".lock" in opened
    assert path not in opened


def test_odd_names_and_links_reach_the_same_job(tmp_path: Path) -> None:
    path = str(tmp_path / "Müller's 50% #1?.sqlite")
    make(path, 1)
    link = tmp_path / "link.sqlite"
    link.symlink_to(path)
    with Job.open(link, write=True), pytest.raises(JobUnusable, match="another floor-rig"):
        Job.open(path, write=True, wait_s=0.0)


def test_a_read_only_folder_can_be_read(
    open_folder: Path, unprivileged: Callable[..., Any]
) -> None:
    path = str(open_folder / "job.sqlite")
    make(path, 2)
    os.unlink(path + ".lock")
    os.chmod(path, 0o444)
    open_folder.chmod(0o555)
    unprivileged()
    with Job.open(path) as job:
        assert len(job.shots()) == 2
    with pytest.raises(JobUnusable, match="cannot be written"):
        Job.open(path, write=True)


def test_a_read_only_file_can_be_read_and_is_refused_to_a_writer_at_once(
    open_folder: Path, unprivileged: Callable[..., Any]
) -> None:
    path = str(open_folder / "job.sqlite")
    make(path, 2)
    os.chmod(path, 0o444)
    os.chmod(path + ".lock", 0o666)
    unprivileged()
    with Job.open(path) as job:
        assert len(job.shots()) == 2
    with pytest.raises(JobUnusable, match="cannot be written"):
        Job.open(path, write=True)


def test_a_read_only_folder_with_a_log_is_never_read_without_it(
    open_folder: Path, unprivileged: Callable[..., Any]
) -> None:
    path = str(open_folder / "job.sqlite")
    with Job.create(path, Settings(), WALLS) as job:
        begin(job)
        copy = open_folder / "copy"
        copy.mkdir()
        for ending in ("", "-wal"):
            data = Path(path + ending).read_bytes()
            (copy / ("job.sqlite" + ending)).write_bytes(data)
    copy.chmod(0o555)
    unprivileged()
    with pytest.raises(JobUnusable, match="-wal stands beside it"):
        Job.open(copy / "job.sqlite")


def test_a_folder_that_may_not_be_written_gets_no_job(
    open_folder: Path, unprivileged: Callable[..., Any]
) -> None:
    open_folder.chmod(0o555)
    unprivileged()
    with pytest.raises(JobUnusable, match="no job can be made"):
        Job.create(open_folder / "job.sqlite", Settings(), WALLS)
