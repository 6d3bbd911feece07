"""Device profiles: a TOML file that says how a rod's bytes become readings.

A profile is checked whole before any port is opened, and refused with the key at fault, so that
the decoder can trust it.
"""

import math
import struct
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Literal, cast, get_args

from rig.devices.asking import Asking, Parity, SerialLine
from rig.devices.framing import LONGEST_MESSAGE
from rig.devices.modbus import DEVICES, MOST_REGISTERS, Registers, register_order
from rig.devices.pattern import BadPattern, LinePattern
from rig.devices.profile_table import ProfileTable
from rig.errors import BadInput
from rig.language import join, numeral, put, say
from rig.texts import MOST_TOML_BYTES, parse_toml, read_text

# The foot and the inch are exact: international yard and pound agreement, 1959 (NIST SP 811).
MM_PER_UNIT = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, "ft": 304.8}

# Levelling staffs are made up to 5 m (common practice, no source).
LONGEST_ROD_MM = 5000.0

_FOLDER = Path(__file__).parent / "profiles"
_FASTEST_BAUD = 4_000_000
_LONGEST_QUESTION = 64
_LONGEST_LINE_END = 8
# A rod that is asked less often, or answers later, can't be stood still with; and what is silent
# for three seconds counts as lost.
_ASK_EVERY_MS = (20.0, 1000.0)
_ANSWER_WITHIN_MS = (10.0, 1000.0)
_KEYS = (
    "text",
    "framing",
    "checksum",
    "unit",
    "sign",
    "zero_offset_mm",
    "valid",
    "no_beam",
    "button",
    "low_battery",
    "resolution_mm",
    "foot_mm",
    "shortest_mm",
    "longest_mm",
    "needs_clamp",
)
_REGISTER_KEYS = ("device", "registers", "first", "word_order")
_STATUS_LISTS = ("valid", "no_beam", "button", "low_battery")


@dataclass(frozen=True)
class Profile:
    """How one kind of device speaks; the keys of the TOML file, checked.

    `key` is a shipped profile's name or the path of a file, `text_toml` the TOML text itself.
    `pattern` is there for lines; `layout` (a compiled struct), `fields` and `scale_mm` for
    packets, whose `layout` does not cover the checksum. `valid` lists the values of `status` that
    mean a plain reading; where it is empty, all that the other three lists don't name do.
    `serial` says how a serial line is run, and how a polled rod is asked; `registers` which ones
    of a Modbus device hold a reading, whose `layout` is of their bytes.
    `shortest_mm` and `longest_mm` are what it can read: beyond, the user is told. `clamp_mm` is
    how high a receiver is clamped on its rod (`with_clamp`).
    """

    key: str
    text_toml: str
    text: str
    framing: Literal["line", "packet", "modbus"]
    checksum: Literal["none", "xor", "crc16"]
    unit: str
    sign: int
    zero_offset_mm: float
    valid: tuple[str | int, ...]
    no_beam: tuple[str | int, ...]
    button: tuple[str | int, ...]
    low_battery: tuple[str | int, ...]
    resolution_mm: float
    foot_mm: float
    shortest_mm: float
    longest_mm: float
    needs_clamp: bool
    clamp_mm: float | None
    pattern: LinePattern | None = field(compare=False)
    layout: struct.Struct | None = field(compare=False)
    fields: tuple[str, ...]
    scale_mm: float
    ble_service: str | None
    ble_value: str | None
    serial: SerialLine
    registers: Registers | None

    @property
    def answer_size(self) -> int | None:
        """Bytes in an answer to a question: of a packet, or a Modbus frame; None for a line."""
        if self.layout is None:
            return None
        if self.registers is not None:
            return self.layout.size + 5  # device, function, count and a CRC of two
        return self.layout.size + (2 if self.checksum == "crc16" else 0)


def shipped_profiles() -> dict[str, str]:
    """Return the key of every profile that comes with the program, and its line for people."""
    return {key: say(parse_profile(toml, key).text) for key, toml in _shipped().items()}


def load_profile(key_or_path: str | Path) -> Profile:
    """Return a shipped profile by its key, or one from a TOML file by its path.

    Raises
    ------
    BadInput
        There is neither, or it is wrong; the message names the file and the key at fault.
    """
    name = str(key_or_path)
    shipped = _shipped()
    if name in shipped:
        return parse_profile(shipped[name], name)
    path = Path(name)
    if not path.exists():
        raise BadInput(
            say(
                "There is no device profile {name!r}. Give one of {shipped}, or the path of a "
                "TOML file.",
                name=name,
                shipped=join(", ", shipped),
            )
        )
    text = read_text(path, say("a profile is a TOML file"), MOST_TOML_BYTES)
    return parse_profile(text, name)


