import itertools
import struct
from dataclasses import replace
from functools import reduce

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from rig.devices.decoder import Decoder
from rig.devices.profile import Profile, load_profile, parse_profile, shipped_profiles, with_clamp
from rig.devices.reading import Reading
from rig.errors import BadInput

SENTENCE = load_profile("sentence")
PROFILES = [
    with_clamp(p, 900.0) if p.needs_clamp else p for p in map(load_profile, shipped_profiles())
]


def sentence(seq: int, value: str = "1234.5", unit: str = "mm", status: str = "V") -> bytes:
    body = f"U0HGT,{seq},{value},{unit},{status}"
    return f"${body}*{reduce(lambda total, c: total ^ ord(c), body, 0):02X}\r\n".encode()


def decode(data: bytes, profile: Profile = SENTENCE) -> list[Reading]:
    return Decoder(profile).feed(data, 1.0, 2.0)


def said(readings: list[Reading]) -> list[tuple[float | str | None, ...]]:
    return [(r.status, r.value_mm, r.seq, r.missed, r.problem) for r in readings]


def test_a_sentence_is_a_reading() -> None:
    raw = sentence(7).decode().strip()
    assert decode(sentence(7)) == [Reading(1.0, 2.0, raw, "valid", 1234.5, 7, 0, None)]


def test_a_sentence_worked_out_by_hand_is_taken() -> None:
    # U0HGT: 55^30^48^47^54 = 3E; 7: 3E^37 = 09; 5: 09^35 = 3C; V: 3C^56 = 6A (hex). The four
    # commas and the two m cancel out.
    assert said(decode(b"$U0HGT,7,5,mm,V*6A\r\n")) == [("valid", 5.0, 7, 0, None)]


def test_inches_are_turned_into_millimetres() -> None:
    (reading,) = decode(sentence(1, "2.25", "in"))
    assert reading.value_mm == pytest.approx(57.15, abs=1e-9)  # 1 in = 25.4 mm exactly


@pytest.mark.parametrize(
    ("value", "status", "expected"),
    [
        ("", "N", ("no_beam", None)),
        ("12.5", "N", ("no_beam", None)),
        ("", "B", ("button", None)),
        ("12.5", "B", ("button", 12.5)),
        ("12.5", "L", ("low_battery", 12.5)),
        ("", "L", ("low_battery", None)),
    ],
)
def test_each_status_has_its_word_and_carries_its_value(
    value: str, status: str, expected: tuple[str, float | None]
) -> None:
    (reading,) = decode(sentence(1, value, "mm", status))
    assert (reading.status, reading.value_mm) == expected


@pytest.mark.parametrize(
    ("line", "problem"),
    [
        (sentence(1).replace(b"1234.5", b"1244.5"), "checksum"),
        (b"$U0HGT,1,1234.5,mm,V\r\n", "no checksum"),
        (b"U0HGT,1,1234.5,mm,V*00\r\n", "no checksum"),
        (b"1234.5\r\n", "no checksum"),
        (sentence(1, "", "mm", "V"), "no value"),
        (sentence(1, ".", "mm", "V"), "value is not a number"),
        (sentence(1, "1.2.3", "mm", "B"), "value is not a number"),
        (sentence(1, "9" * 400, "mm", "V"), "value is not a number"),
        (sentence(1, "1234.5", "cm"), "not understood"),
        (sentence(1, "1234.5", "mm", "X"), "not understood"),
        (sentence(65536), "seq is not a count from 0 to 65535"),
    ],
)
def test_what_cannot_be_used_is_bad_keeps_its_message_and_says_why(
    line: bytes, problem: str
) -> None:
    (reading,) = decode(line)
    assert (reading.status, reading.value_mm, reading.problem) == ("bad", None, problem)
    assert reading.raw == line.decode("latin-1").strip()


