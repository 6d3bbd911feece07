"""A sensor of a site: a thermometer or hygrometer on a serial port or over Bluetooth, by a profile.

Its profile says which words of a line, or which fields of a packet, are which readings of the
site's log. It is read for a moment and let go; live work has nothing to do with it.
"""

import asyncio
import struct
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from math import isfinite
from pathlib import Path
from statistics import median

from rig.devices.checksum import has_crc16, is_sentence
from rig.devices.framing import LineFramer, PacketFramer
from rig.devices.pattern import BadPattern, LinePattern
from rig.devices.profile import Profile, parse_profile, serial_line
from rig.devices.profile_table import ProfileTable
from rig.devices.transport import Transport
from rig.errors import BadInput, DeviceUnavailable
from rig.language import join, put, say
from rig.texts import MOST_TOML_BYTES, parse_toml, read_text

FIELDS = ("air", "air_rh", "floor", "slab_rh")
"""What a sensor reads: temperatures of air and floor, humidity of air and slab in percent."""
_TEMPERATURES = ("air", "floor")
ENOUGH = 5
"""So many messages are heard; of each reading the median counts."""
LONGEST_S = 30.0
_ANY_ROD = 'text = "a sensor"\nframing = "line"\nunit = "mm"\n[line]\npattern = "(?P<value>.*)"\n'


@dataclass(frozen=True)
class SensorProfile:
    """How a sensor speaks; the keys of its TOML file, checked.

    `pattern` is there for lines, `layout` and `fields` for packets, whose counts are multiplied by
    `scale`. `line` is what a transport needs of it, as a rod's profile has it.
    """

    key: str
    checked: bool
    fahrenheit: bool
    pattern: LinePattern | None
    layout: struct.Struct | None
    fields: tuple[str, ...]
    scale: Mapping[str, float]
    line: Profile


def load_sensor(path: Path) -> SensorProfile:
    """Return the sensor's profile of a TOML file.

    Raises
    ------
    BadInput
        There is none, or it is wrong; the message names the file and the key at fault.
    """
    name = str(path)
    if not path.exists():
        raise BadInput(
            say("There is no file {name}; a sensor's profile is a TOML file.", name=name)
        )
    text = read_text(path, say("a profile is a TOML file"), MOST_TOML_BYTES)
    data = parse_toml(text, say("The profile {name}", name=name))
    top = ProfileTable(name, "", data)
    framing = top.choice("framing", ("line", "packet"))
    top.allow("text", "framing", "checksum", "temperature", framing, "serial", "ble")
    top.text("text")
    sums = ("none", "xor") if framing == "line" else ("none", "crc16")
    checked = top.choice("checksum", sums, "none") != "none"
    fahrenheit = top.choice("temperature", ("C", "F"), "C") == "F"
    pattern, layout, scale = None, None, dict.fromkeys(FIELDS, 1.0)
    table = top.table(framing)
    if framing == "line":
        pattern = _pattern(table)
        fields = tuple(name for name in FIELDS if name in pattern.names)
    else:
        table.allow("layout", "fields", "scale")
        layout, fields = _packet(table)
        if "scale" in table:
            scales = table.table("scale")
            scales.allow(*FIELDS)
            scale |= {name: scales.number(name, 1.0) for name in FIELDS}
    if not any(name in FIELDS for name in fields):
        names = join(", ", FIELDS)
        table.refuse(
            "pattern" if framing == "line" else "fields",
            say("names no reading of the site's log: {names}", names=names),
        )
    line = replace(
        parse_profile(_ANY_ROD, name),
        serial=serial_line(top.table("serial") if "serial" in data else None, framing, None),
        layout=layout,
        checksum="crc16" if checked and framing == "packet" else "none",
    )
    if "ble" in data:
        ble = top.table("ble")
        ble.allow("service", "value")
        line = replace(line, ble_service=ble.uuid("service"), ble_value=ble.uuid("value"))
    return SensorProfile(name, checked, fahrenheit, pattern, layout, fields, scale, line)


def _pattern(table: ProfileTable) -> LinePattern:
    table.allow("pattern")
    try:
        return LinePattern(table.text("pattern"))
    except BadPattern as error:
        table.refuse("pattern", put("{error}", error=error))


