import re
import struct
import uuid
from pathlib import Path

import pytest

from rig.devices.profile import load_profile, parse_profile, shipped_profiles, with_clamp
from rig.errors import BadInput

LINE = """
text = "a rod"
framing = "line"
unit = "mm"
button = ["B"]
[line]
pattern = '(?P<value>.*),(?P<status>.)'
"""
PACKET = """
text = "a rod"
framing = "packet"
checksum = "crc16"
button = [2]
[packet]
layout = "<HBBiI"
fields = ["seq", "status", "_", "value", "device_ms"]
scale_mm = 0.001
"""
BLE = """
[ble]
service = "0D7C9E0E-7C4B-4D3C-9B1A-2F6E5D4C3B2A"
value = "0d7c9e0f-7c4b-4d3c-9b1a-2f6e5d4c3b2a"
"""


def test_the_shipped_profiles_are_there_each_with_its_line_for_people() -> None:
    shipped = shipped_profiles()
    assert set(shipped) == {"decimal-mm", "decimal-in", "sentence", "offset-mm", "gatt-rod"}
    for key, text in shipped.items():
        profile = load_profile(key)
        assert profile.key == key
        assert profile.text == text
        assert "\n" not in text
        assert parse_profile(profile.text_toml, key) == profile


def test_the_sentence_profile_takes_the_documented_pattern() -> None:
    profile = load_profile("sentence")
    assert profile.checksum == "xor"
    assert profile.pattern is not None
    assert profile.pattern.fields("$U0HGT,65535,-12.5,mm,V")
    assert not profile.pattern.fields("$U0HGT,65535,12.5,cm,V")


def test_gatt_rod_is_twelve_bytes_with_random_uuids_of_its_own() -> None:
    profile = load_profile("gatt-rod")
    assert profile.layout is not None
    assert profile.layout.size == struct.calcsize("<HBBiI") == 12
    service, value = uuid.UUID(profile.ble_service), uuid.UUID(profile.ble_value)
    assert service.version == value.version == 4
    assert service != value


def test_defaults_are_what_the_documentation_says() -> None:
    profile = parse_profile(LINE, "mine")
    assert (profile.checksum, profile.sign, profile.zero_offset_mm) == ("none", 1, 0.0)
    assert (profile.resolution_mm, profile.foot_mm) == (0.1, 0.1)
    assert not profile.needs_clamp
    assert parse_profile(PACKET + BLE, "mine").ble_service == "0d7c9e0e-7c4b-4d3c-9b1a-2f6e5d4c3b2a"


