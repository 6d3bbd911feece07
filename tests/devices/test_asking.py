"""Rods that speak only when asked, and lines that are run in a way of their own."""

import contextlib
import os
import pty
import re
import struct
import termios
import threading
import tty
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from rig.devices.asking import Asker, Asking, SerialLine
from rig.devices.checksum import crc16_modbus
from rig.devices.decoder import Decoder
from rig.devices.modbus import register_order
from rig.devices.profile import parse_profile
from rig.devices.reading import Reading
from rig.devices.serial_port import _open_port
from rig.devices.trace import read_trace, replay
from rig.errors import BadInput
from rig.guide import chapter
from tests.cli.conftest import Run
from tests.cli.conftest import run as run

POLLED = r"""
text = "polled"
framing = "line"
unit = "mm"
no_beam = ["---"]
[line]
pattern = '^(?:(?P<value>\d+\.\d)|(?P<status>---))$'
[serial]
line_end = ";"
ask = "?\r"
ask_every_ms = 20
answer_within_ms = 60
"""
MODBUS = """
text = "receiver with registers"
framing = "modbus"
no_beam = [1]
[modbus]
device = 17
registers = "input"
first = 107
layout = ">HiH"
fields = ["status", "value", "_"]
word_order = "low first"
scale_mm = 0.01
[serial]
parity = "even"
ask_every_ms = 20
answer_within_ms = 60
"""


@contextlib.contextmanager
def answering(answer: Callable[[bytes, int], bytes]) -> Iterator[str]:
    """A rod on a pseudo-terminal that is silent until it is asked; its n-th answer is `answer`."""
    master, slave = pty.openpty()
    tty.setraw(slave)
    path = os.ttyname(slave)

    def serve() -> None:
        number = 0
        with contextlib.suppress(OSError):
            while asked := os.read(master, 256):
                os.write(master, answer(asked, number))
                number += 1

    threading.Thread(target=serve, daemon=True).start()
    try:
        yield path
    finally:
        os.close(slave)
        with contextlib.suppress(OSError):
            os.close(master)


def kept(run: Run, path: str, toml: str) -> list[str]:
    """Record the rod for a while by the command line; return its messages."""
    Path("rod.toml").write_text(toml)
    done = run("record", "t.trace", "--serial", path, "--profile", "rod.toml", "--seconds", "0.7")
    assert done.code == 0, done.err
    return [item.raw for item in replay(read_trace("t.trace")) if isinstance(item, Reading)]


def test_a_polled_rod_is_asked_and_its_answers_kept(run: Run) -> None:
    asked = []

    def answer(request: bytes, number: int) -> bytes:
        asked.append(request)
        return b"---;" if number % 2 else b"1200.%d;" % (number % 10)

    with answering(answer) as path:
        messages = kept(run, path, POLLED)
    assert set(asked) == {b"?\r"}
    assert len(messages) > 8
    assert messages[:3] == ["1200.0", "---", "1200.2"]


def test_an_answer_that_breaks_off_is_asked_for_again_and_never_joined_to_the_next(
    run: Run,
) -> None:
    with answering(lambda request, n: b"12" if n % 3 == 1 else b"1200.0;") as path:
        messages = kept(run, path, POLLED)
    assert len(messages) > 5
    assert set(messages) == {"1200.0"}


def modbus_answer(request: bytes, height_counts: int, status: int = 0) -> bytes:
    """Answer as a device does: by Modbus Application Protocol V1.1b3, 6.4, and our own CRC."""
    device, function, first, count = struct.unpack(">BBHH", request[:6])
    assert crc16_modbus(request[:-2]) == int.from_bytes(request[-2:], "little")
    assert (device, function, first, count) == (17, 4, 107, 4)
    high, low = struct.unpack(">Hh", struct.pack(">i", height_counts))[:2]
    words = struct.pack(">HhHH", status, low, high, 7)
    body = struct.pack(">BBB", device, function, len(words)) + words
    return body + crc16_modbus(body).to_bytes(2, "little")


