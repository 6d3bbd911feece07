from typing import Any

import pytest

from simulated_devices.steered import Steered
from simulated_devices.world import World, make_world
from tests.kinds import there

NEXT = {"event": "next", "label": "B2", "x_mm": 1000.0, "y_mm": 900.0, "text": ""}
MARKER = {"event": "next", "marker": "M1", "x_mm": 1500.0, "y_mm": 1200.0, "text": ""}


@pytest.fixture
def world() -> World:
    return make_world(seed=4, room_mm=(3000.0, 2400.0), rate_hz=20.0, noise_mm=0.0, steered=True)


def stand(world: World, x: float, y: float) -> None:
    """Put the rod down and wait until whoever carries it has walked there."""
    world.event({"do": "stand", "x": x, "y": y})
    readings(world, 3.2)


def readings(world: World, seconds: float) -> list[float | None]:
    """Heights of the lines that the rod sends; None without beam."""
    lines = world.step(world.time_s + seconds).decode().splitlines()
    fields = [line.split("*")[0].split(",") for line in lines]
    return [float(f[2]) if f[4] == "V" else None for f in fields]


def test_a_carried_rod_has_no_beam_and_a_stood_one_reads_the_floor(world: World) -> None:
    assert isinstance(world.mover, Steered)
    world.event({"do": "carry", "x": 500.0, "y": 500.0})
    assert set(readings(world, 0.5)) == {None}
    stand(world, 500.0, 500.0)
    last = readings(world, 3.0)[-1]
    line = float(world.laser.line_mm(500.0, 500.0, world.time_s))
    assert last == pytest.approx(line - world.site.floor_mm(500.0, 500.0), abs=0.1)


def test_nobody_is_quicker_than_a_walk(world: World) -> None:
    stand(world, 200.0, 200.0)
    world.event({"do": "stand", "x": 2900.0, "y": 2300.0})
    assert set(readings(world, 1.1)) == {None}
    assert readings(world, 3.0)[-1] is not None
    assert there(world.mover.spot).x_mm == 2900.0


def test_near_a_named_place_the_foot_is_put_on_it(world: World) -> None:
    world.event(NEXT)
    stand(world, 1090.0, 860.0)
    assert there(world.mover.spot).label == "B2"
    assert abs(there(world.mover.spot).x_mm - 1000.0) < 40
    stand(world, 1400.0, 860.0)
    assert there(world.mover.spot).label is None
    assert there(world.mover.spot).x_mm == 1400.0


def test_a_turned_screw_moves_its_top_by_what_was_told(world: World) -> None:
    world.event(MARKER)
    top = world.site.markers["M1"].top_mm
    stand(world, 1500.0, 1200.0)
    before = readings(world, 3.0)[-1]
    world.event({"do": "turn", "by": 6.0})
    after = readings(world, 3.0)[-1]
    assert world.site.markers["M1"].top_mm == pytest.approx(top + 6.0)
    assert there(there(after) - there(before)) == there(pytest.approx(-6.0, abs=0.2))
    world.event({"do": "turn", "by": -500.0})
    readings(world, 10.0)
    floor = world.site.floor_mm(there(world.mover.spot).x_mm, there(world.mover.spot).y_mm)
    assert world.site.markers["M1"].top_mm >= floor + 1.9


def test_away_from_a_screw_nothing_turns(world: World) -> None:
    world.event(MARKER)
    top = world.site.markers["M1"].top_mm
    stand(world, 300.0, 300.0)
    world.event({"do": "turn", "by": 6.0})
    readings(world, 2.0)
    assert world.site.markers["M1"].top_mm == top


def test_the_truth_knows_where_the_foot_really_stood(world: World) -> None:
    world.event(NEXT)
    stand(world, 2000.0, 900.0)
    readings(world, 2.0)
    world.event({"event": "shot", "label": "B2"})
    assert world.shots[0].x_mm == 2000.0


@pytest.mark.parametrize(
    "told", [{"do": "fly"}, {"do": "carry"}, {"do": "carry", "x": "1", "y": 2}, {"x": 1}, {"do": 3}]
)
def test_what_is_not_understood_does_nothing(world: World, told: dict[str, Any]) -> None:
    world.event(told)
    assert world.mover.spot is None


def test_a_place_outside_the_room_is_at_its_wall(world: World) -> None:
    stand(world, -900.0, 99999.0)
    assert (there(world.mover.spot).x_mm, there(world.mover.spot).y_mm) == (0.0, 2400.0)