def test_a_profile_of_ones_own_is_read_from_its_path(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(LINE, "utf-8-sig")
    assert load_profile(path).key == str(path)


def without(toml: str, key: str) -> str:
    return re.sub(rf"(?m)^{key} = .*\n", "", toml)


def changed(toml: str, key: str, value: str) -> str:
    text, count = re.subn(rf"(?m)^{key} = .*$", lambda _: f"{key} = {value}", toml)
    return text if count else f"{key} = {value}\n{toml}"


WRONG = [
    ("text =", "not valid TOML", ""),
    (changed(LINE, "colour", "1"), "`colour`", "allowed are text, framing"),
    (without(LINE, "text"), "`text`", "missing"),
    (changed(LINE, "text", '""'), "`text`", "empty"),
    (changed(LINE, "text", "3"), "`text`", "text in quotes"),
    (without(LINE, "framing"), "`framing`", "one of line, packet"),
    (changed(LINE, "framing", '"slip"'), "`framing`", "allowed: line, packet"),
    (changed(LINE, "framing", '"packet"'), "`line`", "not known here"),
    (changed(LINE, "checksum", '"crc16"'), "`checksum`", "allowed for line framing: none, xor"),
    (changed(PACKET, "checksum", '"xor"'), "`checksum`", "allowed for packet framing: none, crc16"),
    (changed(LINE, "unit", '"furlong"'), "`unit`", "mm, cm, m, in, ft"),
    (without(LINE, "unit"), "`unit`", "no group `unit`"),
    (changed(LINE, "sign", "2"), "`sign`", "1, -1"),
    (changed(LINE, "sign", "1.0"), "`sign`", "1, -1"),
    (changed(LINE, "sign", "true"), "`sign`", "1, -1"),
    (changed(LINE, "zero_offset_mm", '"2"'), "`zero_offset_mm`", "a number"),
    (changed(LINE, "zero_offset_mm", "true"), "`zero_offset_mm`", "a number"),
    (changed(LINE, "zero_offset_mm", "nan"), "`zero_offset_mm`", "finite"),
    (changed(LINE, "resolution_mm", "0"), "`resolution_mm`", "above 0"),
    (changed(LINE, "foot_mm", "-0.1"), "`foot_mm`", "at least 0"),
    (changed(LINE, "needs_clamp", "1"), "`needs_clamp`", "true or false"),
    (changed(LINE, "button", "[2]"), "`button`", "a list of text"),
    (changed(LINE, "button", '"B"'), "`button`", "a list of text"),
    (changed(PACKET, "button", '["B"]'), "`button`", "a list of whole numbers"),
    (changed(PACKET, "button", "[true]"), "`button`", "a list of whole numbers"),
    (changed(LINE, "low_battery", '["B"]'), "`low_battery`", "`button` lists already"),
    (LINE.replace("[line]", "[lines]"), "`lines`", "not known here"),
    (LINE.split("[line]")[0], "`line`", "add a table [line]"),
    ("line = 3\n" + LINE.split("[line]")[0], "`line`", "must be a table"),
    (changed(LINE, "pattern", "'(?P<value>'"), "`line.pattern`", "not a regular expression"),
    (changed(LINE, "pattern", r"'(?P<value>\d+)(?=,)'"), "`line.pattern`", "RE2"),
    (changed(LINE, "pattern", "'(?P<valeu>.*)(?P<status>.)'"), "`line.pattern`", "(?P<value>...)"),
    (changed(LINE, "pattern", "'(?P<value>.*)'"), "`button`", "no group `status`"),
    (LINE + "flags = 1", "`line.flags`", "allowed are pattern"),
    (PACKET.split("[packet]")[0], "`packet`", "add a table [packet]"),
    (changed(PACKET, "layout", '"HBBiI"'), "`packet.layout`", "begin it with <"),
    (changed(PACKET, "layout", '"<HBBiy"'), "`packet.layout`", "struct module"),
    (changed(PACKET, "layout", '"<HBB600si"'), "`packet.layout`", "longer than 512"),
    (changed(PACKET, "layout", '"<HBBi"'), "`packet.fields`", "5, but the layout '<HBBi' has 4"),
    (changed(PACKET, "layout", '"<HBB4sI"'), "`packet.layout`", "'value' something else"),
    (changed(PACKET, "layout", '"<HcBiI"'), "`packet.layout`", "'status' something else"),
    (changed(PACKET, "layout", '"<hBBiI"'), "`packet.layout`", "signed"),
    (
        changed(PACKET, "fields", '["seq", "status", "_", "_", "_"]'),
        "`packet.fields`",
        "'value' once, not 0 times",
    ),
    (
        changed(PACKET, "fields", '["seq", "seq", "status", "value", "_"]'),
        "`packet.fields`",
        "'seq' once, not 2 times",
    ),
    (changed(PACKET, "fields", '["seq", "_", "_", "value", "_"]'), "`button`", "no"),
    (changed(PACKET, "scale_mm", "0"), "`packet.scale_mm`", "above 0"),
    (without(PACKET, "scale_mm"), "`packet.scale_mm`", "missing"),
    (without(PACKET + BLE, "service"), "`ble.service`", "missing"),
    (changed(PACKET + BLE, "value", '"2a19"'), "`ble.value`", "128-bit UUID"),
    (PACKET + BLE + "name = 1", "`ble.name`", "allowed are service, value"),
]


@pytest.mark.parametrize(("toml", "key", "allowed"), WRONG)
def test_a_wrong_profile_is_refused_with_the_key_at_fault(
    toml: str, key: str, allowed: str
) -> None:
    with pytest.raises(BadInput) as caught:
        parse_profile(toml, "mine.toml")
    assert "mine.toml" in str(caught.value)
    assert key in str(caught.value)
    assert allowed in str(caught.value)


def test_a_file_that_is_none_is_refused_in_plain_words(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match=r"no device profile 'rod'.*decimal-mm.*path"):
        load_profile("rod")
    (tmp_path / "picture.toml").write_bytes(b"\xff\xd8")
    with pytest.raises(BadInput, match=r"picture\.toml is no text file"):
        load_profile(tmp_path / "picture.toml")
    with pytest.raises(BadInput, match="cannot be read"):
        load_profile(tmp_path)


def test_the_clamp_height_is_kept_with_the_profile() -> None:
    assert with_clamp(load_profile("offset-mm"), 914.4).clamp_mm == 914.4
    with pytest.raises(BadInput, match="takes no clamp"):
        with_clamp(load_profile("sentence"), 914.4)
    for height in (0.0, -1.0, float("nan")):
        with pytest.raises(BadInput, match="clamp height"):
            with_clamp(load_profile("offset-mm"), height)
