import math
import random
from typing import Any

import pytest

from rig.devices.reading import Reading, Status
from rig.events import ShotTaken, Undone
from rig.survey.plausibility import Guard


class Site:
    """A guard, and the readings of a rod at `rate_hz`."""

    def __init__(
        self,
        rate_hz: float = 10.0,
        **options: Any,
    ) -> None:
        self.guard = Guard(**({"longest_mm": 5000.0} | options))
        self.step_s, self.time_s = 1.0 / rate_hz, 0.0
        self.told: list[Any] = []

    def read(self, value_mm: float | None, status: Status = "valid", **more: Any) -> None:
        self.time_s += self.step_s
        reading = Reading(self.time_s, 0.0, "", status, value_mm, **more)
        self.told += self.guard.reading(reading)

    def stand(
        self,
        seconds: float,
        value_mm: float,
        noise_mm: float = 0.15,
        digit_mm: float = 0.1,
        seed: int = 1,
    ) -> None:
        rng = random.Random(seed)
        for _ in range(round(seconds / self.step_s)):
            value = value_mm + rng.gauss(0.0, noise_mm)
            self.read(round(value / digit_mm) * digit_mm)

    def shot(
        self,
        label: str,
        x_mm: float | None,
        y_mm: float | None,
        reading_mm: float,
        kind: str = "floor",
    ) -> None:
        event = ShotTaken(
            label=label,
            x_mm=x_mm,
            y_mm=y_mm,
            reading_mm=reading_mm,
            stderr_mm=0.1,
            n=10,
            kind=kind,
            time_s=self.time_s,
        )
        self.told += self.guard.event(event)

    @property
    def reasons(self) -> list[str]:
        return [event.reason for event in self.told]


def test_a_display_that_hangs_is_told_within_three_seconds_and_once() -> None:
    site = Site()
    site.stand(8.0, 1200.0)
    begun = site.time_s
    while not site.told and site.time_s < begun + 10.0:
        site.read(1200.0)
    assert site.time_s - begun < 3.0
    site.stand(5.0, 1200.0, noise_mm=0.0)
    assert site.reasons == ["stuck"]
    assert "1200.0 mm" in site.told[0].text


def test_a_display_that_hangs_again_is_told_again() -> None:
    site = Site()
    for _ in range(2):
        site.stand(8.0, 1200.0)
        site.stand(5.0, 1200.0, noise_mm=0.0)
    assert site.reasons == ["stuck", "stuck"]


@pytest.mark.parametrize("offset_mm", [0.0, 0.4, 0.79])
def test_a_coarse_display_may_stand_still(offset_mm: float) -> None:
    site = Site(resolution_mm=1.5875)
    for n in range(20):
        # Wherever in its digit the true height lies, at one of the stands right at an edge.
        site.stand(3.0, 1200.0 + offset_mm + 7.3 * n, digit_mm=1.5875, seed=n)
        site.read(None, "no_beam")
    site.stand(60.0, 1200.0, noise_mm=0.0)
    assert site.reasons == []


def test_noise_alone_never_hangs() -> None:
    site = Site(rate_hz=20.0)
    for n in range(60):
        site.stand(5.0, 1200.0 + n, seed=n)
    assert site.reasons == []


def test_a_rod_whose_display_never_changes_is_told_in_the_end() -> None:
    site = Site()
    site.stand(40.0, 1200.0, noise_mm=0.0)
    assert site.reasons == ["stuck"]


@pytest.mark.parametrize("value_mm", [5200.0, -3.0])
def test_a_reading_outside_the_rod_is_told_once(value_mm: float) -> None:
    site = Site(shortest_mm=0.0)
    site.stand(1.0, 1200.0)
    site.read(value_mm)
    site.read(value_mm)
    assert site.reasons == ["length"]


@pytest.mark.parametrize("factor", [25.4, 1 / 25.4])
def test_a_mixed_up_unit_is_told_at_once(factor: float) -> None:
    site = Site()
    for n in range(5):
        site.shot(f"A{n}", 900.0 * n, 0.0, 44.0 + 3.0 * n)
    begun = site.time_s
    while not site.told and site.time_s < begun + 5.0:
        site.stand(0.1, 47.0 * factor, noise_mm=0.01, digit_mm=0.01)
    assert site.reasons == ["unit"]
    assert site.time_s - begun < 1.0
    assert "inches" in site.told[0].text


