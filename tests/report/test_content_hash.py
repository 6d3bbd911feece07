"""The job's hash: of what the job holds, not of how the file lies on the disk."""

import sqlite3

from rig.job.store import Job
from tests.cli.conftest import Run
from tests.report.jobs import make


def hash_of(path: str) -> str:
    with Job.open(path) as job:
        return job.content_hash()


def test_the_hash_outlives_a_vacuum_and_sees_every_change(run: Run) -> None:
    make(run, "surveyed")
    first = hash_of("job.sqlite")
    with sqlite3.connect("job.sqlite") as database:
        database.execute("VACUUM")
        assert hash_of("job.sqlite") == first
        database.execute("UPDATE shot SET reading_mm = reading_mm + 1e-9 WHERE id = 3")
    assert hash_of("job.sqlite") != first
    with sqlite3.connect("job.sqlite") as database:
        database.execute("UPDATE shot SET reading_mm = reading_mm - 1e-9 WHERE id = 3")
        database.execute("UPDATE event SET kind = 'other' WHERE id = 1")
    assert hash_of("job.sqlite") != first