def _packet(table: ProfileTable) -> tuple[struct.Struct, tuple[str, ...]]:
    text, fields = table.text("layout"), table.values("fields", str, needed=True)
    try:
        layout = struct.Struct(text)
        items = layout.unpack(bytes(layout.size))
    except (struct.error, UnicodeEncodeError) as error:
        table.refuse(
            "layout",
            say(
                "is {text!r}, not the notation of Python's struct module: {error}",
                text=text,
                error=error,
            ),
        )
    numbers = all(isinstance(item, int | float) for item in items)
    if text[:1] not in ("<", ">", "!") or not numbers or len(fields) != len(items):
        table.refuse(
            "layout",
            say(
                "is {text!r}; begin it with < (low byte first) or > (high first), with a number "
                "for each of `fields`",
                text=text,
            ),
        )
    return layout, tuple(fields)


class SensorDecoder:
    """A sensor's bytes in, its readings out; what is none of its messages is passed over."""

    def __init__(self, profile: SensorProfile) -> None:
        self._profile = profile
        self._framer: LineFramer | PacketFramer
        if profile.layout is None:
            self._framer = LineFramer(end=profile.line.serial.line_end)
        else:
            size = profile.layout.size + (2 if profile.checked else 0)
            self._framer = PacketFramer(size, has_crc16 if profile.checked else None)

    def feed(self, data: bytes) -> Iterator[dict[str, float]]:
        """Take the next bytes; yield what each message that they complete reads, in °C and %."""
        for message in self._framer.feed(data):
            told = self._numbers(message)
            if told:
                yield {name: self._in_celsius(name, value) for name, value in told.items()}

    def _numbers(self, message: bytes) -> dict[str, float]:
        layout, pattern = self._profile.layout, self._profile.pattern
        if layout is not None:
            found = self._of_packet(layout, message)
        else:
            assert pattern is not None
            found = self._of_line(pattern, message)
        return {name: value for name, value in found.items() if isfinite(value)}

    def _of_packet(self, layout: struct.Struct, message: bytes) -> dict[str, float]:
        profile = self._profile
        body = message[:-2] if profile.checked else message
        if len(body) != layout.size or (profile.checked and not has_crc16(message)):
            return {}
        items = dict(zip(profile.fields, layout.unpack(body), strict=True))
        return {name: items[name] * profile.scale[name] for name in FIELDS if name in items}

    def _of_line(self, pattern: LinePattern, message: bytes) -> dict[str, float]:
        if self._profile.checked and not is_sentence(message):
            return {}
        groups = pattern.groups(message.decode("latin-1")) or {}
        return {name: _number(groups[name]) for name in FIELDS if groups.get(name)}

    def _in_celsius(self, name: str, value: float) -> float:
        if self._profile.fahrenheit and name in _TEMPERATURES:
            return (value - 32.0) / 1.8
        return value


def _number(text: str | None) -> float:
    try:
        return float((text or "").replace(",", "."))
    except ValueError:
        return float("nan")


async def read_sensor(
    transport: Transport, profile: SensorProfile, longest_s: float = LONGEST_S
) -> tuple[tuple[str, float], ...]:
    """Hear a sensor for a moment; return each of its readings, the median of what it said.

    Raises
    ------
    DeviceUnavailable
        It cannot be opened, is gone, or says nothing that its profile knows.
    """
    decoder = SensorDecoder(profile)
    heard: dict[str, list[float]] = {}
    wanted = {name for name in profile.fields if name in FIELDS}

    def is_enough() -> bool:
        return all(len(heard.get(name, ())) >= ENOUGH for name in wanted)

    try:
        await transport.open()
        async with asyncio.timeout(longest_s):
            while not is_enough():
                for told in decoder.feed(await transport.read()):
                    for name, value in told.items():
                        heard.setdefault(name, []).append(value)
    except TimeoutError:
        if not heard:
            raise DeviceUnavailable(
                say(
                    "The sensor said nothing that the profile {key} knows. Is it the right port, "
                    "and the right --profile?",
                    key=profile.key,
                )
            ) from None
    finally:
        await transport.close()
    return tuple((name, round(median(heard[name]), 2)) for name in FIELDS if name in heard)
