"""What a floor is made of, as it is told to a job and as its doubt shows it."""

from pathlib import Path

import numpy as np
import pytest

from tests.cli.conftest import Run


@pytest.fixture
def surveyed(run: Run) -> Run:
    assert run("new", "--room", "12ft,15ft", "--floor", "sheets").code == 0
    rng = np.random.default_rng(3)
    x, y = (a.ravel() for a in np.meshgrid(np.linspace(150, 3500, 5), np.linspace(150, 4400, 6)))
    rows = [
        f"P{n},{a:.0f},{b:.0f},{1200 + rng.normal(0.0, 0.7):.2f}\n"
        for n, (a, b) in enumerate(zip(x, y, strict=True))
    ]
    Path("shots.csv").write_text("label,x,y,reading\n" + "".join(rows))
    assert run("import", "shots.csv", "--unit", "mm").code == 0
    return run


def volume_range_l(run: Run) -> float:
    told = run("plan", "--json").json["volume_l"]
    return float(told["high"] - told["low"])


def test_a_slab_that_may_curl_is_doubted_more_and_one_without_joints_is_not(surveyed: Run) -> None:
    plain = volume_range_l(surveyed)
    assert surveyed("edit", "--floor", "concrete").code == 0
    assert volume_range_l(surveyed) > 1.15 * plain
    assert surveyed("edit", "--joints", "20ft").code == 0  # none in a room of 12 by 15
    assert volume_range_l(surveyed) == pytest.approx(plain)


def test_places_where_a_hump_may_hide_are_named_with_their_bags(surveyed: Run) -> None:
    floor, plan = surveyed("floor", "--json").json, surveyed("plan", "--json").json
    assert floor["look_between"] == plan["look_between"]
    assert len(floor["look_between"]) >= 3
    for look in floor["look_between"]:
        assert set(look) == {"x_mm", "y_mm", "hides_mm", "bags"}
        assert 0 < look["x_mm"] < 3657.6
        assert 1.0 < look["hides_mm"] <= 12.7
        assert look["bags"] >= 0.0
    assert "could hide between the shots" in surveyed("floor", "--why").out


@pytest.mark.parametrize("joists", ["16in", "north,16in", "x", "x,0in"])
def test_joists_that_are_not_understood_are_refused_with_the_way_to_say_it(
    joists: str, run: Run
) -> None:
    refused = run("new", "--room", "12ft,15ft", "--floor", "sheets", "--joists", joists)
    assert refused.code == 2
    assert "--joists" in refused.err or "joists" in refused.err
    assert run("new", "--room", "12ft,15ft", "--joists", "y,16in").code == 0
