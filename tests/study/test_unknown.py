"""Where shots do not tell how surely a cover is kept, the plan says so and what would tell it."""

from typing import Any

import numpy as np
import pytest

from rig.quantities.safety import PLANE_SD_MM
from rig.study.hidden import ChanceIf, of_rooms
from rig.study.laser_budget import with_shared
from tests.cli.conftest import Run, run

__all__ = ["run"]


def plan(run: Run, across: int, along: int, ridge_mm: float = 0.0) -> Any:
    """Plan 12 by 15 ft from so many rows of shots of a floor with a ridge between its corners."""
    assert run("new", "--room", "12ft,15ft", "--units", "mm", "--min-cover", "6mm").code == 0
    rng = np.random.default_rng(4)
    rows = ["label,x,y,reading"]
    for i, x in enumerate(np.linspace(150.0, 3500.0, across)):
        for j, y in enumerate(np.linspace(150.0, 4400.0, along)):
            floor = 2.0 * np.sin(x / 1100.0)
            floor += ridge_mm * np.exp(-0.5 * ((x - 0.8 * y) / 120.0) ** 2)
            rows.append(f"P{i}-{j},{x:.0f},{y:.0f},{1200.0 - floor + rng.normal(0.0, 0.3):.2f}")
    with open("shots.csv", "w") as file:
        file.write("\n".join(rows) + "\n")
    assert run("import", "shots.csv", "--unit", "mm").code == 0
    made = run("plan", "--json")
    assert made.code == 0, made.err
    return made.json


def test_nine_shots_tell_no_chance_but_how_many_more_would_and_where(run: Run) -> None:
    told = plan(run, 3, 3)
    assert told["chance_min_cover"] is None
    unknown = told["chance_unknown"]
    assert unknown["shots"] == 1
    assert "9 shots for 16.7 m² do not tell" in unknown["why"]
    assert unknown["why"] in told["warnings"]
    # As far as can be from the shots: in the middle between four of them.
    (at,) = unknown["at"]
    shots = np.array([(x, y) for x in (150, 1825, 3500) for y in (150, 2275, 4400)])
    assert np.hypot(*(shots - (at["x_mm"], at["y_mm"])).T).min() > 1300.0
    assert told["bags"]["p95"] > 0


def test_a_floor_that_the_model_does_not_fit_tells_none(run: Run) -> None:
    told = plan(run, 8, 10, ridge_mm=10.0)
    assert told["chance_min_cover"] is None
    assert "kinks or steps" in told["chance_unknown"]["why"]
    assert len(told["chance_unknown"]["at"]) > 1


def test_a_chance_is_told_with_what_it_does_not_hold_of_a_floor_nobody_looked_at(run: Run) -> None:
    told = plan(run, 5, 6)
    assert told["chance_min_cover"] >= 0.95
    assert told["chance_if"]["hump"] < 0.9
    text = run("plan").out
    assert "unless a hump hides" in text
    assert ("on a slab whose edges curl" in text) == (
        told["chance_if"]["curled_joints"] is not None
    )
    assert run("edit", "--floor", "boards").code == 0
    for y in range(200, 4500, 300):
        laid = "--from", f"10mm,{y}mm", "--to", f"3640mm,{y}mm", "--flat"
        assert run("look", *laid).code == 0
    assert run("plan", "--json").json["chance_if"] == {"hump": None, "curled_joints": None}


def test_a_hump_stands_in_one_room_of_a_house_and_joints_in_all_that_may_have_them() -> None:
    rooms = (
        (0.95, ChanceIf(hump=0.5, curled_joints=None)),
        (0.90, ChanceIf(hump=0.4, curled_joints=0.7)),
        (0.99, ChanceIf(hump=None, curled_joints=0.8)),
    )
    whole = of_rooms(rooms)
    assert whole is not None
    assert whole.hump == pytest.approx(0.95 * 0.4 * 0.99)
    assert whole.curled_joints == pytest.approx(0.95 * 0.7 * 0.8)
    assert of_rooms([*rooms, (None, None)]) is None
    assert of_rooms([(0.95, ChanceIf(hump=None, curled_joints=None))]) == ChanceIf(
        hump=None, curled_joints=None
    )


def test_the_plane_holds_how_far_a_pour_strays_from_it() -> None:
    from rig.surface.high_point import Extreme, Extremes

    rng = np.random.default_rng(5)
    tops = rng.normal(0.0, 1.0, (1000, 1)).astype(np.float32)
    spot = Extreme(0.0, 0.0, 0.0, 0.0, 0.0)
    one = np.zeros(1)
    even = Extremes(one, one, spot, spot, 0.95, 0.0, one, tops, tops, tops[:, 0], tops[:, 0])
    held = with_shared(even, None, np.zeros((1, 0))).highest_mm
    # Independent normals add in squares (JCGM 100:2008, 5.1.2).
    assert np.std(held) == pytest.approx(np.hypot(np.std(tops), PLANE_SD_MM), rel=0.01)