def test_a_modbus_receiver_is_read_through_its_registers(run: Run) -> None:
    with answering(lambda request, n: modbus_answer(request, 123456, n % 2)) as path:
        messages = kept(run, path, MODBUS)
    decoder = Decoder(parse_profile(MODBUS, "rod.toml"))
    readings = [decoder.decode_raw(raw, 0.0, 0.0) for raw in messages]
    assert len(readings) > 8
    assert [reading.status for reading in readings[:2]] == ["valid", "no_beam"]
    assert readings[0].value_mm == 1234.56


def test_a_survey_takes_its_shots_from_a_modbus_receiver(run: Run) -> None:
    run("new", "--room", "1m,1m", "--units", "mm")
    label = run("grid", "--spacing", "0.9m", "--edge", "4cm", "--json").json["points"][0]["label"]
    Path("rod.toml").write_text(MODBUS)

    def answer(request: bytes, number: int) -> bytes:
        # 25 answers stood still, then carried away.
        return modbus_answer(request, 120000 + number % 2, int(number >= 25))

    with answering(answer) as path:
        done = run(
            "survey", "--serial", path, "--profile", "rod.toml", "--kind", "benchmark",
            "--label", "BM1", "--dwell", "0.3", "--json",
        )  # fmt: skip
    assert done.code == 0, done.err
    shots = [event for event in done.events if event["event"] == "shot"]
    assert [shot["label"] for shot in shots] == ["BM1"]
    assert shots[0]["reading_mm"] == pytest.approx(1200.005, abs=0.02)
    assert label


# Modbus Application Protocol V1.1b3, 6.3: registers 108 to 110 hold 555, 0 and 100. The device and
# the CRC are ours.
EXAMPLE = bytes.fromhex("1103 06 022B 0000 0064".replace(" ", ""))


def framed(body: bytes) -> bytes:
    return body + crc16_modbus(body).to_bytes(2, "little")


HOLDING = (
    MODBUS.replace('"input"', '"holding"')
    .replace(">HiH", ">HHH")
    .replace('"status", "value", "_"', '"value", "_", "_"')
    .replace("no_beam = [1]", "")
)


def test_the_standards_example_is_read_as_the_standard_has_it() -> None:
    profile = parse_profile(HOLDING, "rod")
    assert profile.serial.asking is not None
    assert profile.serial.asking.request == framed(bytes.fromhex("1103006B0003"))
    (reading,) = Decoder(profile).feed(framed(EXAMPLE), 0.0, 0.0)
    assert reading.value_mm == 5.55


@pytest.mark.parametrize(
    ("frame", "problem"),
    [
        (framed(bytes.fromhex("118302")), "the device refuses: it has no such register"),
        (framed(bytes.fromhex("11830B")), "the device refuses: exception 11"),
        (framed(b"\x12" + EXAMPLE[1:]), "answer of device 18"),
        (framed(b"\x11\x04" + EXAMPLE[2:]), "not an answer to what was asked"),
        (framed(bytes.fromhex("1103020001")), "not an answer to what was asked"),
        (EXAMPLE + b"\0\0", "checksum"),
    ],
)
def test_an_answer_that_is_none_is_bad_and_named(frame: bytes, problem: str) -> None:
    decoder = Decoder(parse_profile(HOLDING, "rod"))
    (reading,) = decoder.feed(frame, 0.0, 0.0)
    assert (reading.status, reading.problem) == ("bad", problem)
    assert decoder.decode_raw(reading.raw, 1.0, 1.0).problem == problem
    (good,) = decoder.feed(framed(EXAMPLE), 2.0, 2.0)
    assert good.value_mm == 5.55


def test_ones_own_question_heard_on_the_line_is_no_answer() -> None:
    profile = parse_profile(HOLDING, "rod")
    assert profile.serial.asking is not None
    decoder = Decoder(profile)
    assert decoder.feed(profile.serial.asking.request[:5], 0.0, 0.0) == []
    (reading,) = decoder.feed(profile.serial.asking.request[5:] + framed(EXAMPLE), 0.01, 0.01)
    assert reading.value_mm == 5.55


def test_registers_are_put_in_the_layouts_order() -> None:
    assert register_order(">HiH", low_word_first=False) == (0, 1, 2, 3)
    assert register_order(">HiH", low_word_first=True) == (0, 2, 1, 3)
    assert register_order(">2i d", low_word_first=True) == (1, 0, 3, 2, 7, 6, 5, 4)
    assert register_order("<H", low_word_first=False) is None
    assert register_order(">BB", low_word_first=False) is None
    assert register_order(">126H", low_word_first=False) is None


