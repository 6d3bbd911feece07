"""An older file is brought up to date whole or not at all; the tables hold what they promise."""

import contextlib
import sqlite3

import pytest
from sqlite_utils import Database

from rig.errors import JobUnusable
from rig.job import Job, schema
from rig.job.lock import WriterLock
from tests.job.conftest import Shoot

NOW = len(schema.MIGRATIONS)


def add_line(connection: sqlite3.Connection) -> None:
    database = Database(connection, execute_plugins=False)
    database.table("setup").add_column("line_mm", float)
    database.table("batch").transform(rename={"mix_s": "mixing_s"})
    database.table("shot").transform(column_order=["id", "point", "kind"])  # rebuilds the table


def fail(connection: sqlite3.Connection) -> None:
    add_line(connection)
    connection.execute("INSERT INTO nowhere VALUES (1)")


@pytest.fixture
def old(job: Job, path: str, shoot: Shoot) -> str:
    shoot("A1", 50.0)
    shoot("A1", 51.0)
    job.save_plan({}, {}, 0.0, 0.0, 0.0)
    job.close()
    return path


def version(path: str) -> int:
    with sqlite3.connect(path) as plain:
        return int(plain.execute("PRAGMA user_version").fetchone()[0])


@pytest.mark.parametrize("write", [True, False])
def test_an_older_file_is_brought_up_to_date(
    old: str, monkeypatch: pytest.MonkeyPatch, write: bool
) -> None:
    monkeypatch.setattr(schema, "MIGRATIONS", (*schema.MIGRATIONS, add_line))
    with Job.open(old, write=write) as job:
        assert [(s.point, s.reading_mm, s.n) for s in job.shots()] == [("A1", 51.0, 10)]
        assert [s.superseded_by for s in job.shots(current=False)] == [2, None]
    assert version(old) == NOW + 1
    with sqlite3.connect(old) as plain:
        assert "line_mm" in [row[1] for row in plain.execute("PRAGMA table_info(setup)")]
        assert plain.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        with pytest.raises(sqlite3.IntegrityError, match="CHECK"):
            plain.execute("UPDATE shot SET kind = 'ceiling'")
    Job.open(old, write=True, wait_s=0.0).close()
    monkeypatch.undo()
    with pytest.raises(JobUnusable, match="newer"):
        Job.open(old)


@pytest.mark.parametrize("write", [True, False])
def test_a_migration_that_fails_leaves_the_old_file(
    old: str, monkeypatch: pytest.MonkeyPatch, write: bool
) -> None:
    monkeypatch.setattr(schema, "MIGRATIONS", (*schema.MIGRATIONS, fail))
    with pytest.raises(JobUnusable):
        Job.open(old, write=write)
    monkeypatch.undo()
    assert version(old) == NOW
    with Job.open(old, write=True, wait_s=0.0) as job:
        assert len(job.shots(current=False)) == 2
    with sqlite3.connect(old) as plain:
        assert "line_mm" not in [row[1] for row in plain.execute("PRAGMA table_info(setup)")]


def test_an_older_file_in_use_is_not_migrated_under_its_writer(
    old: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(schema, "MIGRATIONS", (*schema.MIGRATIONS, add_line))
    lock = WriterLock(old)
    lock.acquire(0.0)
    with pytest.raises(JobUnusable, match="another floor-rig"):
        Job.open(old, wait_s=0.05)
    lock.release()
    assert version(old) == NOW


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE shot SET reading_mm = 9e999",
        "UPDATE shot SET reading_mm = 'far'",
        "UPDATE shot SET kind = 'ceiling'",
        "UPDATE shot SET y_mm = NULL",
        "UPDATE shot SET superseded_by = NULL",  # two current shots at A1
        "UPDATE shot SET superseded_by = 99",
        "UPDATE job SET units = 'cm'",
        "INSERT INTO job (id, made_utc_s, units, denominator) VALUES (2, 0, 'in', 32)",
        "INSERT INTO reading (session_id, time_s, utc_s, raw, status) VALUES (9, 0, 0, '', 'bad')",
        """INSERT INTO material_rule (key, text, source, per, amount, unit)
           VALUES ('primer', '', '', 'm2', -1, 'l')""",
    ],
)
def test_the_tables_refuse_what_cannot_be(old: str, statement: str) -> None:
    plain = sqlite3.connect(old)
    plain.execute("PRAGMA foreign_keys = ON")
    with pytest.raises(sqlite3.IntegrityError), plain:
        plain.execute(statement)
    plain.close()


def test_nan_does_not_pass_for_a_reading(old: str) -> None:
    plain = sqlite3.connect(old)
    with pytest.raises(sqlite3.IntegrityError, match="NOT NULL"):
        plain.execute("UPDATE shot SET reading_mm = ?", (float("nan"),))
    plain.close()


@pytest.mark.parametrize(
    "statement",
    [
        "CREATE TRIGGER gone AFTER INSERT ON shot BEGIN DELETE FROM shot; END",
        "CREATE VIEW looks AS SELECT * FROM shot",
        "CREATE VIRTUAL TABLE told USING fts4(text)",
    ],
)
@pytest.mark.parametrize("write", [False, True])
def test_a_file_with_doings_of_its_own_is_refused(old: str, statement: str, write: bool) -> None:
    with contextlib.closing(sqlite3.connect(old)) as plain:
        plain.execute(statement)
    with pytest.raises(JobUnusable, match="do not trust where it came from"):
        Job.open(old, write=write)
