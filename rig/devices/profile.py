"""Device profiles: a TOML file that says how a rod's bytes become readings.

A profile is checked whole before any port is opened, and refused with the key at fault, so that
the decoder can trust it.
"""

import math
import re
import struct
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Literal, NoReturn

from rig.devices.framing import LONGEST_MESSAGE
from rig.devices.pattern import BadPattern, LinePattern
from rig.errors import BadInput
from rig.texts import MOST_TOML_BYTES, parse_toml, read_text

# The foot and the inch are exact: international yard and pound agreement, 1959 (NIST SP 811).
MM_PER_UNIT = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, "ft": 304.8}

# Levelling staffs are made up to 5 m (common practice, no source).
LONGEST_ROD_MM = 5000.0

_FOLDER = Path(__file__).parent / "profiles"
_STATUS_LISTS = ("valid", "no_beam", "button", "low_battery")
_UUID = re.compile(r"[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}")


@dataclass(frozen=True)
class Profile:
    """How one kind of device speaks; the keys of the TOML file, checked.

    `key` is a shipped profile's name or the path of a file, `text_toml` the TOML text itself.
    `pattern` is there for lines; `layout` (a compiled struct), `fields` and `scale_mm` for
    packets, whose `layout` does not cover the checksum. `valid` lists the values of `status` that
    mean a plain reading; where it is empty, all that the other three lists don't name do.
    `shortest_mm` and `longest_mm` are what it can read: beyond, the user is told. `clamp_mm` is
    how high a receiver is clamped on its rod (`with_clamp`).
    """

    key: str
    text_toml: str
    text: str
    framing: Literal["line", "packet"]
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


def shipped_profiles() -> dict[str, str]:
    """Return the key of every profile that comes with the program, and its line for people."""
    return {key: parse_profile(toml, key).text for key, toml in _shipped().items()}


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
            f"There is no device profile {name!r}. "
            f"Give one of {', '.join(shipped)}, or the path of a TOML file."
        )
    text = read_text(path, "a profile is a TOML file", MOST_TOML_BYTES)
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
    data = parse_toml(toml_text, f"The profile {name}")
    top = _Table(name, "", data)
    framing = top.choice("framing", ("line", "packet"))
    top.allow(
        "text",
        "framing",
        "checksum",
        "unit",
        "sign",
        "zero_offset_mm",
        *_STATUS_LISTS,
        "resolution_mm",
        "foot_mm",
        "shortest_mm",
        "longest_mm",
        "needs_clamp",
        framing,
        "ble",
    )
    lists = _status_lists(top, framing)
    checksums = {"line": ("none", "xor"), "packet": ("none", "crc16")}[framing]
    checksum = top.choice("checksum", checksums, "none", f" for {framing} framing")

    pattern, layout, scale_mm = None, None, 1.0
    fields: tuple[str, ...] = ()
    if framing == "line":
        pattern = _pattern(top.table("line"))
        names: Iterable[str] = pattern.names
        if "unit" not in names:
            top.needs("unit", "because the pattern has no group `unit`")
    else:
        layout, fields, scale_mm = _packet(top.table("packet"), 2 if checksum == "crc16" else 0)
        names = fields
    if "status" not in names and any(lists.values()):
        key = next(key for key, values in lists.items() if values)
        where = "the pattern has no group" if framing == "line" else "`packet.fields` has no"
        top.refuse(key, f"lists values of `status`, but {where} `status`")

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
            f"The profile {profile.key} reads from the rod's foot and takes no clamp height."
        )
    if not (math.isfinite(clamp_mm) and clamp_mm > 0):
        raise BadInput(f"A clamp height of {clamp_mm:g} mm is not possible; it is above 0.")
    return replace(profile, clamp_mm=clamp_mm)


def _shipped() -> dict[str, str]:
    return {path.stem: path.read_text("utf-8") for path in sorted(_FOLDER.glob("*.toml"))}


def _status_lists(top: "_Table", framing: str) -> dict[str, tuple[str | int, ...]]:
    kind = str if framing == "line" else int
    lists = {key: top.values(key, kind) for key in _STATUS_LISTS}
    seen: dict[str | int, str] = {}
    for key, values in lists.items():
        for value in values:
            if value in seen:
                top.refuse(key, f"lists {value!r}, which `{seen[value]}` lists already")
            seen[value] = key
    return lists


def _pattern(table: "_Table") -> LinePattern:
    table.allow("pattern")
    try:
        pattern = LinePattern(table.text("pattern"))
    except BadPattern as error:
        table.refuse("pattern", str(error))
    if "value" not in pattern.names:
        table.refuse(
            "pattern",
            "has no group (?P<value>...); groups with a meaning: seq, value, unit, status",
        )
    return pattern