def test_a_bad_checksum_is_counted_and_its_sequence_number_not_trusted() -> None:
    decoder = Decoder(SENTENCE)
    data = sentence(1) + sentence(2).replace(b"1234.5", b"1235.5") + sentence(3)
    assert said(decoder.feed(data, 0.0, 0.0)) == [
        ("valid", 1234.5, 1, 0, None),
        ("bad", None, None, 0, "checksum"),
        ("valid", 1234.5, 3, 1, None),
    ]
    assert (decoder.bad, decoder.missed) == (1, 1)


def test_a_checksum_in_lower_case_is_taken() -> None:
    whole = next(s for s in map(sentence, range(300)) if s[-5:] != s[-5:].lower())
    assert decode(whole[:-5] + whole[-5:].lower())[0].status == "valid"


@pytest.mark.parametrize("noise", [b"\xff\xfe", b"\x00\x00", b"$U0HGT,3,12", b"$", b"*00"])
def test_a_sentence_after_noise_on_its_line_is_found(noise: bytes) -> None:
    (reading,) = decode(noise + sentence(4))
    assert (reading.status, reading.value_mm, reading.seq) == ("valid", 1234.5, 4)
    assert reading.raw == (noise + sentence(4)).decode("latin-1").strip()
    assert Decoder(SENTENCE).decode_raw(reading.raw, 1.0, 2.0) == reading


def counts(*seqs: int, decoder: Decoder | None = None) -> list[int | str]:
    decoder = decoder or Decoder(SENTENCE)
    readings = decoder.feed(b"".join(map(sentence, seqs)), 0.0, 0.0)
    return [r.problem or r.missed for r in readings]


def test_gaps_are_counted_over_the_wrap_too() -> None:
    assert counts(5, 6, 9, 10) == [0, 0, 2, 0]
    assert counts(65534, 65535, 0, 1) == [0, 0, 0, 0]
    assert counts(65535, 3) == [0, 3]
    assert counts(10, 5000) == [0, 4989]
    assert counts(65534, 65535, 65536)[2] == "seq is not a count from 0 to 65535"


def test_a_message_that_comes_twice_or_late_is_not_used() -> None:
    assert counts(5, 5, 6) == [0, "duplicate", 0]
    assert counts(5, 7, 6, 8) == [0, 1, "out of order", 0]
    assert counts(2, 65535, 3) == [0, "out of order", 0]


def test_a_device_that_began_anew_has_missed_nothing() -> None:
    assert counts(40000, 0, 1) == [0, 0, 0]
    assert counts(5000, 1, 2) == [0, 0, 0]
    late = "out of order"
    assert counts(500, 0, 1, 2, 3) == [0, late, late, 0, 0]
    assert counts(10, 7, 11, 8, 12, 9) == [0, late, 0, late, 0, late]


def test_after_a_reset_nothing_joins_and_nothing_was_missed() -> None:
    decoder = Decoder(SENTENCE)
    whole = sentence(5)
    assert decoder.feed(sentence(1) + whole[:10], 0.0, 0.0)[0].seq == 1
    decoder.reset()
    assert decoder.feed(whole[10:], 5.0, 5.0)[0].problem == "no checksum"
    assert counts(9, decoder=decoder) == [0]
    decoder.reset()
    assert counts(9, decoder=decoder) == [0]
    assert decoder.missed == 0


def test_a_too_long_line_shows_once_in_the_log() -> None:
    decoder = Decoder(SENTENCE)
    readings = decoder.feed(b"\x80" * 1000, 0.0, 0.0) + decoder.feed(
        b"\r\n" + sentence(1), 0.0, 0.0
    )
    assert [r.problem for r in readings] == ["too long", None]
    assert readings[0].raw == "\x80" * 512
    assert Decoder(SENTENCE).decode_raw(readings[0].raw, 0.0, 0.0) == readings[0]


def test_a_number_cut_off_by_the_longest_length_is_not_read() -> None:
    # 512 bytes of a longer line that would be a number if they were all of it.
    (reading,) = decode(b" " * 510 + b"1234.5\n", load_profile("decimal-mm"))
    assert (reading.status, reading.problem) == ("bad", "too long")