def parse_profile(toml_text: str, name: str) -> Profile:
    """Check a profile's text and return it compiled.

    Parameters
    ----------
    toml_text : str
        The profile.
    name : str
        What errors call it: its key or file name.

    Raises
    ------
    BadInput
        With `name`, the key at fault and what is allowed there.
    """
    data = parse_toml(toml_text, say("The profile {name}", name=name))
    top = ProfileTable(name, "", data)
    framing = top.choice("framing", ("line", "packet", "modbus"))
    top.allow(*_KEYS, framing, "serial", "ble")
    lists = _status_lists(top, framing)
    checksums = {"line": ("none", "xor"), "packet": ("none", "crc16"), "modbus": ("none",)}[framing]
    checksum = top.choice("checksum", checksums, "none", framing)

    pattern, layout, scale_mm = None, None, 1.0
    fields: tuple[str, ...] = ()
    registers: Registers | None = None
    if framing == "line":
        pattern = _pattern(top.table("line"))
        names: Iterable[str] = pattern.names
        if "unit" not in names:
            top.needs("unit", say("because the pattern has no group `unit`"))
    else:
        table = top.table(framing)
        table.allow(
            "layout", "fields", "scale_mm", *(_REGISTER_KEYS if framing == "modbus" else ())
        )
        registers = _registers(table) if framing == "modbus" else None
        layout, fields, scale_mm = _packet(table, 2 if checksum == "crc16" else 0)
        names = fields
    if "status" not in names and any(lists.values()):
        key = next(key for key, values in lists.items() if values)
        where = (
            say("the pattern has no group")
            if framing == "line"
            else say("`{framing}.fields` has no", framing=framing)
        )
        top.refuse(key, say("lists values of `status`, but {where} `status`", where=where))

    serial = serial_line(top.table("serial") if "serial" in data else None, framing, registers)
    service = value = None
    if "ble" in data:
        ble = top.table("ble")
        ble.allow("service", "value")
        service, value = ble.uuid("service"), ble.uuid("value")

    return Profile(
        key=name,
        text_toml=toml_text,
        text=top.text("text"),
        framing=framing,  # type: ignore[arg-type]
        checksum=checksum,  # type: ignore[arg-type]
        unit=top.choice("unit", tuple(MM_PER_UNIT), "mm"),
        sign=top.sign("sign"),
        zero_offset_mm=top.number("zero_offset_mm", 0.0),
        valid=lists["valid"],
        no_beam=lists["no_beam"],
        button=lists["button"],
        low_battery=lists["low_battery"],
        resolution_mm=top.number("resolution_mm", 0.1, above=0.0),
        foot_mm=top.number("foot_mm", 0.1, least=0.0),
        shortest_mm=top.number("shortest_mm", 0.0),
        longest_mm=top.number("longest_mm", LONGEST_ROD_MM, above=top.number("shortest_mm", 0.0)),
        needs_clamp=top.flag("needs_clamp"),
        clamp_mm=None,
        pattern=pattern,
        layout=layout,
        fields=fields,
        scale_mm=scale_mm,
        ble_service=service,
        ble_value=value,
        serial=serial,
        registers=registers,
    )


def with_clamp(profile: Profile, clamp_mm: float) -> Profile:
    """Return the profile of a receiver that is clamped `clamp_mm` above the rod's foot.

    Raises
    ------
    BadInput
        The device is not one that is clamped, or the height is not above 0.
    """
    if not profile.needs_clamp:
        raise BadInput(
            say(
                "The profile {key} reads from the rod's foot and takes no clamp height.",
                key=profile.key,
            )
        )
    if not (math.isfinite(clamp_mm) and clamp_mm > 0):
        raise BadInput(
            say(
                "A clamp height of {clamp} mm is not possible; it is above 0.",
                clamp=numeral(clamp_mm, "g"),
            )
        )
    return replace(profile, clamp_mm=clamp_mm)


def _shipped() -> dict[str, str]:
    return {path.stem: path.read_text("utf-8") for path in sorted(_FOLDER.glob("*.toml"))}


def _status_lists(top: ProfileTable, framing: str) -> dict[str, tuple[str | int, ...]]:
    kind = str if framing == "line" else int
    lists = {key: top.values(key, kind) for key in _STATUS_LISTS}
    seen: dict[str | int, str] = {}
    for key, values in lists.items():
        for value in values:
            if value in seen:
                top.refuse(
                    key,
                    say(
                        "lists {value!r}, which `{seen}` lists already",
                        value=value,
                        seen=seen[value],
                    ),
                )
            seen[value] = key
    return lists


def _pattern(table: ProfileTable) -> LinePattern:
    table.allow("pattern")
    try:
        pattern = LinePattern(table.text("pattern"))
    except BadPattern as error:
        table.refuse("pattern", put("{error}", error=error))
    if "value" not in pattern.names:
        table.refuse(
            "pattern",
            "has no group (?P<value>...); groups with a meaning: seq, value, unit, status",
        )
    return pattern


