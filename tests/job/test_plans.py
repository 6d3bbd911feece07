"""A plan knows what it stands on, and names what has changed since."""

import hashlib
import sqlite3
from dataclasses import replace

import pytest

from rig.errors import BadInput, CannotAnswer
from rig.job import Job
from rig.job.rows import Plan
from rig.job.settings import RadialError, Settings
from tests.job.conftest import WALLS, Shoot, begin


@pytest.fixture
def plan(job: Job, shoot: Shoot) -> Plan:
    for label, reading in [("A10", 50.0), ("A2", 51.0), ("BM", 100.0)]:
        shoot(label, reading, kind="benchmark" if label == "BM" else "floor")
    shoot("A2", 52.0, kind="finished")
    return job.save_plan({"confidence": 0.95}, {"bags": {"p50": 12}}, -44.0, 0.0, 1e-3)


def test_a_plan_is_kept_with_its_result(job: Job, path: str, plan: Plan) -> None:
    job.close()
    with Job.open(path) as reader:
        assert reader.current_plan() == plan
        assert reader.changed_since(plan) == []
    assert (plan.inputs, plan.result) == ({"confidence": 0.95}, {"bags": {"p50": 12}})
    assert (plan.a, plan.b, plan.c) == (-44.0, 0.0, 1e-3)
    assert plan.shot_ids == (1, 2, 3)


def test_the_hash_is_sha256_over_the_sorted_shots(path: str, plan: Plan) -> None:
    with sqlite3.connect(path) as plain:
        rows = plain.execute(
            "SELECT kind, setup.name, point, x_mm, y_mm, reading_mm, stderr_mm FROM shot "
            "JOIN setup ON setup.id = setup_id WHERE kind <> 'finished'"
        )
        text = "\n".join(sorted(repr(row) for row in rows))
    assert plan.shot_hash == hashlib.sha256(text.encode()).hexdigest()


def test_without_a_plan_there_is_none(job: Job) -> None:
    assert job.current_plan() is None
    with pytest.raises(CannotAnswer, match="rig plan"):
        job.save_markers([])


def test_shots_that_changed_are_named_in_the_order_of_their_labels(
    job: Job, plan: Plan, shoot: Shoot
) -> None:
    shoot("A10", 50.5)
    job.supersede(2)
    shoot("B1")
    shoot("BM", 100.1, kind="benchmark")
    shoot("T1", kind="threshold")
    assert job.changed_since(plan) == ["A2", "A10", "B1", "BM", "T1"]
    assert job.changed_since(job.save_plan({}, {}, 0.0, 0.0, 0.0)) == []


def test_what_does_not_carry_the_plane_is_no_change(job: Job, plan: Plan, shoot: Shoot) -> None:
    shoot("A2", 40.0, kind="finished")
    shoot("M1", 40.0, kind="marker")
    shoot("BM2", 90.0, kind="benchmark")
    job.update_settings(replace(job.settings, units="in", denominator=16))
    job.set_outline(WALLS, [], [(0.0, 0.0, 900.0, 0.0)])
    assert job.changed_since(plan, bags=True) == []


def test_where_the_laser_stood_changes_a_plan_only_where_it_is_reckoned_with(
    job: Job, shoot: Shoot
) -> None:
    shoot("A1", 50.0)
    job.update_settings(Settings(laser_places={"1": (0.0, 0.0)}))
    plan = job.save_plan({}, {}, 0.0, 0.0, 0.0)
    job.update_settings(Settings(laser_places={"1": (5.0, 0.0)}))
    assert job.changed_since(plan) == []
    error = RadialError(error_mm_per_m=0.1, stderr_mm_per_m=0.02)
    job.update_settings(Settings(laser_places={"1": (5.0, 0.0)}, laser_correction=error))
    plan = job.save_plan({}, {}, 0.0, 0.0, 0.0)
    places = {"1": (5.0, 0.0), "2": (0.0, 9.0)}
    job.update_settings(Settings(laser_places=places, laser_correction=error))
    assert job.changed_since(plan) == []
    places = {"1": (6.0, 0.0), "2": (0.0, 9.0)}
    job.update_settings(Settings(laser_places=places, laser_correction=error))
    assert job.changed_since(plan) == ["laser's place"]


