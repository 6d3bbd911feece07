"""One judge: what the screens show as still is what is taken."""

import pytest

from rig.events import Event, ShotTaken, Standing
from rig.guidance.setting import Setting
from rig.survey.rocking import RockWindow
from rig.survey.stance import TELL_S, Stance
from rig.survey.stillness import StillWindow
from tests.guidance.rods import Script, feed_all, machine
from tests.survey.test_rocking import swings
from tests.survey.walker import Walker, capture


def before_each_shot(walker: Walker) -> list[Standing]:
    """What was told last of the rod before each shot."""
    shots = [event.time_s for event in walker.said if isinstance(event, ShotTaken)]
    return [[s for s in walker.stood if s.time_s <= time_s][-1] for time_s in shots]


def test_no_shot_is_taken_while_the_rod_is_told_to_be_anything_but_still() -> None:
    walker = Walker(capture(), noise_mm=0.1)
    for height in (1000.0, 1004.0, 997.0):
        walker.stand(height, 3.0).walk().carry()
    told = before_each_shot(walker)
    assert len(told) == 3
    assert all(one.state == "still" and one.armed and one.still == 1.0 for one in told)


def test_a_rod_that_stays_is_told_to_walk_on_and_no_beam_at_once() -> None:
    walker = Walker(capture())
    walker.stand(1000.0, 4.0)
    assert (walker.stood[-1].state, walker.stood[-1].armed) == ("still", False)
    walker.walk(0.1)
    assert walker.stood[-1].state == "no_beam"


def test_a_noisy_rod_is_unsteady_and_told_no_oftener_than_needed() -> None:
    walker = Walker(capture(), noise_mm=4.0, rate_hz=50.0)
    walker.stand(1000.0, 5.0)
    assert "still" not in {one.state for one in walker.stood}
    assert walker.stood[-1].state == "unsteady"
    assert walker.stood[-1].still < 0.5
    assert len(walker.stood) <= 5.0 / TELL_S + 3


def test_swings_are_counted_where_the_rod_is_waved() -> None:
    stance, window = Stance(), RockWindow(0.5, 0.1, 0.1)
    told: list[Standing] = []
    for time_s, value_mm in swings(1000.0, 1, noise=0.1):
        window.add(time_s, value_mm)
        told += stance.see(time_s, window, True)
    assert [one.swings for one in told] == sorted(one.swings or 0 for one in told)
    assert told[0].state == "swinging"
    assert (told[-1].state, told[-1].swings, told[-1].swings_of) == ("still", 3, 3)


@pytest.mark.parametrize("armed", [True, False])
def test_the_same_is_told_once(armed: bool) -> None:
    stance, window = Stance(), StillWindow(1.0, 0.5, 0.1, 0.1)
    told: list[Standing] = []
    for n in range(100):
        window.add(n / 20, 1000.0)
        told += stance.see(n / 20, window, armed)
    still = [one for one in told if one.state == "still"]
    assert len(still) == 1
    assert still[0].armed == armed
    stance.forget()
    assert stance.see(5.0, window, armed) == [
        Standing(time_s=5.0, state="still", armed=armed, still=1.0)
    ]


def test_a_rocked_shot_is_told_as_still_too() -> None:
    walker = Walker(capture(rock=True), rate_hz=50.0)
    for _, value_mm in swings(1300.0, 1, noise=0.2):
        walker.send("valid", value_mm)
    (told,) = before_each_shot(walker)
    assert (told.state, told.armed, told.swings) == ("still", True, 3)


def test_a_setting_tells_how_the_rod_stands_too() -> None:
    setting: Setting = machine(1)
    events: list[Event] = list(setting.start(0.0))
    for item in Script().set_from(1006.0).inputs:
        events += feed_all(setting, item)
    stood = [event for event in events if isinstance(event, Standing)]
    taken = next(n for n, event in enumerate(events) if event.event == "set")
    last = [event for event in events[:taken] if isinstance(event, Standing)][-1]
    assert last.state == "still"
    assert "moving" in {one.state for one in stood}
