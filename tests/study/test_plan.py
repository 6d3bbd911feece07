"""A plan comes back from the job as it was made; what is drawn of it is what it tells."""

import json
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from rig.errors import BadInput, JobUnusable
from rig.job.store import Job
from rig.record import from_json
from rig.study.cover import thinnest_and_deepest
from rig.study.picture import picture_of
from rig.study.plan_answer import PlanAnswer, make_plan, read_plan, stored_plan
from rig.study.plane import PlanWish
from rig.study.room import outline_of
from tests.cli.conftest import Run, run
from tests.report.jobs import make

__all__ = ["run"]

WISHES = [
    PlanWish(),
    PlanWish(max_slope=0.004, holds=((500.0, 500.0, -1150.0),), confidence=0.9),
    PlanWish(grind_cost=2.0, fill_cost=3.0, short_cost=40.0, spare_cost=8.0),
]


@pytest.mark.parametrize("wish", WISHES)
def test_a_plan_is_kept_and_read_back_as_it_was_made(run: Run, wish: Any) -> None:
    make(run, "surveyed")
    with Job.open("job.sqlite", write=True) as job:
        _, answer = make_plan(job, wish)
    with Job.open("job.sqlite") as job:
        kept = stored_plan(job)
    assert kept is not None
    assert kept.answer == answer
    assert kept.wish == wish
    assert kept.row.result == json.loads(json.dumps(answer.as_json()))


def test_a_plan_of_old_lacks_what_was_not_told_then(run: Run) -> None:
    make(run, "planned")
    with Job.open("job.sqlite") as job:
        kept = stored_plan(job)
    assert kept is not None
    told = {key: value for key, value in kept.row.result.items() if key not in ("high", "budget")}
    assert from_json(PlanAnswer, told) == replace(kept.answer, high=None, budget=None)
    with pytest.raises(JobUnusable, match="rig plan"):
        read_plan(replace(kept.row, result={"plane": "steep"}))


def test_prices_that_go_together_are_refused_alone() -> None:
    with pytest.raises(BadInput, match="--short-cost and --spare-cost go together"):
        PlanWish(short_cost=1.0).check()


def test_the_drawing_has_the_plans_own_figures(run: Run) -> None:
    """Words said 8.1 mm of cover and the drawing under them 7.9 mm: it reckoned on its own."""
    make(run, "planned")
    with Job.open("job.sqlite") as job:
        kept = stored_plan(job)
        picture = picture_of(job, outline_of(job), 0.95, 2_000, 300)
    assert kept is not None
    thin, deep = thinnest_and_deepest(picture, kept.answer)
    assert (thin.cover_mm, deep.cover_mm) == (kept.answer.cover_mm.min, kept.answer.cover_mm.max)
    for one in (thin, deep):
        z, _ = picture.surface.predict([one.x_mm], [one.y_mm])
        told = kept.answer.plane.at(one.x_mm, one.y_mm) - z[0]
        assert told == pytest.approx(one.cover_mm, abs=0.05)


def test_a_floor_is_modelled_once_until_something_it_stands_on_changes(run: Run) -> None:
    """The first answer's draws are those of the second, and of no other floor."""
    make(run, "surveyed")
    with Job.open("job.sqlite") as job:
        outline = outline_of(job)
        first = picture_of(job, outline, 0.95)
        assert picture_of(job, outline, 0.95).extremes is first.extremes
        surer = picture_of(job, outline, 0.99)
        assert surer.extremes.high.upper_mm > first.extremes.high.upper_mm
        picture_of(job, outline, 0.9)  # more floors of this size are not kept
        again = picture_of(job, outline, 0.95)
        assert again.extremes is not first.extremes
        assert np.array_equal(again.extremes.highest_mm, first.extremes.highest_mm)