def test_nothing_is_asked_while_an_answer_may_come() -> None:
    asker = Asker(Asking(request=b"?", every_s=0.2, within_s=0.5), None, None)
    assert asker.due(10.0) == b"?"
    assert asker.due(10.4) == b""
    assert asker.due(10.5) == b"?"
    assert asker.take(b"12.5\r\n13") == b"12.5\r\n"
    assert asker.due(10.6) == b""
    assert asker.take(b".5\r\n") == b"13.5\r\n"
    assert asker.due(10.71) == b"?"


def test_a_port_is_run_as_the_profile_says() -> None:
    # The loop joins DTR to DSR and RTS to CTS, as pyserial documents it.
    line = SerialLine(data_bits=7, parity="odd", stop_bits=2, dtr=False, rts=True)
    port = _open_port("loop://", 4800, line)
    try:
        assert (port.baudrate, port.bytesize, port.parity, port.stopbits) == (4800, 7, "O", 2)
        assert (port.dsr, port.cts) == (False, True)
    finally:
        port.close()


def test_two_stop_bits_reach_the_system() -> None:
    master, slave = pty.openpty()
    port = _open_port(os.ttyname(slave), 4800, SerialLine(stop_bits=2))
    try:
        assert termios.tcgetattr(slave)[2] & termios.CSTOPB
        assert termios.tcgetattr(slave)[5] == termios.B4800
    finally:
        port.close()
        os.close(master)
        os.close(slave)


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ('line_end = ";"', "line_end = 3", "`serial.line_end`"),
        ('line_end = ";"', 'line_end = "€"', "stands for one byte"),
        ('line_end = ";"', 'line_end = "123456789"', "longer than 8 bytes"),
        ('line_end = ";"', 'parity = "strange"', "none, even, odd, mark, space"),
        ('line_end = ";"', "stop_bits = 3", "allowed: 1, 1.5, 2"),
        ('line_end = ";"', "data_bits = 9", "from 5 to 8"),
        ('line_end = ";"', 'dtr = "on"', "`serial.dtr`"),
        ('line_end = ";"', "baud = 0", "from 1 to 4000000"),
        ('ask = "?\\r"', 'ask = ""', "`serial.ask` is empty"),
        ('ask = "?\\r"', "", "does not say with what"),
        ("ask_every_ms = 20", "ask_every_ms = 5", "from 20 to 1000"),
        ("answer_within_ms = 60", "answer_within_ms = 6000", "from 10 to 1000"),
        ("ask_every_ms", "asks", "`serial.asks` is not known"),
    ],
)
def test_a_wrong_line_is_refused_with_its_key(old: str, new: str, told: str) -> None:
    assert old in POLLED
    with pytest.raises(BadInput) as refused:
        parse_profile(POLLED.replace(old, new), "rod.toml")
    assert told in str(refused.value)


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("device = 17", "device = 248", "from 1 to 247"),
        ("first = 107", "", "`modbus.first` is missing"),
        ("first = 107", "first = 65533", "no register above 65535"),
        (">HiH", ">BBiH", "registers are >"),
        ("low first", "middle", "high first, low first"),
        ('"input"', '"coil"', "holding, input"),
        ('parity = "even"', 'ask = "?"', "`serial.ask` is not known"),
    ],
)
def test_a_wrong_modbus_profile_is_refused_with_its_key(old: str, new: str, told: str) -> None:
    assert old in MODBUS
    with pytest.raises(BadInput) as refused:
        parse_profile(MODBUS.replace(old, new), "rod.toml")
    assert told in str(refused.value)


def test_a_polled_rod_is_not_looked_for_over_bluetooth(run: Run) -> None:
    Path("rod.toml").write_text(POLLED)
    done = run("record", "t.trace", "--ble", "rod", "--profile", "rod.toml")
    assert done.code == 2
    assert "asks its rod over a serial line" in done.err


def test_the_guides_modbus_profile_is_one() -> None:
    found = re.findall(r"^```ini\n(.*?)^```", chapter("profile"), re.M | re.S)
    (toml,) = [text for text in found if "modbus" in text]
    profile = parse_profile(toml, "guide")
    assert profile.registers is not None
    assert profile.registers.count == 3
