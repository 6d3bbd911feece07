"""What a survey's checks of its line leave in the job."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from rig.events import Event
from rig.job.settings import Settings
from rig.job.store import Job
from rig.session.recorder import Recorder
from rig.study.line_before import line_of
from tests.events import event
from tests.kinds import there

SQUARE = [(0.0, 0.0), (3000.0, 0.0), (3000.0, 3000.0), (0.0, 3000.0)]


def shot(
    label: str, reading: float, kind: str = "floor", time_s: float = 1.0, stderr: float = 0.2
) -> Event:
    place = (None, None) if kind == "benchmark" else (500.0, 700.0)
    return event(
        {
            "event": "shot",
            "label": label,
            "x_mm": place[0],
            "y_mm": place[1],
            "reading_mm": reading,
            "stderr_mm": stderr,
            "n": 9,
            "kind": kind,
            "time_s": time_s,
        }
    )


def checked(found: str, offset: float = 0.0, time_s: float = 60.0) -> Event:
    return event(
        {
            "event": "checked",
            "label": "BM1",
            "found": found,
            "ok": found == "held",
            "offset_mm": offset,
            "offset_stderr_mm": 0.2,
            "time_s": time_s,
        }
    )


@pytest.fixture
def job(tmp_path: Path) -> Iterator[Job]:
    with Job.create(tmp_path / "job.sqlite", Settings(units="mm"), SQUARE) as made:
        yield made


@pytest.fixture
def recorder(job: Job) -> Recorder:
    session = job.start_session("survey", "1", "typed", "", {}, "boot", 1000.0)
    made = Recorder(job, session, setup="1")
    made.keep(shot("BM1", 900.0, "benchmark"))
    for n in range(3):
        made.keep(shot(f"P{n}", 1200.0 + n))
    return made


def current(job: Job) -> dict[str, float]:
    return {s.point: s.reading_mm for s in job.shots() if s.kind == "floor"}


def test_a_drift_puts_corrected_shots_in_the_place_of_the_old(job: Job, recorder: Recorder) -> None:
    recorder.keep(checked("drift", 0.8))
    moved = [shot(f"P{n}", 1199.5 + n, stderr=0.5) for n in range(3)]
    recorder.keep(event({"event": "drift", "label": "BM1", "shots": tuple(moved)}))
    assert current(job) == {"P0": 1199.5, "P1": 1200.5, "P2": 1201.5}
    old = [s for s in job.shots(current=False) if s.superseded_by is not None]
    assert [s.reading_mm for s in old] == [1200.0, 1201.0, 1202.0]
    recorder.keep(event({"event": "undone", "label": "P2"}))  # takes back the corrected one
    assert current(job) == {"P0": 1199.5, "P1": 1200.5}
    line = line_of(job, "1", "floor", 1100.0)
    assert there(line)["known"]["offset_mm"] == 0.8
    assert there(line)["known"]["reading_mm"] == 900.0


def test_a_jolt_sets_aside_only_the_shots_that_it_names(job: Job, recorder: Recorder) -> None:
    recorder.keep(checked("jolt", 4.0))
    told = {"event": "jolt", "label": "BM1", "kind": "floor", "labels": ["P1", "P2"]}
    recorder.keep(event(told))
    assert current(job) == {"P0": 1200.0}
    assert len(job.shots(current=False)) == 4
    assert recorder.shots == 2
    recorder.keep(shot("P1", 1201.2))
    recorder.keep(event({"event": "undone", "label": "P1"}))
    assert current(job) == {"P0": 1200.0}


def test_the_next_session_knows_which_shots_the_line_has_not_been_seen_since(
    job: Job, recorder: Recorder
) -> None:
    line = line_of(job, "1", "floor", 1100.0)
    assert [s["label"] for s in there(line)["earlier"]] == ["P0", "P1", "P2"]
    recorder.keep(checked("held"))
    recorder.keep(shot("P3", 1203.0))
    line = line_of(job, "1", "floor", 1100.0)
    assert [s["label"] for s in there(line)["earlier"]] == ["P3"]
    assert line_of(job, "2", "floor", 1100.0) is None


@pytest.mark.parametrize("late", [False, True])
def test_what_is_told_before_anything_came_bears_the_time_the_session_began(
    job: Job, late: bool
) -> None:
    def start() -> int:
        return job.start_session("set", "1", "typed", "", {}, "boot", 5000.0)

    recorder = Recorder(job, start if late else start(), setup="1")
    recorder.begin()
    recorder.keep(event({"event": "trouble", "reason": "no_benchmark", "text": "none"}))
    recorder.flush()
    (told,) = job.events(["trouble"])
    assert (told.time_s, told.utc_s) == (0.0, 5000.0)