def _packet(
    table: ProfileTable, checksum_size: int
) -> tuple[struct.Struct, tuple[str, ...], float]:
    text = table.text("layout")
    if text[:1] not in ("<", ">", "!"):
        table.refuse(
            "layout",
            say("is {text!r}; begin it with < (low byte first) or > (high first)", text=text),
        )
    try:
        layout = struct.Struct(text)
    except (struct.error, UnicodeEncodeError) as error:
        table.refuse(
            "layout",
            say(
                "is {text!r}, not the notation of Python's struct module: {error}",
                text=text,
                error=error,
            ),
        )
    if layout.size + checksum_size > LONGEST_MESSAGE:
        table.refuse(
            "layout", say("is longer than {longest_message} bytes", longest_message=LONGEST_MESSAGE)
        )

    fields = table.values("fields", str, needed=True)
    items = layout.unpack(b"\xff" * layout.size)
    if len(fields) != len(items):
        table.refuse(
            "fields",
            say(
                "names {fields}, but the layout {text!r} has {items}",
                fields=len(fields),
                text=text,
                items=len(items),
            ),
        )
    _refuse_odd_fields(table, fields, items)
    return layout, tuple(str(name) for name in fields), table.number("scale_mm", above=0.0)


def _registers(table: ProfileTable) -> Registers:
    device = table.whole("device", 1, DEVICES.start, DEVICES.stop - 1)
    kind = table.choice("registers", ("holding", "input"), "holding")
    first = table.whole("first", None, 0, 65535)
    words = table.choice("word_order", ("high first", "low first"), "high first")
    text = table.text("layout")
    order = register_order(text, words == "low first")
    if order is None:
        table.refuse(
            "layout",
            say(
                "is {text!r}; registers are > and h, H, i, I, l, L, q, Q, f, d, at most "
                "{most_registers} of 16 bits",
                text=text,
                most_registers=MOST_REGISTERS,
            ),
        )
    if first + len(order) > 65536:
        table.refuse("first", say("is {first}; there is no register above 65535", first=first))
    return Registers(
        device=device,
        kind="input" if kind == "input" else "holding",
        first=first,
        count=len(order),
        order=order,
    )


def serial_line(
    table: ProfileTable | None, framing: str, registers: Registers | None
) -> SerialLine:
    """Return how the serial line is run, from the table [serial] where there is one."""
    table = table or ProfileTable("", "serial.", {})
    asks = framing == "modbus"
    table.allow(
        "baud",
        "data_bits",
        "parity",
        "stop_bits",
        "dtr",
        "rts",
        *(("line_end",) if framing == "line" else ()),
        *(() if asks else ("ask",)),
        "ask_every_ms",
        "answer_within_ms",
    )
    request = registers.request() if registers else table.octets("ask", _LONGEST_QUESTION)
    if request is None:
        for key in ("ask_every_ms", "answer_within_ms"):
            if key in table:
                table.refuse(
                    key, say("says how a rod is asked, but `serial.ask` does not say with what")
                )
        asking = None
    else:
        asking = Asking(
            request=request,
            every_s=table.number("ask_every_ms", 200.0, between=_ASK_EVERY_MS) / 1000.0,
            within_s=table.number("answer_within_ms", 500.0, between=_ANSWER_WITHIN_MS) / 1000.0,
        )
    parity = table.choice("parity", get_args(Parity), "none")
    stop_bits = table.number("stop_bits", 1.0)
    if stop_bits not in (1.0, 1.5, 2.0):
        table.refuse(
            "stop_bits",
            say("is {stop_bits}; allowed: 1, 1.5, 2", stop_bits=numeral(stop_bits, "g")),
        )
    return SerialLine(
        baud=table.whole("baud", None, 1, _FASTEST_BAUD) if "baud" in table else None,
        data_bits=table.whole("data_bits", 8, 5, 8),
        parity=cast(Parity, parity),
        stop_bits=stop_bits,
        dtr=table.flag("dtr") if "dtr" in table else None,
        rts=table.flag("rts") if "rts" in table else None,
        line_end=table.octets("line_end", _LONGEST_LINE_END),
        asking=asking,
    )


def _refuse_odd_fields(
    table: ProfileTable, fields: tuple[str, ...], items: tuple[object, ...]
) -> None:
    for name in ("seq", "status", "value"):
        count = fields.count(name)
        if count > 1 or (name == "value" and count == 0):
            table.refuse(
                "fields", say("must name {name!r} once, not {count} times", name=name, count=count)
            )
        allowed = (int, float) if name == "value" else (int,)
        item = items[fields.index(name)] if count else 0
        if type(item) not in allowed:
            table.refuse(
                "layout",
                say("makes {name!r} something else than a number", name=name)
                if name == "value"
                else say("makes {name!r} something else than a whole number", name=name),
            )
        if name == "seq" and isinstance(item, int) and item < 0:
            table.refuse(
                "layout", say("makes 'seq' a signed number; a count is one of B, H, I, L, Q")
            )
