"""`python -m tests.guidance.quick_hands 500` plays 2 000 twins, and as many quick hands."""

import pytest

from tests.guidance.quick_hands import at_height, landing, quick, tally, twin, twin_by_floor
from tests.guidance.rods import Script, labels, machine, named, play


def test_a_hand_that_turns_at_the_first_prompt_is_not_asked() -> None:
    now = tally(4, [quick], before=False)
    assert (now["quick taken"], now["quick asked"]) == (4, 0)
    assert tally(3, [landing], before=False)["landing taken"] == 3


def test_a_marker_at_height_and_a_twin_are_still_asked_about() -> None:
    now = tally(4, [at_height, twin], before=False)
    assert now["at_height taken"] == now["twin taken"] == 0
    assert (now["at_height asked"], now["twin asked"]) == (4, 4)


def test_the_floor_beside_the_marker_just_set_is_not_more_often_taken_for_the_next() -> None:
    then, now = (tally(5, [twin_by_floor], before=before) for before in (True, False))
    assert now["twin_by_floor taken"] <= then["twin_by_floor taken"]


@pytest.mark.parametrize("away", ["dark", "lifted"])
def test_a_rest_out_of_height_on_the_stand_before_shows_nothing(away: str) -> None:
    script = Script(rate_hz=50.0).set_from(1012.0).dark(1.5).stand(1006.0, 0.4)
    (script.dark(0.2) if away == "dark" else script.turn(1006.0, 960.0, 0.3)).stand(1000.0, 3.0)
    events = play(machine(), script)
    assert (labels(events, "set"), labels(events, "ask")) == (["M1"], ["M2"])


@pytest.mark.parametrize("off_mm", [6.0, -6.0])
def test_a_stroke_of_the_hand_between_two_readings_is_on_the_same_stand(off_mm: float) -> None:
    script = Script(rate_hz=50.0).set_from(1012.0).dark(1.5).stand(1000.0 + off_mm, 0.36)
    events = play(machine(), script.stand(1000.0, 3.0))
    assert (labels(events, "set"), labels(events, "ask")) == (["M1", "M2"], [])


def test_a_top_that_jumps_across_the_tolerance_is_told_the_new_way_at_once() -> None:
    setting = machine(1, tolerance_mm=1.875)
    script = Script().stand(1002.0, 2.0).stand(998.0, 0.1)
    assert named(play(setting, script), "prompt")[-1].move == "lower"