def test_a_shot_that_reads_the_same_again_is_no_change(job: Job, plan: Plan, shoot: Shoot) -> None:
    shoot("A10", 50.0)
    assert job.changed_since(plan) == []
    shoot("A10", 50.0, x_mm=101.0)
    assert job.changed_since(plan) == ["A10"]


def test_tying_a_new_setup_to_the_survey_does_not_spoil_the_plan_it_is_tied_for(
    job: Job, plan: Plan, shoot: Shoot
) -> None:
    shoot("BM", 130.0, kind="benchmark", session_id=begin(job, "next day"))
    assert job.changed_since(plan) == []
    shoot("A10", 80.0, session_id=begin(job, "next day"))
    assert job.changed_since(plan) == ["A10"]


def test_relabelled_shots_are_named_at_both_ends(job: Job, plan: Plan) -> None:
    job.relabel([(1, "A3", 9.0, 9.0)])
    assert job.changed_since(plan) == ["A3", "A10"]


def test_edits_under_the_plane_are_named(job: Job, plan: Plan) -> None:
    before = job.settings
    plane_too = replace(before, min_cover_mm=7.0, max_cover_mm=30.0, covering="tile")
    job.update_settings(plane_too)
    job.update_settings(replace(plane_too, bag_yield_l=12.5, waste_share=0.05))
    job.set_outline(WALLS, [[(1.0, 1.0), (2.0, 1.0), (2.0, 2.0)]])
    plane = ["outline", "covering", "minimum cover", "maximum cover"]
    assert job.changed_since(plan) == plane
    assert job.changed_since(plan, bags=True) == [*plane, "bag yield", "waste"]
    job.update_settings(before)
    job.set_outline(WALLS)
    assert job.changed_since(plan) == []


def test_rows_altered_by_another_program_are_noticed(job: Job, path: str, plan: Plan) -> None:
    with sqlite3.connect(path) as plain:
        plain.execute("UPDATE shot SET reading_mm = 49 WHERE id = 1")
    plain.close()
    assert job.changed_since(plan) == ["shots"]


def test_a_plan_stands_on_the_shots_it_was_made_from(job: Job, plan: Plan, shoot: Shoot) -> None:
    shoot("B1")  # taken while the plan was being reckoned
    late = job.save_plan({}, {}, 0.0, 0.0, 0.0, shot_ids=plan.shot_ids)
    assert job.changed_since(late) == ["B1"]
    with pytest.raises(BadInput, match="shot 99"):
        job.save_plan({}, {}, 0.0, 0.0, 0.0, shot_ids=[1, 99])


def test_a_result_that_is_no_number_is_refused(job: Job, plan: Plan) -> None:
    with pytest.raises(BadInput, match="not finite"):
        job.save_plan({}, {"volume_l": float("nan")}, 0.0, 0.0, 0.0)
    with pytest.raises(BadInput, match="must be a finite number"):
        job.save_plan({}, {}, float("nan"), 0.0, 0.0)
    assert job.current_plan() == plan


def test_arrays_in_a_result_are_kept_as_lists(job: Job, plan: Plan) -> None:
    numpy = pytest.importorskip("numpy")
    result = {"z_mm": numpy.array([1.5, 2.5]), "n": numpy.int64(3), "ok": numpy.bool_(True)}
    job.save_plan({}, result, numpy.float32(1.5), 0.0, 0.0)
    kept = job.current_plan()
    assert kept is not None
    assert (kept.result, kept.a) == ({"z_mm": [1.5, 2.5], "n": 3, "ok": True}, 1.5)


def test_a_plan_that_is_only_worded_anew_or_tells_more_stays_the_current_one(
    job: Job, plan: Plan
) -> None:
    def again(**other: object) -> Plan:
        told = {"least": 6.0, "warnings": ["It kinks."], "materials": [{"item": "primer", "l": 2}]}
        return job.save_plan({"target": "level", "holds": []}, told | other, -1200.0, 0.0, 0.0)

    first = again()
    worded = again(warnings=["The floor kinks."], new={"key": 1.5})
    assert worded.id == first.id
    kept = job.current_plan()
    assert kept is not None
    assert (kept.id, kept.utc_s) == (first.id, first.utc_s)
    assert kept.result["warnings"] == ["The floor kinks."]
    assert again(new={"key": 2.5}).id != first.id
    assert again(warnings=[]).id != again(least=6.5).id != first.id
