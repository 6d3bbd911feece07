"""The schedule of a pour: what is poured stays, what is not may be planned anew."""

import pytest

from rig.errors import BadInput
from rig.job import Job


def rows(count: int, bags: float = 1.0) -> list[dict[str, float]]:
    return [
        {"n": n, "bags": bags, "water_l": 5.0, "volume_l": 12.0, "mix_s": 60.0 * n,
         "pour_s": 60.0 * n + 30.0, "x_mm": 100.0 * n, "y_mm": 50.0}
        for n in range(1, count + 1)
    ]  # fmt: skip


def test_a_schedule_comes_back_and_a_new_one_takes_its_place(job: Job) -> None:
    job.save_pour_plan(rows(3), {"made": 1})
    job.save_pour_plan(rows(2, bags=2.0), {"made": 2})
    assert [(b.n, b.bags) for b in job.batches()] == [(1, 2.0), (2, 2.0)]
    assert [event.data["made"] for event in job.events(["pour_plan"])] == [1, 2]


def test_poured_batches_are_on_the_disk_and_stay(job: Job, session: int, path: str) -> None:
    job.save_pour_plan(rows(3), {})
    job.log_event(session, 5.0, 1.7e9 + 5.0, "act", {"act": "batch", "argument": None})
    job.pour_batch(1, 1.0, session, 1.7e9 + 5.0)
    with Job.open(path) as reader:
        assert reader.batches()[0].poured_utc_s == 1.7e9 + 5.0
        assert len(reader.events(["act"])) == 1
    job.save_pour_plan(rows(2), {})
    assert [(b.n, b.poured_utc_s is None) for b in job.batches()] == [
        (1, False), (1, True), (2, True)]  # fmt: skip


def test_a_batch_beyond_the_plan_is_kept_and_undone(job: Job, session: int) -> None:
    job.save_pour_plan(rows(1), {})
    job.pour_batch(1, 1.0, session, 1.7e9)
    job.pour_batch(2, 1.0, session, 1.7e9 - 100.0)  # the clock was set back
    job.unpour_batch()
    assert [b.poured_utc_s for b in job.batches() if b.n == 1] == [1.7e9]
    job.unpour_batch()
    with pytest.raises(BadInput, match="nothing to undo"):
        job.unpour_batch()
