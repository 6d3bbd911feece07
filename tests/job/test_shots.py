"""A shot is written once; undoing, re-shooting and relabelling only supersede it."""

import shutil
import tempfile
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rig.errors import BadInput
from rig.job import Job, Shot
from rig.job.settings import Settings
from tests.job.conftest import WALLS, Shoot, begin


def current(job: Job, kinds: list[str] | str | None = None) -> dict[str, float]:
    return {shot.point: shot.reading_mm for shot in job.shots(kinds)}


def test_a_shot_comes_back_to_the_bit(job: Job, session: int, shoot: Shoot) -> None:
    shot = shoot("A1", 0.1 + 0.2, x_mm=1 / 3, y_mm=2 / 3, stderr_mm=1e-3, time_s=4 / 3, utc_s=1e9)
    assert job.shots() == [
        Shot(
            id=shot,
            session_id=session,
            setup="1",
            point="A1",
            x_mm=1 / 3,
            y_mm=2 / 3,
            reading_mm=0.1 + 0.2,
            stderr_mm=1e-3,
            n=10,
            kind="floor",
            time_s=4 / 3,
            utc_s=1e9,
            superseded_by=None,
        )
    ]


def test_a_reshot_supersedes_only_its_kind_and_label(job: Job, shoot: Shoot) -> None:
    old = shoot("A1", 50.0)
    shoot("A2", 51.0)
    shoot("A1", 52.0, kind="finished")
    new = shoot("A1", 53.0)
    assert [(s.point, s.kind, s.reading_mm) for s in job.shots()] == [
        ("A2", "floor", 51.0),
        ("A1", "finished", 52.0),
        ("A1", "floor", 53.0),
    ]
    every = {shot.id: shot for shot in job.shots(current=False)}
    assert every[old].superseded_by == new
    assert every[old].reading_mm == 50.0
    assert current(job, ["finished"]) == current(job, "finished") == {"A1": 52.0}


def test_a_benchmark_from_another_setup_is_a_further_sight(job: Job, shoot: Shoot) -> None:
    shoot("BM", 100.0, kind="benchmark")
    shoot("BM", 130.0, kind="benchmark", session_id=begin(job, "2"))
    shoot("BM", 101.0, kind="benchmark")
    assert [(s.setup, s.reading_mm) for s in job.shots()] == [("2", 130.0), ("1", 101.0)]
    shoot("A1", 50.0)
    shoot("A1", 51.0, session_id=begin(job, "2"))
    assert [(s.setup, s.reading_mm) for s in job.shots("floor")] == [("2", 51.0)]


def test_an_undone_shot_points_at_itself_once(job: Job, shoot: Shoot) -> None:
    shot = shoot("A1")
    job.supersede(shot)
    assert job.shots() == []
    assert [s.superseded_by for s in job.shots(current=False)] == [shot]
    with pytest.raises(BadInput, match=r"shot 1 \(A1\) has been undone"):
        job.supersede(shot)
    with pytest.raises(BadInput, match="no shot 77"):
        job.supersede(77)
    with pytest.raises(BadInput, match="no shot 77"):
        job.supersede(shoot("A2"), by=77)


def test_undoing_a_reshoot_brings_the_earlier_shot_back(job: Job, shoot: Shoot) -> None:
    first, second = shoot("A1", 50.0), shoot("A1", 51.0)
    elsewhere = shoot("BM", 100.0, kind="benchmark")
    job.supersede(second)
    assert [s.id for s in job.shots()] == [first, elsewhere]
    again = shoot("A1", 52.0)
    job.supersede(again)
    job.supersede(first)
    assert [s.id for s in job.shots()] == [elsewhere]
    assert {s.id: s.superseded_by for s in job.shots("floor", current=False)} == {
        first: first,
        second: second,
        again: again,
    }


def test_undoing_a_moved_shot_brings_back_only_what_stood_at_its_point(
    job: Job, shoot: Shoot
) -> None:
    moved, stood = shoot("A1", 50.0), shoot("A2", 60.0)
    (new,) = job.relabel([(moved, "A2", 1.0, 2.0)])
    job.supersede(new)
    assert [s.id for s in job.shots()] == [stood]


@pytest.mark.parametrize(
    "wrong",
    [
        {"reading_mm": float("nan")},
        {"reading_mm": float("inf")},
        {"stderr_mm": -0.1},
        {"n": 0},
        {"kind": "ceiling"},
        {"x_mm": None},
        {"x_mm": None, "y_mm": None},
        {"point": " "},
        {"point": "\udcff"},
        {"time_s": float("nan")},
        {"session_id": 99},
    ],
)
def test_what_is_no_shot_is_refused_and_supersedes_nothing(
    job: Job, shoot: Shoot, wrong: dict[str, Any]
) -> None:
    shoot("A1", 50.0)
    with pytest.raises(BadInput):
        shoot(wrong.pop("point", "A1"), wrong.pop("reading_mm", 51.0), **wrong)
    assert current(job) == {"A1": 50.0}


