import pytest

from rig.events import Event, Heard, LinkBack, LinkLost
from rig.session.beam import Beam


def reading(time_s: float, value_mm: float | None = 1200.0, status: str = "valid") -> Event:
    return Heard(time_s=time_s, value_mm=value_mm, status=status)


@pytest.fixture
def beam() -> Beam:
    beam = Beam()
    for n in range(20):
        beam.hear(reading(n / 20), n / 20)
    return beam


def test_a_beam_that_is_there_is_not_talked_about(beam: Beam) -> None:
    assert Beam().state(100.0) == ""
    assert beam.state(1.0) == ""


def test_a_body_that_crosses_the_beam_is_no_lost_beam(beam: Beam) -> None:
    for n in range(20, 30):
        beam.hear(reading(n / 20, None, "no_beam"), n / 20)
    assert beam.state(1.45) == ""
    beam.hear(reading(31 / 20, None, "no_beam"), 31 / 20)
    assert beam.state(1.55) == "no beam"
    beam.hear(reading(32 / 20), 32 / 20)
    assert beam.state(1.6) == ""


def test_a_rod_that_says_nothing_more_is_told(beam: Beam) -> None:
    assert beam.state(0.95 + 0.45) == ""
    assert beam.state(0.95 + 0.55) == "no readings"


def test_a_slow_rod_and_a_tape_are_given_their_time() -> None:
    slow, tape = Beam(), Beam()
    for n in range(9):
        slow.hear(reading(float(n)), float(n))
        tape.hear(reading(6.0 * n), 6.0 * n)
    assert slow.state(8.0 + 2.9) == ""
    assert slow.state(8.0 + 3.1) == "no readings"
    assert tape.state(1000.0) == ""


def test_a_lost_link_is_lost_until_it_is_back(beam: Beam) -> None:
    beam.hear(LinkLost(time_s=1.0, reason="gone"), 1.0)
    assert beam.state(1.0) == beam.state(60.0) == "link lost"
    beam.hear(LinkBack(time_s=60.0, gap_s=59.0), 60.0)
    assert beam.state(60.1) == ""