@pytest.mark.parametrize(
    ("profile", "line", "value_mm"),
    [
        ("decimal-mm", b"1234.5", 1234.5),
        ("decimal-mm", b"  +57. ", 57.0),
        ("decimal-mm", b"-.5", -0.5),
        ("decimal-in", b"2.25", 57.15),
    ],
)
def test_bare_numbers(profile: str, line: bytes, value_mm: float) -> None:
    (reading,) = decode(line + b"\r\n", load_profile(profile))
    assert reading.value_mm == pytest.approx(value_mm, abs=1e-9)
    assert reading.status == "valid"


@pytest.mark.parametrize("line", [b"12,5", b"1 3", b"12.5mm", b"nan", b"1e3", b"1_0", b"--5", b"."])
def test_what_is_no_bare_number_is_bad(line: bytes) -> None:
    assert decode(line + b"\n", load_profile("decimal-mm"))[0].problem == "not understood"


def test_dashes_are_no_beam() -> None:
    assert decode(b"---\n", load_profile("decimal-in"))[0].status == "no_beam"


def test_a_clamped_receiver_reads_clamp_height_plus_offset() -> None:
    profile = load_profile("offset-mm")
    with pytest.raises(BadInput, match="--clamp"):
        Decoder(profile)
    readings = decode(b"+12.5\r\n-3\r\n", with_clamp(profile, 914.4))
    assert [r.value_mm for r in readings] == pytest.approx([926.9, 911.4])


def own(toml: str, name: str = "mine") -> Profile:
    return parse_profile('text = "mine"\n' + toml, name)


def test_sign_and_zero_offset_are_applied() -> None:
    profile = own(
        "framing='line'\nunit='cm'\nsign=-1\nzero_offset_mm=100.0\n[line]\npattern='(?P<value>.*)'"
    )
    assert decode(b"2.5\n", profile)[0].value_mm == pytest.approx(75.0)
    assert [r.problem for r in decode(b"inf\nnan\n1e999\nx\n", profile)] == [
        "value is not a number"
    ] * 4


def test_a_checked_sentence_of_ones_own_pattern_refuses_what_is_no_number() -> None:
    profile = own(r"""framing='line'
checksum='xor'
[line]
pattern='\$(?P<seq>\d+),(?P<value>.*),(?P<unit>\w*),(?P<status>.?)'""")
    bodies = [
        "1,2.5,in,V",
        "2,nan,mm,V",
        "3,1e999,mm,V",
        "4,7,,",
        "5,7,ell,V",
        "6,8,MM,V",
        "7,,mm,V",
    ]
    lines = [f"${b}*{reduce(lambda t, c: t ^ ord(c), b, 0):02X}\n".encode() for b in bodies]
    assert [r.value_mm for r in decode(lines[0] + lines[3], replace(profile, unit="cm"))] == [
        pytest.approx(63.5),
        pytest.approx(70.0),
    ]
    assert [r.problem for r in decode(b"".join(lines), profile)] == [
        None,
        "value is not a number",
        "value is not a number",
        None,
        "unit ell is not known",
        None,
        "no value",
    ]


def test_the_pattern_must_take_the_whole_line() -> None:
    profile = own(r"""framing='line'
unit='mm'
[line]
pattern='R=(?P<value>\d+)'""")
    assert [r.problem for r in decode(b"R=12\nR=12.5\nxR=12\n", profile)] == [
        None,
        "not understood",
        "not understood",
    ]