def test_a_rod_carried_through_that_height_is_no_mixed_up_unit() -> None:
    site = Site(rate_hz=20.0, shots=[("A1", 0.0, 0.0, 44.0)])
    for n in range(40):
        site.read(44.0 - 1.07 * n)  # lifted until the line is below the receiver
    assert site.reasons == []


def test_a_benchmark_may_be_at_any_height() -> None:
    site = Site(heights_mm=[1200.0])
    site.shot("BM1", None, None, 47.0, kind="benchmark")
    site.shot("T1", 100.0, 100.0, 47.0, kind="threshold")
    assert site.reasons == []


def test_a_clamp_that_slipped_is_told_at_the_first_shot_after() -> None:
    site = Site()
    for n in range(8):
        slipped = 30.0 if n >= 5 else 0.0
        site.shot(f"A{n}", 900.0 * n, 0.0, 1200.0 + 2.0 * math.sin(n) + slipped)
    assert site.reasons == ["step"]
    assert site.told[0].text.startswith("A5 reads ")
    assert "more than A4" in site.told[0].text


def test_a_floor_that_falls_steeply_or_in_a_ramp_is_a_floor() -> None:
    site = Site()
    for n in range(8):
        site.shot(f"A{n}", 900.0 * n, 0.0, 1200.0 + 15.0 * n)
    assert site.reasons == []


def test_a_fixed_point_that_reads_otherwise_than_before_is_told() -> None:
    site = Site(benchmarks={"BM1": (1200.0, 0.1)})
    site.shot("BM1", None, None, 1200.8, kind="benchmark")
    site.shot("BM2", None, None, 900.0, kind="benchmark")
    assert site.reasons == []
    site.shot("BM1", None, None, 1202.6, kind="benchmark")
    assert site.reasons == ["moved"]
    assert "BM1 reads 1.8 mm more than before" in site.told[0].text


def test_a_re_shot_that_mends_an_odd_one_is_no_step() -> None:
    grid = [(f"{c}{r}", 900.0 * i, 900.0 * r) for i, c in enumerate("ABC") for r in (1, 2, 3)]
    site = Site(shots=[(label, x, y, 1200.0 + (440.0 if label == "B2" else 0.0))
                       for label, x, y in grid])  # fmt: skip
    site.shot("B2", 900.0, 1800.0, 1201.0)
    assert site.reasons == []
    site.shot("B2", 900.0, 1800.0, 1231.0)  # now it is the new one that fits nowhere
    assert site.reasons == ["step"]


def test_a_re_shot_far_from_the_first_is_told_and_an_undone_one_forgotten() -> None:
    site = Site()
    site.shot("A1", 0.0, 0.0, 1200.0)
    site.shot("A1", 0.0, 0.0, 1226.0)
    assert site.reasons == ["step"]
    assert "before" in site.told[0].text
    other = Site()
    other.shot("A1", 0.0, 0.0, 1226.0)
    other.guard.event(Undone(label="A1"))
    other.shot("A1", 0.0, 0.0, 1200.0)
    assert other.reasons == []


def test_the_battery_is_told_once_however_it_is_known() -> None:
    site = Site()
    site.told += site.guard.battery(76)
    site.told += site.guard.battery(9)
    site.read(1200.0, "low_battery")
    site.told += site.guard.battery(8)
    assert site.reasons == ["battery"]
    assert "9 %" in site.told[0].text


def test_what_goes_wrong_on_the_way_is_counted_and_told_once() -> None:
    site = Site()
    for _ in range(3):
        site.read(None, "bad", problem="11 bytes where 12 make a packet")
        site.read(None, "bad", problem="duplicate")
        site.read(1200.0, missed=2)
    site.guard.lost()
    assert site.reasons == ["damaged", "repeated"]
    assert "11 bytes where 12" in site.told[0].text
    assert site.guard.counts.text == (
        "Messages of the rod: 3 damaged, 6 never came, 3 came twice or late; none of them was "
        "used. Link lost once."
    )
    assert Guard().counts.text == ""
