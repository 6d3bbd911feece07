"""A slide of the rod between two shots: floors drawn by hand, read at an even pace and leaning."""

import math
import random
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import pytest

from rig.devices.reading import Reading, Status
from rig.events import Dragged, Event, Slide, SurveyDone
from rig.survey.drag import Drag, Way
from rig.survey.slide import lean_of, place_stderr_mm
from rig.survey.stand import Stand
from rig.units import METRIC

A, B = Stand("A1", 0.0, 500.0), Stand("B1", 900.0, 500.0)
LINE_MM = 1200.0
Floor = Callable[[float], float]


def hump(x_mm: float) -> float:
    """8 mm high, 600 mm across, its top 540 mm from A1; B1 lies 3 mm over A1."""
    bell = max(0.0, 1.0 - abs(x_mm - 540.0) / 300.0)
    return x_mm / 300.0 + 4.0 * (1.0 - math.cos(math.pi * bell))


@dataclass
class Hand:
    """Slides a rod over a floor, at 10 readings a second."""

    rise_mm: float = 3.0
    lean_deg: float = 0.0
    time_s: float = 0.0
    told: list[Event] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.random = random.Random(4)
        way = Way(start=A, end=B, rise_mm=self.rise_mm, rise_stderr_mm=0.3)
        self.machine = Drag(way, dwell_s=1.0, walk_s=1.0, still_mm=0.5, units=METRIC)
        self.told += self.machine.start(0.0)

    def read(self, z_mm: float | None, status: Status = "valid", lean_deg: float = 0.0) -> None:
        self.time_s += 0.1
        value = None if z_mm is None else (LINE_MM - z_mm) / math.cos(math.radians(lean_deg))
        value = None if value is None else value + self.random.gauss(0.0, 0.1)
        self.told += self.machine.reading(Reading(self.time_s, self.time_s, "", status, value))

    def stand(self, z_mm: float, seconds: float) -> "Hand":
        for _ in range(round(10 * seconds)):
            self.read(z_mm)
        return self

    def slide(self, floor: Floor, seconds: float = 6.0, to_mm: float = 900.0) -> "Hand":
        self.stand(floor(0.0), 0.4)  # a hand does not move at once
        for n in range(round(10 * seconds)):
            share = (n + 1) / (10 * seconds)
            self.read(floor(share * to_mm), lean_deg=self.lean_deg * math.sin(9.0 * share))
        return self.stand(floor(to_mm), 0.3)

    def dark(self, seconds: float = 2.0) -> "Hand":
        for _ in range(round(10 * seconds)):
            self.read(None, "no_beam")
        return self

    @property
    def dragged(self) -> Dragged:
        return next(one for one in self.told if isinstance(one, Dragged))

    def reasons(self) -> list[Any]:
        return [one.as_json()["reason"] for one in self.told if one.event == "trouble"]


def begun(rise_mm: float = 3.0, lean_deg: float = 0.0) -> Hand:
    hand = Hand(rise_mm, lean_deg).stand(0.0, 1.2)
    assert [one.event for one in hand.told if one.event != "stand"] == ["armed", "slide"]
    return hand


def test_a_hump_is_told_with_its_height_and_place_by_a_press_and_by_a_lift() -> None:
    for ends in ("press", "lift", "dark"):
        hand = begun().slide(hump)
        if ends == "press":
            hand.read(3.0, "button")
        elif ends == "lift":
            for n in range(4):
                hand.read(3.0 + 12.0 * n)
        else:
            hand.dark()
        assert isinstance(hand.told[-1], SurveyDone)
        assert hand.machine.finished
        (found,) = hand.dragged.found
        assert found.off_mm == pytest.approx(hump(540.0) - 1.8, abs=0.6)
        assert found.x_mm == pytest.approx(540.0, abs=2 * found.place_stderr_mm)
        assert found.radius_mm == pytest.approx(300.0, abs=60.0)
        assert "hump of 8" in hand.dragged.text or "hump of 7" in hand.dragged.text


def test_a_leaning_rod_reads_long_and_the_mean_of_that_is_taken_off() -> None:
    # By hand: at 1 200 mm and 3 degrees, 1200 (1 / cos 3° - 1) = 1.6468 mm.
    assert lean_of(1200.0)[2] == pytest.approx(1.6468, abs=1e-4)
    mean, sd, _ = lean_of(1200.0)
    assert (mean, sd) == pytest.approx((0.411, 0.582), abs=1e-3)
    hand = begun(lean_deg=3.0).slide(lambda x: x / 300.0).dark()
    assert hand.dragged.found == ()
    assert max(map(abs, hand.dragged.off_mm)) < 1.65
    assert "nothing stands out" in hand.dragged.text


def test_places_are_known_by_time_alone() -> None:
    assert place_stderr_mm(0.0, 900.0, 6.0) == pytest.approx(45.0)
    assert place_stderr_mm(0.5, 900.0, 6.0) == pytest.approx(math.hypot(45.0, 63.0))


def test_what_is_no_slide_is_said_and_begun_again() -> None:
    soon = begun()
    soon.read(0.0, "button")
    assert soon.reasons() == ["short"]
    holes = begun().slide(hump, seconds=2.0).dark(0.5)
    holes.time_s += 1.2
    holes.stand(3.0, 0.5).dark()
    assert holes.reasons() == ["gap"]
    elsewhere = begun(rise_mm=15.0).slide(hump).dark()
    assert elsewhere.reasons() == ["place"]
    assert not any(isinstance(one, Dragged) for one in elsewhere.told)
    # The rod stands still where it is, and no slide begins before it was carried back.
    assert sum(isinstance(one, Slide) for one in elsewhere.stand(3.0, 0.5).told) == 1
    again = elsewhere.dark(1.5).stand(0.0, 2.0)
    assert sum(isinstance(one, Slide) for one in again.told) == 2


def test_an_end_of_the_link_breaks_a_slide_off_and_undo_begins_it_anew() -> None:
    hand = begun().slide(hump, seconds=1.0)
    hand.told += hand.machine.lost(hand.time_s)
    assert hand.reasons() == ["gap"]
    hand = begun()
    hand.told += hand.machine.act("undo", hand.time_s)
    assert hand.reasons() == ["undone"]
    hand.told += hand.machine.act("quit", hand.time_s)
    assert hand.machine.finished