def test_groups_may_be_missing_or_stay_empty() -> None:
    profile = own(r"""framing='line'
unit='in'
no_beam=['?']
[line]
pattern='(?P<value>[\d.]+)?(?P<unit>\w+)?(?P<status>[?!])?(#(?P<seq>\d+))?'""")
    readings = decode(b"1\n1mm\n1MM\n1ell\n1!\n?\n#5\n1#6\n1#8\n", profile)
    assert said(readings) == [
        ("valid", 25.4, None, 0, None),
        ("valid", 1.0, None, 0, None),
        ("valid", 1.0, None, 0, None),
        ("bad", None, None, 0, "unit ell is not known"),
        ("valid", 25.4, None, 0, None),
        ("no_beam", None, None, 0, None),
        ("bad", None, 5, 0, "no value"),
        ("valid", 25.4, 6, 0, None),
        ("valid", 25.4, 8, 1, None),
    ]


def test_a_status_that_no_list_has_is_bad_where_valid_ones_are_listed() -> None:
    toml = "framing='line'\nunit='mm'\n[line]\npattern='(?P<value>.*),(?P<status>.)'"
    assert decode(b"1,X\n", own(toml))[0].status == "valid"
    assert decode(b"1,X\n", own("valid=['V']\n" + toml))[0].problem == "status X is not known"
    assert decode(b"1,V\n", own("valid=['V']\n" + toml))[0].status == "valid"


GATT = load_profile("gatt-rod")


def packet(seq: int, status: int = 0, height_um: int = 1_234_500) -> bytes:
    return struct.pack("<HBBiI", seq, status, 0, height_um, 10)


def test_packets_of_the_bluetooth_rod() -> None:
    data = packet(1) + packet(2, 1) + packet(4, 2) + packet(5, 3, -2_000)
    assert said(decode(data, GATT)) == [
        ("valid", 1234.5, 1, 0, None),
        ("no_beam", None, 2, 0, None),
        ("button", 1234.5, 4, 1, None),
        ("low_battery", -2.0, 5, 0, None),
    ]
    assert decode(packet(1), GATT)[0].raw == packet(1).hex()


def test_a_height_is_the_same_number_to_the_last_bit_over_both_links() -> None:
    # 50300 µm were 50.300000000000004 mm once, and what sat on a limit depended on the link.
    for tenths in range(0, 20_000, 7):
        (text,) = decode(sentence(1, f"{tenths / 10:.1f}"))
        (number,) = decode(packet(1, height_um=tenths * 100), GATT)
        assert number.value_mm == text.value_mm


def test_a_notification_of_another_length_or_status_is_bad() -> None:
    decoder = Decoder(GATT)
    assert decoder.message(packet(1)[:-1], 0.0, 0.0).problem == "11 bytes where 12 make a packet"
    assert decoder.message(packet(1, 9), 0.0, 0.0).problem == "status 9 is not known"
    assert decoder.decode_raw("zz", 0.0, 0.0).problem == "not a message of this profile"


def test_half_a_packet_does_not_join_what_comes_after_a_pause() -> None:
    decoder = Decoder(GATT)
    assert decoder.feed(packet(1)[5:], 0.0, 0.0) == []
    first, second = decoder.feed(packet(2), 0.1, 0.1)
    assert (first.status, second.value_mm, second.seq) == ("bad", 1234.5, 2)


CRC = own("""framing='packet'
checksum='crc16'
[packet]
layout='>BHf'
fields=['seq', '_', 'value']
scale_mm=1.0""")


def crc_packet(seq: int, value: float = 12.5) -> bytes:
    body = struct.pack(">BHf", seq, 0, value)
    crc = 0xFFFF  # bit by bit, as the Modbus over serial line guide describes it
    for byte in body:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ (0xA001 if crc & 1 else 0)
    return body + crc.to_bytes(2, "little")


def test_packets_with_a_crc_are_found_in_noise() -> None:
    data = b"\x01\x02\x03" + crc_packet(7) + b"\xff" + crc_packet(8) + crc_packet(9, float("nan"))
    readings = decode(data, CRC)
    assert said(readings)[1::2] == [("valid", 12.5, 7, 0, None), ("valid", 12.5, 8, 0, None)]
    assert [r.raw for r in readings[::2]] == ["010203", "ff", crc_packet(9, float("nan")).hex()]
    assert readings[4].problem == "value is not a number"


