"""What is heard of one rod of a site: gaps, doubles, late messages, another start of its box."""

import json

import pytest

from rig.devices.reading import Back, Lost, Reading
from rig.session.ear import Ear
from rig.session.items import Act, FromRod, Late, Missing
from simulated_devices.encode import sentence
from simulated_devices.rod import Sample


class Box:
    """Says so many readings to an ear, ten a second of its own clock."""

    def __init__(self, boot: str = "b1", ahead_s: float = 500.0) -> None:
        self.ear, self.boot, self.ahead_s, self.n = Ear("rod-1"), boot, ahead_s, 0

    def say(self, at_s: float, *, late_s: float = 0.0, n: int | None = None) -> list[FromRod]:
        self.n = self.n + 1 if n is None else n
        said = {"n": str(self.n), "t": str(at_s + self.ahead_s), "b": self.boot}
        line = sentence(Sample(at_s, self.n, 1000.0)).strip()
        return list(self.ear.said(line, said, at_s + late_s, 1.8e9 + at_s))

    def answer(self, at_s: float) -> list[FromRod]:
        return list(self.ear.answered(at_s, at_s + self.ahead_s, at_s + 0.002, 1.8e9))


def items(heard: list[FromRod]) -> list[object]:
    return [one.item for one in heard]


@pytest.fixture
def box() -> Box:
    made = Box()
    list(made.ear.linked(json.dumps({"link": "here", "boot": "b1"}).encode(), 0.0, 1.8e9))
    made.answer(0.0)
    return made


def test_a_reading_has_its_boxs_time_and_its_own_words(box: Box) -> None:
    (heard,) = box.say(1.0, late_s=0.4)
    assert isinstance(heard.item, Reading)
    assert heard.item.value_mm == 1000.0
    assert heard.item.time_s == pytest.approx(1.0, abs=0.002)
    assert heard.item.utc_s == pytest.approx(1.8e9 + 0.6, abs=0.01)
    assert heard.box_s == 501.0


def test_what_comes_twice_is_heard_once(box: Box) -> None:
    assert len(box.say(1.0)) == 1
    assert box.say(1.1, n=1) == []


def test_a_missing_message_ends_what_came_before(box: Box) -> None:
    box.say(1.0)
    gap, reading = items(box.say(1.3, n=4))
    assert isinstance(gap, Missing)
    assert gap.n == 2
    assert isinstance(reading, Reading)


def test_messages_wait_for_the_boxs_clock_but_not_for_long() -> None:
    box = Box()
    assert box.say(1.0) == box.say(1.1) == []
    readings = [one for one in items(box.answer(1.2)) if isinstance(one, Reading)]
    assert [one.time_s for one in readings] == pytest.approx([1.0, 1.1], abs=0.002)
    other = Box()
    assert other.say(1.0) == []
    (waited,) = other.ear.tick(2.1, 1.8e9)
    assert isinstance(waited.item, Reading)


def test_what_is_late_is_kept_and_not_used(box: Box) -> None:
    box.say(1.0)
    gap, late = items(box.say(1.1, late_s=2.5))
    assert isinstance(gap, Missing)
    assert isinstance(late, Late)
    assert [type(one) for one in items(box.say(1.2, late_s=2.5))] == [Late]
    assert isinstance(items(box.say(4.0))[0], Reading)


def test_a_silent_rod_is_lost_after_three_seconds_and_back_with_its_next_word(box: Box) -> None:
    box.say(1.0)
    assert items(list(box.ear.tick(3.9, 1.8e9))) == []
    (lost,) = box.ear.tick(4.1, 1.8e9)
    assert isinstance(lost.item, Lost)
    back, reading = items(box.say(10.0, n=90))
    assert isinstance(back, Back)
    assert back.gap_s == pytest.approx(9.0, abs=0.01)
    assert isinstance(reading, Reading)


def test_a_box_that_began_anew_has_another_clock_and_count(box: Box) -> None:
    box.say(1.0, n=70)
    box.boot, box.ahead_s = "b2", -3.0
    assert box.say(2.0, n=1) == []  # until its clock is known
    heard = [one for one in items(box.answer(2.1)) if isinstance(one, Reading)]
    assert [one.time_s for one in heard] == pytest.approx([2.0], abs=0.002)


def test_an_act_with_an_id_acts_once(box: Box) -> None:
    told = json.dumps({"act": "skip", "argument": None, "id": "x1"}).encode()
    (act,) = box.ear.act(told, 1.8e9)
    assert isinstance(act.item, Act)
    assert act.item.name == "skip"
    assert list(box.ear.act(told, 1.8e9)) == []
    assert list(box.ear.act(b"not json", 1.8e9)) == []


def test_a_profile_is_taken_from_the_link_and_a_bad_one_is_told(box: Box) -> None:
    from rig.devices.profile import load_profile

    profile = load_profile("decimal-mm").text_toml
    told = {"link": "here", "boot": "b1", "profile": profile}
    assert list(box.ear.linked(json.dumps(told).encode(), 1.0, 1.8e9)) == []
    (reading,) = items(list(box.ear.said(b"812.5", {"b": "b1"}, 1.1, 1.8e9)))
    assert isinstance(reading, Reading)
    assert reading.value_mm == 812.5
    told["profile"] = "framing = 3"
    (notice,) = box.ear.linked(json.dumps(told).encode(), 1.2, 1.8e9)
    assert "rod-1 cannot be read" in str(notice.item)
