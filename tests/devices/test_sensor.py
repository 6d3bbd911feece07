"""A sensor of the site: what its profile makes of its bytes."""

import asyncio
import struct
from collections.abc import Sequence
from pathlib import Path

import pytest

from rig.devices.checksum import crc16_modbus
from rig.devices.sensor import SensorDecoder, SensorProfile, load_sensor, read_sensor
from rig.devices.transport import Transport
from rig.errors import BadInput, DeviceUnavailable

LINES = """
text = "thermometer and hygrometer"
framing = "line"
temperature = "F"
[line]
pattern = '''T=(?P<air>[-+.,\\d]+) H=(?P<air_rh>[.\\d]+)'''
"""
PACKETS = """
text = "thermometer over Bluetooth"
framing = "packet"
checksum = "crc16"
[packet]
layout = "<hHB"
fields = ["floor", "slab_rh", "_"]
scale = { floor = 0.01, slab_rh = 0.1 }
[ble]
service = "6b1f0000-2c4e-4a3d-9f60-0d5f2b7c9a11"
value = "6b1f0001-2c4e-4a3d-9f60-0d5f2b7c9a11"
"""


class Said:
    """A transport that says what it was given, then waits for ever."""

    whole_messages = False
    battery_percent: int | None = None
    other_device = ""
    offered: str | None = None
    dropped_bytes = 0

    def __init__(self, *pieces: bytes) -> None:
        self.pieces, self.is_open = list(pieces), False

    async def open(self) -> None:
        self.is_open = True

    async def read(self) -> bytes:
        if not self.pieces:
            await asyncio.sleep(60.0)
        return self.pieces.pop(0)

    async def close(self) -> None:
        self.is_open = False

    async def wait(self, longest_s: float) -> Sequence[str]:
        return ()

    def take_offer(self) -> None: ...


def profile(folder: Path, text: str) -> SensorProfile:
    path = folder / "sensor.toml"
    path.write_text(text)
    return load_sensor(path)


def test_lines_are_read_in_celsius_wherever_they_are_cut(tmp_path: Path) -> None:
    decoder = SensorDecoder(profile(tmp_path, LINES))
    told = [one for part in (b"H=5\r\nT=70", b",7 H=5", b"5\r\nT=? H=5\r\nT=- H=9\r\n")
            for one in decoder.feed(part)]  # fmt: skip
    assert told[0] == {"air": pytest.approx(21.5), "air_rh": 55.0}
    assert told[1:] == [{"air_rh": 9.0}]  # a dash is no number


def test_packets_with_their_checksum_are_scaled(tmp_path: Path) -> None:
    decoder = SensorDecoder(profile(tmp_path, PACKETS))
    body = struct.pack("<hHB", -150, 823, 7)
    packet = body + crc16_modbus(body).to_bytes(2, "little")
    told = list(decoder.feed(b"\x07" + packet + packet[:-1] + b"\x00"))
    assert told == [{"floor": pytest.approx(-1.5), "slab_rh": pytest.approx(82.3)}]


def test_the_median_of_some_messages_counts_and_the_port_is_let_go(tmp_path: Path) -> None:
    sensor = profile(tmp_path, LINES)
    said = Said(*(f"T={32 + 18 * n} H=50\n".encode() for n in (1, 1, 100, 1, 1)))
    transport: Transport = said
    assert asyncio.run(read_sensor(transport, sensor)) == (("air", 10.0), ("air_rh", 50.0))
    assert not said.is_open
    silent = Said(b"hello\n")
    with pytest.raises(DeviceUnavailable, match="said nothing"):
        asyncio.run(read_sensor(silent, sensor, 0.05))
    assert not silent.is_open


@pytest.mark.parametrize(
    ("old", "new", "named"),
    [
        ("(?P<air>", "(?P<value>", "line.pattern"),
        ('temperature = "F"', 'temperature = "K"', "temperature"),
        ('framing = "line"', 'framing = "modbus"', "framing"),
        ("[line]", "unit = 3\n[line]", "unit"),
    ],
)
def test_a_wrong_profile_is_refused_with_its_key(
    tmp_path: Path, old: str, new: str, named: str
) -> None:
    text = LINES.replace("(?P<air_rh>[.\\d]+)", "x") if named == "line.pattern" else LINES
    with pytest.raises(BadInput, match=f"`{named}`"):
        profile(tmp_path, text.replace(old, new))
    with pytest.raises(BadInput, match="layout"):
        profile(tmp_path, PACKETS.replace('"<hHB"', '"hHB"'))
    with pytest.raises(BadInput, match="no file"):
        load_sensor(tmp_path / "none.toml")