def test_a_small_count_wraps_where_its_field_does() -> None:
    data = b"".join(map(crc_packet, (254, 255, 0, 2, 1, 200, 10)))
    assert [r.problem or r.missed for r in decode(data, CRC)] == [
        0,
        0,
        0,
        1,
        "out of order",
        "out of order",
        7,
    ]


def test_a_wrong_crc_is_named() -> None:
    assert Decoder(CRC).message(b"\x00" * 9, 0.0, 0.0).problem == "checksum"


def test_what_follows_opening_at_once_may_be_the_end_of_a_number() -> None:
    decoder = Decoder(load_profile("decimal-mm"))
    decoder.reset(opened_s=10.0)
    readings = decoder.feed(b"34.5\r\n1234.5\r\n", 10.02, 0.0)
    assert [r.value_mm for r in readings] == [1234.5]


def test_what_follows_opening_after_a_pause_is_a_whole_line() -> None:
    decoder = Decoder(load_profile("decimal-mm"))
    decoder.reset(opened_s=10.0)
    assert [r.value_mm for r in decoder.feed(b"1234.5\r\n", 10.2, 0.0)] == [1234.5]


def test_a_checksum_makes_dropping_needless() -> None:
    decoder = Decoder(SENTENCE)
    decoder.reset(opened_s=10.0)
    assert decoder.feed(sentence(1), 10.0, 0.0)[0].status == "valid"


def test_a_reading_cannot_be_changed() -> None:
    (reading,) = decode(sentence(1))
    with pytest.raises(AttributeError):
        setattr(reading, "value_mm", 0.0)  # noqa: B010


@pytest.mark.parametrize("profile", PROFILES, ids=lambda p: p.key)
@given(data=st.binary(max_size=700), places=st.lists(st.integers(0, 700), max_size=20))
@example(data=b"$*00\r\n*00\r\n$\r\n", places=[])
def test_noise_never_raises_and_chunks_do_not_matter(
    profile: Profile, data: bytes, places: list[int]
) -> None:
    whole, pieces = Decoder(profile), Decoder(profile)
    ends = sorted({place % (len(data) + 1) for place in places} | {0, len(data)})
    found = whole.feed(data, 1.0, 2.0)
    assert found == [
        r for a, b in itertools.pairwise(ends) for r in pieces.feed(data[a:b], 1.0, 2.0)
    ]
    for reading in found:
        if reading.status == "valid":
            assert reading.value_mm is not None
        if reading.status == "bad":
            assert reading.problem
    assert whole.bad == sum(r.status == "bad" for r in found)


sentences = st.builds(
    sentence,
    st.one_of(st.integers(0, 12), st.integers(65530, 65540)),
    st.sampled_from(["1234.5", "", ".", "+3", "-0.25", "9" * 30, "9" * 400]),
    st.sampled_from(["mm", "in", "ft"]),
    st.sampled_from("VNBLX"),
)


@given(st.lists(st.one_of(sentences, st.binary(max_size=40).map(lambda b: b + b"\n"))))
def test_stored_messages_replay_to_the_same_readings(lines: list[bytes]) -> None:
    live, stored = Decoder(SENTENCE), Decoder(SENTENCE)
    readings = live.feed(b"".join(lines), 1.0, 2.0)
    assert [stored.decode_raw(r.raw, 1.0, 2.0) for r in readings] == readings
    assert (stored.bad, stored.missed) == (live.bad, live.missed)


def test_a_count_beyond_all_counting_is_bad_and_ends_nothing() -> None:
    body = "U0HGT,99999999999999999999999,1300.0,mm,V"
    check = 0
    for byte in body.encode():
        check ^= byte
    decoder = Decoder(load_profile("sentence"))
    (reading,) = decoder.feed(f"${body}*{check:02X}\r\n".encode(), 0.0, 0.0)
    assert reading.status == "bad"
    assert reading.seq is None or reading.seq < 2**63
