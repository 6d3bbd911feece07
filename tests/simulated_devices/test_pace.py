import math
from typing import Any

import pytest

from simulated_devices import Refused
from simulated_devices.pace import Lockstep, WallClock, pace_of
from simulated_devices.walker import Walker
from simulated_devices.world import World, make_world
from tests.kinds import there

from .scripted_tool import read_sentence


def lockstep_world(**more: Any) -> World:
    return make_world(seed=5, follow=True, rate_hz=20.0, lockstep=True, **more)


def test_time_goes_on_by_one_message_for_each_word() -> None:
    world = lockstep_world()
    pace = pace_of(world, 40.0)
    assert isinstance(pace, Lockstep)
    assert pace.sent() == []
    assert pace.due_s() == math.inf
    pace.go()
    pace.go()
    assert [sent.time_s for sent in pace.sent()] == [0.0, 0.05]
    assert pace.sent() == []
    assert world.time_s == 0.05


def test_a_press_waits_for_the_next_regular_message() -> None:
    world = lockstep_world()
    assert isinstance(world.mover, Walker)
    world.mover._press_at(0.01)  # what an installer does, without the way there
    world.mover._press_at(0.02)
    statuses = []
    for _ in range(4):
        (sent,) = world.beat()
        statuses.append(there(read_sentence(sent.data))[2])
    assert statuses == ["N", "B", "B", "N"]  # the rod is at rest, off the line


def test_the_wall_clock_needs_no_word() -> None:
    world = make_world(rate_hz=1000.0)
    pace = pace_of(world, 1000.0)
    assert isinstance(pace, WallClock)
    sent: list[Any] = []
    while len(sent) < 3:
        sent += pace.sent()
    assert pace.due_s() < 1.0


@pytest.mark.parametrize("more", [{"fault": ["drop=1:2"]}, {"follow": False}])
def test_what_one_word_could_not_answer_is_refused(more: dict[str, Any]) -> None:
    with pytest.raises(Refused, match="--lockstep goes with --follow and without faults"):
        make_world(**{"follow": True, "lockstep": True, **more})
