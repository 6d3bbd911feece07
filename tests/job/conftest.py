"""A job of one room, a session in it, and a hand that shoots."""

import os
import shutil
import tempfile
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path

import pytest

from rig.job import Job
from rig.job.rows import StoredEvent, StoredReading
from rig.job.settings import Settings

WALLS = [(0.0, 0.0), (3000.0, 0.0), (3000.0, 4000.0), (0.0, 4000.0)]
NOBODY = 65534
Shoot = Callable[..., int]


@pytest.fixture
def path(tmp_path: Path) -> str:
    return str(tmp_path / "job.sqlite")


@pytest.fixture
def job(path: str) -> Iterator[Job]:
    with Job.create(path, Settings(units="mm", min_cover_mm=6.0), WALLS) as job:
        yield job


@pytest.fixture
def session(job: Job) -> int:
    return begin(job)


def raws(messages: Iterable[StoredReading | StoredEvent]) -> list[str]:
    """Messages of a device as they came; anything else among them is an error."""
    kept = list(messages)
    assert all(isinstance(message, StoredReading) for message in kept)
    return [message.raw for message in kept if isinstance(message, StoredReading)]


def begin(job: Job, setup: str = "1") -> int:
    return job.start_session("survey", setup, "test", "", {}, "boot", 1.7e9)


@pytest.fixture
def shoot(job: Job, session: int) -> Shoot:
    """Take a shot with one reading before it."""

    def shoot(point: str, reading_mm: float = 50.0, kind: str = "floor", **more: object) -> int:
        job.log_reading(session, 1.0, 1.7e9, f"{point} {reading_mm}", reading_mm, "valid", None)
        shot = {
            "session_id": session,
            "point": point,
            "x_mm": None if kind == "benchmark" else 100.0,
            "y_mm": None if kind == "benchmark" else 200.0,
            "reading_mm": reading_mm,
            "stderr_mm": 0.1,
            "n": 10,
            "kind": kind,
            "time_s": 1.5,
            "utc_s": 1.7e9 + 1.5,
        } | more
        return job.add_shot(shot.pop("session_id"), **shot)  # type: ignore[arg-type]

    return shoot


@pytest.fixture
def open_folder() -> Iterator[Path]:
    """A folder that every user reaches, which pytest's own are not."""
    folder = Path(tempfile.mkdtemp(prefix="floor-rig-test-"))
    folder.chmod(0o777)
    yield folder
    folder.chmod(0o777)
    shutil.rmtree(folder)


@pytest.fixture
def unprivileged() -> Iterator[Callable[[], None]]:
    """Become a user for whom file permissions count; root again afterwards."""
    uid = os.geteuid()

    def become() -> None:
        if uid == 0:
            os.seteuid(NOBODY)

    yield become
    os.seteuid(uid)
