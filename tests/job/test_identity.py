"""A job is known by an identity that all its copies have, also where it began before there was one.

`aged` takes from a file what came with the second version, as an older floor-rig left it.
"""

import contextlib
import os
import shutil
import sqlite3
from pathlib import Path

import pytest

from rig.job import Job, schema
from rig.job.settings import Settings
from tests.job.conftest import WALLS, Shoot


def aged(path: str) -> str:
    with contextlib.closing(sqlite3.connect(path)) as plain:
        for table, told in schema.LATER:
            plain.execute(f'ALTER TABLE "{table}" DROP COLUMN {told.split()[0]}')
        plain.execute("PRAGMA user_version = 1")
        plain.execute("PRAGMA journal_mode = DELETE")
        plain.commit()
    return path


def hash_before(path: str) -> str:
    """Write the hash as the floor-rig before wrote it."""
    import hashlib

    digest = hashlib.sha256()
    with contextlib.closing(sqlite3.connect(path)) as plain:
        tables = plain.execute(
            "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite%' "
            "ORDER BY name"
        ).fetchall()
        for (name,) in tables:
            rows = plain.execute(f'SELECT * FROM "{name}" ORDER BY rowid')
            digest.update(repr((name, [column[0] for column in rows.description])).encode())
            for row in rows:
                digest.update(repr(row).encode())
    return digest.hexdigest()


@pytest.fixture
def shot(job: Job, path: str, shoot: Shoot) -> str:
    shoot("A1", 50.0)
    job.close()
    return path


def uid_of(path: str) -> str:
    with Job.open(path) as job:
        return job.uid


def test_each_new_job_has_an_identity_and_a_copy_has_the_same(shot: str, tmp_path: Path) -> None:
    copy, other = str(tmp_path / "copy.sqlite"), str(tmp_path / "other.sqlite")
    with Job.open(shot) as job:
        job.copy_to(copy)
        assert len(bytes.fromhex(job.uid)) == 16
    Job.create(other, Settings(), WALLS).close()
    assert uid_of(copy) == uid_of(shot) != uid_of(other)


def test_copies_of_an_older_job_agree_though_one_was_gone_on_with(
    shot: str, tmp_path: Path
) -> None:
    kept = shutil.copy(aged(shot), tmp_path / "kept.sqlite")
    before = hash_before(shot)
    with Job.open(shot, write=True) as job:
        assert job.content_hash() == before  # reports of it stay reports of it
        job.set_outline([(0.0, 0.0), (3500.0, 0.0), (3500.0, 4000.0), (0.0, 4000.0)])
        job.start_session("survey", "1", "test", "", {}, "boot", 1.8e9)
    assert uid_of(str(kept)) == uid_of(shot)
    assert hash_before(shot) != before


def test_an_older_job_that_may_not_be_written_is_read_all_the_same(
    shot: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    aged(shot)

    def refused(*_: object) -> int:
        raise PermissionError(13, "Permission denied")

    os.unlink(f"{shot}.lock")
    with monkeypatch.context() as closed:
        closed.setattr("rig.job.lock.os.open", refused)
        with Job.open(shot) as job:
            assert [one.point for one in job.shots()] == ["A1"]
            uid = job.uid
    with contextlib.closing(sqlite3.connect(shot)) as plain:
        assert plain.execute("PRAGMA user_version").fetchone() == (1,)
    assert uid_of(shot) == uid
