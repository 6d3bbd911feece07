"""Whether a pour is feasible, what binds, and what would make it so."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from rig.errors import BadInput
from rig.pour.advice import advise
from rig.pour.crew import Times
from rig.pour.forecast import Crew, Ground, batch_bags, forecast
from rig.pour.order import floor_of
from rig.room import raster_of, room, with_door


def ground(width: float = 5000.0, length: float = 7000.0, bags: int = 35) -> Ground:
    outline = with_door(room(width, length), 1000.0, 0.0, 900.0)
    cells = raster_of(outline, 1500)
    floor = floor_of(outline, cells, 12.0 + 3.0 * np.sin(cells.x_mm / 900.0))
    return Ground(floor, outline.doors[0].middle, None, 12.0 * bags, bags)


def crew(
    people: int = 3, mixers: int = 1, mix_s: float = 150.0, working_s: float = 1200.0, **more: Any
) -> Crew:
    return Crew(people, mixers, Times(mix_s), working_s, **more)


def test_three_people_keep_a_pour_of_35_bags_supplied_back_to_back() -> None:
    """Common practice, no source: 20 min of working time, two and a half minutes of mixing."""
    made = forecast(ground(), crew())
    assert made.feasible
    assert made.chance_edge_dies < 0.01
    # Back to back: whoever mixes hardly ever waits.
    assert made.idle()["mixing"] < 0.1


def test_the_margin_is_working_time_less_the_95th_percentile_of_the_oldest_edge() -> None:
    made = forecast(ground(), crew(), runs=500)
    assert made.margin_s == pytest.approx(1200.0 - np.quantile(made.seam_ages_s.max(axis=0), 0.95))
    assert made.oldest_s.max() >= made.age_p95_s
    assert max(made.edge_age_p95_s()) <= made.age_p95_s + 1e-9


@pytest.mark.parametrize("seed", [1, 2])
def test_more_of_what_binds_makes_the_pour_faster_and_the_edge_younger(seed: int) -> None:
    slow = forecast(ground(), crew(people=4, mix_s=300.0), runs=500, seed=seed)
    fast = forecast(ground(), crew(people=4, mix_s=300.0, mixers=2), runs=500, seed=seed)
    assert fast.bags_per_h > 1.5 * slow.bags_per_h
    assert fast.margin_s > slow.margin_s
    assert advise(slow, ground(), 200, seed).binds == "mixers"


def test_an_infeasible_pour_gets_the_cheapest_change_that_makes_it_safe() -> None:
    on = ground(6000.0, 7500.0)
    made = forecast(on, crew(mix_s=300.0), runs=500)
    assert not made.feasible
    said = advise(made, on, 500)
    assert "one more mixer" in said.text
    safe = [one for one in said.changes if one.feasible]
    assert safe[0].change == "one more mixer"
    assert forecast(on, crew(mix_s=300.0, mixers=2), runs=500).feasible
    slower = said.changes[-1]
    assert "working time" in slower.change


def test_a_hopeless_pour_is_told_so_with_the_working_time_that_it_needs() -> None:
    on = ground(bags=12)
    made = forecast(on, crew(people=1, mix_s=900.0, working_s=300.0), runs=200)
    said = advise(made, on, 200)
    assert not made.feasible
    assert "at least" in said.text
    needed = replace(made.crew, working_s=made.age_p95_s + 1.0)
    assert forecast(on, needed, runs=200).margin_s > 0


def test_two_bays_shorten_the_front() -> None:
    on = ground(9000.0, 6000.0, bags=45)
    wide = forecast(on, crew(strip_mm=600.0), runs=300)
    halved = forecast(on, crew(strip_mm=600.0, bays=2), runs=300)
    assert halved.age_p95_s < 0.75 * wide.age_p95_s


def test_a_pour_of_one_batch_has_no_edge() -> None:
    made = forecast(ground(bags=1), crew(), runs=200)
    assert made.age_p95_s == 0.0
    assert made.feasible


def test_a_lone_person_with_a_fixed_bucket_is_held_up_by_it_only_where_it_is_so() -> None:
    on = ground(bags=20)
    one = forecast(on, crew(people=4, buckets=1), runs=300)
    assert advise(one, on, 300).binds == "buckets"


def test_batches_that_cannot_be_are_refused() -> None:
    assert batch_bags(7, 2) == [2.0, 2.0, 2.0, 1.0]
    with pytest.raises(BadInput, match="no bag"):
        batch_bags(0, 1)
    with pytest.raises(BadInput, match="more than one pour"):
        batch_bags(5000, 1)