def _packet(table: "_Table", checksum_size: int) -> tuple[struct.Struct, tuple[str, ...], float]:
    table.allow("layout", "fields", "scale_mm")
    text = table.text("layout")
    if text[:1] not in ("<", ">", "!"):
        table.refuse("layout", f"is {text!r}; begin it with < (low byte first) or > (high first)")
    try:
        layout = struct.Struct(text)
    except (struct.error, UnicodeEncodeError) as error:
        table.refuse("layout", f"is {text!r}, not the notation of Python's struct module: {error}")
    if layout.size + checksum_size > LONGEST_MESSAGE:
        table.refuse("layout", f"is longer than {LONGEST_MESSAGE} bytes")

    fields = table.values("fields", str, needed=True)
    items = layout.unpack(b"\xff" * layout.size)
    if len(fields) != len(items):
        table.refuse("fields", f"names {len(fields)}, but the layout {text!r} has {len(items)}")
    _refuse_odd_fields(table, fields, items)
    return layout, tuple(str(name) for name in fields), table.number("scale_mm", above=0.0)


def _refuse_odd_fields(table: "_Table", fields: tuple[str, ...], items: tuple[object, ...]) -> None:
    for name in ("seq", "status", "value"):
        count = fields.count(name)
        if count > 1 or (name == "value" and count == 0):
            table.refuse("fields", f"must name {name!r} once, not {count} times")
        allowed = (int, float) if name == "value" else (int,)
        item = items[fields.index(name)] if count else 0
        if type(item) not in allowed:
            kind = "a number" if name == "value" else "a whole number"
            table.refuse("layout", f"makes {name!r} something else than {kind}")
        if name == "seq" and isinstance(item, int) and item < 0:
            table.refuse("layout", "makes 'seq' a signed number; a count is one of B, H, I, L, Q")


class _Table:
    """One TOML table, whose getters refuse what is wrong by name."""

    def __init__(self, profile: str, prefix: str, data: Mapping[str, object]) -> None:
        self._profile = profile
        self._prefix = prefix
        self._data = data

    def refuse(self, key: str, what: str) -> NoReturn:
        raise BadInput(f"The profile {self._profile} is wrong: `{self._prefix}{key}` {what}.")

    def allow(self, *keys: str) -> None:
        for key in self._data:
            if key not in keys:
                self.refuse(key, f"is not known here; allowed are {', '.join(keys)}")

    def needs(self, key: str, why: str) -> None:
        if key not in self._data:
            self.refuse(key, f"is missing; it is needed {why}")

    def table(self, key: str) -> "_Table":
        if key not in self._data:
            self.refuse(key, f"is missing: add a table [{key}]")
        inner = self._data[key]
        if not isinstance(inner, dict):
            self.refuse(key, f"must be a table [{key}]")
        return _Table(self._profile, f"{self._prefix}{key}.", inner)

    def text(self, key: str) -> str:
        value = self._get(key, str, "text in quotes")
        if not value:
            self.refuse(key, "is empty")
        return str(value)

    def choice(
        self, key: str, allowed: tuple[str, ...], default: str | None = None, where: str = ""
    ) -> str:
        if default is not None and key not in self._data:
            return default
        value = self._get(key, str, "one of " + ", ".join(allowed))
        if value not in allowed:
            self.refuse(key, f"is {value!r}; allowed{where}: {', '.join(allowed)}")
        return str(value)

    def number(
        self,
        key: str,
        default: float | None = None,
        above: float = -math.inf,
        least: float = -math.inf,
    ) -> float:
        if default is not None and key not in self._data:
            return default
        value = float(self._get(key, (int, float), "a number"))
        if not (math.isfinite(value) and value > above and value >= least):
            bound = f" above {above:g}" if above > -math.inf else ""
            bound += f" of at least {least:g}" if least > -math.inf else ""
            self.refuse(key, f"is {value:g}; it must be a finite number{bound}")
        return value

    def sign(self, key: str) -> int:
        value = self._data.get(key, 1)
        if type(value) is not int or value not in (1, -1):
            self.refuse(key, f"is {value!r}; allowed: 1, -1")
        return value

    def flag(self, key: str) -> bool:
        return bool(self._get(key, bool, "true or false")) if key in self._data else False

    def values(self, key: str, kind: type, needed: bool = False) -> tuple[Any, ...]:
        if not needed and key not in self._data:
            return ()
        allowed = "a list of text" if kind is str else "a list of whole numbers"
        values = self._get(key, list, allowed)
        if any(type(value) is not kind for value in values):
            self.refuse(key, f"must be {allowed}")
        return tuple(values)

    def uuid(self, key: str) -> str:
        value = self.text(key).lower()
        if not _UUID.fullmatch(value):
            self.refuse(key, f"is {value!r}; it must be a 128-bit UUID, 8-4-4-4-12 hex digits")
        return value

    def _get(self, key: str, kind: type | tuple[type, ...], allowed: str) -> Any:
        if key not in self._data:
            self.refuse(key, f"is missing; it must be {allowed}")
        value = self._data[key]
        if not isinstance(value, kind) or (isinstance(value, bool) and kind is not bool):
            self.refuse(key, f"is {value!r}; it must be {allowed}")
        return value
