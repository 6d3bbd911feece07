import re
from typing import Any

import pytest

from simulated_devices import Refused
from simulated_devices.faults import FAULTS, corrupted, parse_faults
from simulated_devices.world import make_world
from tests.kinds import there

from .scripted_tool import read_sentence


def messages(
    fault: str, seconds: float = 30.0, profile: str = "sentence", **more: Any
) -> list[tuple[float, bytes]]:
    """Each line sent, with its time."""
    world = make_world(seed=3, kind="flat", fault=[fault] if fault else [], profile=profile, **more)
    return [(sent.time_s, sent.data) for sent in world.advance(seconds)]


def parsed(fault: str, **more: Any) -> list[tuple[int, float | None, str]]:
    return [there(read_sentence(data)) for _, data in messages(fault, **more)]


def test_without_faults_every_message_is_whole_and_in_order() -> None:
    rows = parsed("")
    assert [row[0] for row in rows] == list(range(301))
    assert {row[2] for row in rows} == {"V"}
    assert all(abs(there(row[1]) - 44.45) < 1.5 for row in rows)


def test_every_fault_has_a_text_and_defaults_that_it_takes() -> None:
    for name, fault in FAULTS.items():
        assert fault.text
        over = fault.over[-1]
        assert parse_faults([f"{name}={fault.default}"], over) == parse_faults([name], over)


def test_lose_leaves_out_every_nth() -> None:
    seqs = [row[0] for row in parsed("lose=4", seconds=2.0)]
    assert seqs == [n for n in range(21) if n % 4 != 3]


def test_corrupt_breaks_every_nth_by_its_checksum_alone() -> None:
    rows = messages("corrupt=5")
    whole = [read_sentence(data) is not None for _, data in rows]
    assert whole == [(n + 1) % 5 != 0 for n in range(301)]
    shape = rb"\$U\dHGT,\d+,\d+\.\d,mm,V\*[0-9A-F]{2}\r\n"
    assert all(re.fullmatch(shape, data) for _, data in rows)


def test_corrupt_makes_a_bare_number_none() -> None:
    assert not re.fullmatch(rb"[-+]?\d+\.\d\r\n", corrupted(b"57.2\r\n"))
    assert corrupted(b"---\r\n") == b"---\r\n"


def test_noise_puts_garbage_before_a_whole_message() -> None:
    rows = [data for _, data in messages("noise=7", seconds=10.0)]
    dirty = [data for data in rows if not data.startswith(b"$U0HGT")]
    assert len(dirty) == len(rows) // 7
    assert all(read_sentence(data[data.index(b"$U0HGT") :]) for data in dirty)


def test_noend_leaves_line_ends_out_for_a_while() -> None:
    bare = [time_s for time_s, data in messages("noend=2:5") if not data.endswith(b"\r\n")]
    assert bare == [n / 10 for n in range(50, 70)]


def test_flicker_takes_the_beam_from_its_share() -> None:
    rows = parsed("flicker=0.2", seconds=200.0)
    share = sum(row[2] == "N" and row[1] is None for row in rows) / len(rows)
    assert share == pytest.approx(0.2, abs=0.04)


def test_coarse_and_noisy_rods() -> None:
    sixteenths = {row[1] for row in parsed("coarse")}
    assert len(sixteenths) <= 2
    assert all(abs((there(value) + 1e-4) % 1.5875) < 2e-4 for value in sixteenths)
    values = [there(row[1]) for row in parsed("noisy=2.0", seconds=300.0)]
    mean = sum(values) / len(values)
    sd = (sum((value - mean) ** 2 for value in values) / len(values)) ** 0.5
    assert sd == pytest.approx(2.0, rel=0.1)


def test_stick_freezes_the_display() -> None:
    rows = messages("stick=3:10")
    frozen = [there(read_sentence(data))[1] for time_s, data in rows if 7.05 < time_s < 9.95]
    moving = [there(read_sentence(data))[1] for time_s, data in rows if time_s < 6.95]
    assert len(set(frozen)) == 1
    assert len(set(moving)) > 3


def test_jump_shifts_readings_from_a_time_on() -> None:
    plain, shifted = parsed(""), parsed("jump=6:10")
    steps = [round(there(b[1]) - there(a[1]), 3) for a, b in zip(plain, shifted, strict=True)]
    assert steps == [0.0] * 100 + [6.0] * 201


def test_battery_is_low_from_a_time_on() -> None:
    statuses = [row[2] for row in parsed("battery=10")]
    assert statuses == ["V"] * 100 + ["L"] * 201


def test_duplicate_and_reorder() -> None:
    assert [row[0] for row in parsed("duplicate=5", seconds=1.0)] == [
        *(0, 1, 2, 3, 4, 4, 5, 6, 7, 8, 9, 9, 10)
    ]
    assert [row[0] for row in parsed("reorder=4", seconds=1.0)] == [
        *(0, 1, 2, 4, 3, 5, 6, 8, 7, 9, 10)
    ]


def test_drop_takes_the_link_away_and_gives_it_back() -> None:
    world = make_world(seed=3, kind="flat", fault=["drop=20:2:2"])
    world.step(1.85)
    assert world.link_up()
    seqs = [there(read_sentence(line))[0] for line in world.step(1.95).splitlines()]
    assert seqs == [19]
    assert not world.link_up()
    assert world.step(3.85) == b""
    assert not world.link_up()
    assert there(read_sentence(world.step(3.95)))[0] == 39
    assert world.link_up()
    world.step(6.0)
    assert not world.link_up()
    world.step(60.0)
    assert world.link_up()


def test_faults_go_together() -> None:
    rows = messages("", seconds=1.0)
    world = make_world(seed=3, kind="flat", fault=["lose=2", "battery", "corrupt=2"])
    got = [read_sentence(sent.data) for sent in world.advance(1.0)]
    assert len(got) == (len(rows) + 1) // 2
    assert got[1] is None
    assert there(got[0])[2] == "L"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("gremlin", "no fault 'gremlin'"),
        ("lose=x", "'x' is no number"),
        ("lose=0", "at least 2"),
        ("lose=nan", "at least 2"),
        ("lose=3:4", "takes N"),
    ],
)
def test_wrong_faults_are_refused(text: str, says: str) -> None:
    with pytest.raises(Refused, match=says):
        parse_faults([text])
