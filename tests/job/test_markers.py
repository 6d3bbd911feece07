"""Markers keep their layout's order, and whether they stand at their height."""

from typing import Any

import pytest

from rig.errors import BadInput
from rig.job import Job
from tests.job.conftest import raws


def row(label: str, x_mm: float = 500.0, target_reading_mm: float = 38.1) -> dict[str, Any]:
    return {
        "label": label,
        "x_mm": x_mm,
        "y_mm": 700.0,
        "target_reading_mm": target_reading_mm,
        "stick_out_mm": 19.05,
        "stick_out_stderr_mm": 0.4,
    }


@pytest.fixture
def laid_out(job: Job, session: int) -> Job:
    job.save_plan({}, {}, -38.1, 0.0, 0.0)
    job.save_markers([row("M2"), row("M10"), row("M1")])
    return job


def set_marker(job: Job, session: int, label: str, residual_mm: float = 0.2) -> int:
    return job.set_marker(label, residual_mm, 37.9, 0.1, 12, session, 9.0, 1.7e9)


def test_a_layout_comes_back_in_its_order_unset(laid_out: Job) -> None:
    markers = laid_out.markers()
    assert [(m.label, m.order) for m in markers] == [("M2", 1), ("M10", 2), ("M1", 3)]
    assert {m.plan_id for m in markers} == {1}
    assert not any(m.is_set for m in markers)
    assert (markers[0].target_reading_mm, markers[0].stick_out_stderr_mm) == (38.1, 0.4)


def test_setting_keeps_the_residual_the_shot_and_what_came_before(
    laid_out: Job, path: str, session: int
) -> None:
    laid_out.log_reading(session, 8.0, 1.7e9, "before", 37.9, "valid", 1)
    shot = set_marker(laid_out, session, "M10")
    with Job.open(path) as reader:
        marker = reader.markers()[1]
        (kept,) = reader.shots("marker")
        assert raws(reader.stored_messages(session)) == ["before"]
    assert (marker.residual_mm, marker.shot_id, marker.set_utc_s) == (0.2, shot, 1.7e9)
    assert (kept.id, kept.point, kept.x_mm, kept.y_mm) == (shot, "M10", 500.0, 700.0)
    assert (kept.reading_mm, kept.stderr_mm, kept.n, kept.time_s) == (37.9, 0.1, 12, 9.0)


def test_setting_again_supersedes_and_unsetting_undoes(laid_out: Job, session: int) -> None:
    first, second = (set_marker(laid_out, session, "M1", r) for r in (0.9, 0.1))
    assert [s.id for s in laid_out.shots("marker")] == [second]
    laid_out.unset_marker("M1")
    assert laid_out.shots("marker") == []
    assert not laid_out.markers()[2].is_set
    every = {s.id: s.superseded_by for s in laid_out.shots("marker", current=False)}
    assert every == {first: second, second: second}
    with pytest.raises(BadInput, match="M1 is not set"):
        laid_out.unset_marker("M1")


def test_undoing_a_markers_shot_unsets_it(laid_out: Job, session: int) -> None:
    laid_out.supersede(set_marker(laid_out, session, "M1"))
    assert not laid_out.markers()[2].is_set


def test_an_unknown_marker_is_named(laid_out: Job, session: int) -> None:
    with pytest.raises(BadInput, match="no marker M7"):
        set_marker(laid_out, session, "M7")
    with pytest.raises(BadInput, match="finite"):
        set_marker(laid_out, session, "M1", float("nan"))
    assert laid_out.shots() == []


def test_a_new_layout_keeps_set_what_stays_where_and_as_high_as_it_was(
    laid_out: Job, session: int
) -> None:
    for label in ("M1", "M2", "M10"):
        set_marker(laid_out, session, label)
    laid_out.save_markers([row("M1"), row("M2", x_mm=501.0), row("M10", target_reading_mm=40.0)])
    assert {m.label: m.is_set for m in laid_out.markers()} == {
        "M1": True,
        "M2": False,
        "M10": False,
    }
    (layouts,) = laid_out._connection.execute("SELECT count(*) FROM marker").fetchone()
    assert layouts == 6  # the old layout is kept


@pytest.mark.parametrize(
    "rows", [[row("M1"), row("M1")], [row("M1"), row("")], [row("M1", x_mm=float("inf"))]]
)
def test_a_wrong_layout_leaves_the_old_one(laid_out: Job, rows: list[dict[str, Any]]) -> None:
    with pytest.raises(BadInput):
        laid_out.save_markers(rows)
    assert [m.label for m in laid_out.markers()] == ["M2", "M10", "M1"]