def test_relabelling_writes_shots_again_and_lets_two_change_places(
    job: Job, session: int, shoot: Shoot
) -> None:
    a, b = shoot("A1", 50.0, stderr_mm=0.3), shoot("A2", 51.0)
    shoot("A3", 52.0)
    new = job.relabel([(a, "A2", 7.0, 8.0), (b, "A3", 9.0, 8.0)], utc_s=1.7e9)
    assert current(job) == {"A2": 50.0, "A3": 51.0}
    moved, _ = job.shots()
    assert (moved.x_mm, moved.y_mm, moved.stderr_mm, moved.session_id) == (7.0, 8.0, 0.3, session)
    every = {shot.id: shot.superseded_by for shot in job.shots(current=False)}
    assert every == {1: new[0], 2: new[1], 3: new[1], new[0]: None, new[1]: None}
    (event,) = job.events(["relabel"])
    assert event.data["moves"][0] == {"shot": a, "from": "A1", "to": "A2", "new": new[0]}

    job.relabel([(new[0], "A3", 1.0, 1.0), (new[1], "A2", 1.0, 1.0)])
    assert current(job) == {"A3": 50.0, "A2": 51.0}


def test_a_relabelling_that_cannot_be_is_refused_whole(job: Job, shoot: Shoot) -> None:
    a, b = shoot("A1", 50.0), shoot("A2", 51.0)
    for moves in (
        [(a, "A3", 0.0, 0.0), (b, "A3", 0.0, 0.0)],
        [(a, "A3", 0.0, 0.0), (a, "A4", 0.0, 0.0)],
        [(a, "A3", 0.0, 0.0), (99, "A4", 0.0, 0.0)],
        [(a, "A3", 0.0, 0.0), (b, "A4", float("nan"), 0.0)],
        [(a, "A3", 0.0, 0.0), (b, "", 0.0, 0.0)],
    ):
        with pytest.raises(BadInput):
            job.relabel(moves)
        assert current(job) == {"A1": 50.0, "A2": 51.0}
    assert job.events() == []


def test_a_table_is_taken_whole_or_not_at_all(job: Job, shoot: Shoot) -> None:
    shoot("A1", 50.0)
    row = {"point": "A1", "x_mm": 0.0, "y_mm": 0.0, "reading_mm": 60.0, "stderr_mm": 0.5}
    benchmark = row | {"point": "BM", "x_mm": None, "y_mm": None, "kind": "benchmark"}
    with pytest.raises(BadInput, match="shot A2"):
        job.import_shots([row, row | {"point": "A2", "reading_mm": float("nan")}])
    with pytest.raises(BadInput, match="A1 is there twice"):
        job.import_shots([row, row | {"setup": "2"}])
    assert current(job) == {"A1": 50.0}
    assert job.setups() == ["1"]

    job.import_shots([row, benchmark, benchmark | {"setup": "2", "reading_mm": 70.0}])
    assert [(s.point, s.setup, s.session_id, s.time_s, s.n) for s in job.shots()] == [
        ("A1", "1", None, None, 1),
        ("BM", "1", None, None, 1),
        ("BM", "2", None, None, 1),
    ]
    assert job.last_setup() == "1"


LABELS = st.sampled_from(["A1", "A2", "A3", "A4"])
STEPS = st.lists(
    st.one_of(
        st.tuples(st.just("shoot"), LABELS),
        st.tuples(st.just("undo"), LABELS),
        st.tuples(st.just("move"), st.permutations(["A1", "A2", "A3", "A4"])),
    ),
    max_size=14,
)


@settings(max_examples=60, deadline=None)
@given(STEPS)
def test_any_order_of_acts_leaves_what_a_slate_would_show(
    steps: list[tuple[str, Any]],
) -> None:
    slate: dict[str, list[float]] = {}  # what stands at a label, over what it took the place of
    written = 0
    folder = Path(tempfile.mkdtemp())
    try:
        with Job.create(folder / "job.sqlite", Settings(), WALLS) as job:
            session = begin(job)
            for n, (act, argument) in enumerate(steps):
                ids = {shot.point: shot.id for shot in job.shots()}
                if act == "shoot":
                    slate.setdefault(argument, []).append(float(n))
                    job.add_shot(
                        session,
                        point=argument,
                        x_mm=0.0,
                        y_mm=0.0,
                        reading_mm=float(n),
                        stderr_mm=0.1,
                        n=1,
                        kind="floor",
                        time_s=float(n),
                        utc_s=1.7e9,
                    )
                    written += 1
                elif act == "undo" and argument in slate:
                    slate[argument].pop()
                    if not slate[argument]:
                        del slate[argument]
                    job.supersede(ids[argument])
                elif act == "move":
                    pairs = zip(["A1", "A2", "A3", "A4"], argument, strict=True)
                    moves = {old: new for old, new in pairs if old in slate}
                    slate = {
                        new: [*(slate[old] if old == new else []), slate[old][-1]]
                        for old, new in moves.items()
                    }
                    job.relabel([(ids[old], new, 0.0, 0.0) for old, new in moves.items()])
                    written += len(moves)
                assert current(job) == {label: there[-1] for label, there in slate.items()}
            assert len(job.shots(current=False)) == written
            assert len(job.shots()) == len(slate)
    finally:
        shutil.rmtree(folder)
