"""What a tape holds, against draws of marks and hands."""

import random

import pytest

from rig.devices.typed import typed_stderr_mm
from rig.events import AskMarker
from rig.guidance.tape import HAND_MM, Tape
from tests.guidance.rods import labels, machine, named, sight

SIXTEENTH_MM = 25.4 / 16


@pytest.mark.parametrize("hand_mm", [0.0, HAND_MM])
def test_a_tape_is_sure_of_a_marker_as_often_as_it_says(hand_mm: float) -> None:
    rng, sure, wrong, plain = random.Random(3), 0, 0, []
    for _ in range(450):
        target = 1000.0 + rng.uniform(0.0, 5.0)
        true, tape = target + rng.uniform(-1.8, 1.8), Tape(1.0)
        for _ in range(3):
            typed = round((true + rng.gauss(0.0, hand_mm)) / SIXTEENTH_MM) * SIXTEENTH_MM
            if abs(typed - target) > 1.0:
                break
            plain.append(abs(true - target) > 1.0)
            if tape.read(typed, typed_stderr_mm(SIXTEENTH_MM), target).sure:
                sure += 1
                wrong += abs(true - target) > 1.0
                break
    assert sum(plain) / len(plain) > 0.15  # what a rule without a guard gets wrong
    assert sure > 40
    assert wrong / sure < 0.05


def test_a_reading_that_the_tape_is_not_sure_of_is_asked_about_and_a_second_may_settle_it() -> None:
    sixteenths_mm = typed_stderr_mm(SIXTEENTH_MM)
    setting = machine()
    events = setting.start(0.0)
    events += setting.typed(1012.0, sixteenths_mm, 1.0) + setting.typed(1000.6, sixteenths_mm, 2.0)
    (asked,) = (event for event in events if isinstance(event, AskMarker))
    assert "more than 1/32 in off. Read between the marks (1/16 in apart)" in asked.text
    assert not named(events, "set")
    (taken,) = named(setting.act("accept", 3.0), "set")
    assert (taken.marker, taken.reading_mm) == ("M1", 1000.6)
    finer_mm = typed_stderr_mm(SIXTEENTH_MM / 2.0)
    events = setting.typed(1012.0, finer_mm, 4.0) + setting.typed(1000.5, finer_mm, 5.0)
    events += setting.typed(999.8, finer_mm, 6.0)
    assert labels(events, "ask") == labels(events, "set") == ["M2"]
    assert named(events, "set")[0].n == 2


def test_a_line_that_the_tape_passes_is_corrected_and_further_sights_sharpen_it() -> None:
    sixteenths_mm = typed_stderr_mm(SIXTEENTH_MM)
    setting = machine(check=sight(noise_mm=sixteenths_mm))
    setting.start(0.0)
    assert named(setting.typed(1201.9, sixteenths_mm, 1.0), "checked")[0].ok
    assert 0.4 < setting.line.shift_mm < 1.0
    before_mm = setting.line.shift_stderr_mm
    for n in range(3):
        assert named(setting.act("goto", 2.0 + n, "bm1"), "check")
        assert named(setting.typed(1201.9, sixteenths_mm, 2.5 + n), "checked")[0].ok
    assert setting.line.shift_mm > 0.7
    assert setting.line.shift_stderr_mm < before_mm
