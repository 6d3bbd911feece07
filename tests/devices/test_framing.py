import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.devices.framing import LineFramer, PacketFramer


def cut(data: bytes, places: list[int]) -> list[bytes]:
    ends = sorted({place % (len(data) + 1) for place in places} | {0, len(data)})
    return [data[a:b] for a, b in itertools.pairwise(ends)]


def fed(framer: LineFramer | PacketFramer, chunks: list[bytes]) -> list[bytes]:
    return [message for chunk in chunks for message in framer.feed(chunk)]


@pytest.mark.parametrize("end", [b"\r", b"\n", b"\r\n"])
def test_every_line_end_ends_a_line(end: bytes) -> None:
    assert LineFramer().feed(b"12.5" + end + b"13" + end + b"14") == [b"12.5", b"13"]


def test_a_line_comes_out_when_its_end_has_come_even_between_cr_and_lf() -> None:
    framer = LineFramer()
    assert framer.feed(b"12") == []
    assert framer.feed(b".5\r") == [b"12.5"]
    assert framer.feed(b"\n13\n") == [b"13"]
    assert framer.feed(b"") == []


def test_empty_lines_are_passed_over() -> None:
    assert LineFramer().feed(b"\r\n\r\n\n7\r\r8\n") == [b"7", b"8"]


def test_a_line_without_end_is_given_up_once_and_the_next_is_found() -> None:
    framer = LineFramer(max_length=8)
    assert framer.feed(b"1234567") == []
    assert framer.feed(b"8") == [b"12345678"]
    assert framer.feed(b"9" * 1000) == []
    assert framer.feed(b"9\n42\n") == [b"42"]
    assert framer.overlong == 1


def test_too_long_lines_inside_one_chunk_are_cut_and_counted() -> None:
    framer = LineFramer(max_length=4)
    assert framer.feed(b"abcdef\n123\nabcd\n1\n") == [b"abcd", b"123", b"abcd", b"1"]
    assert framer.overlong == 2


def test_memory_stays_bounded_on_a_stream_without_line_end() -> None:
    framer = LineFramer(max_length=64)
    for _ in range(1000):
        framer.feed(b"\x00\xff" * 50)
    assert len(framer._rest) < 64


def test_skipping_drops_up_to_the_next_line_end() -> None:
    framer = LineFramer()
    framer.feed(b"9")
    framer.skip_to_line_end()
    assert framer.feed(b"34.5") == []
    assert framer.feed(b"6\r\n1234.5\r\n") == [b"1234.5"]


@given(st.binary(max_size=200), st.lists(st.integers(0, 200)), st.integers(1, 12))
def test_lines_do_not_depend_on_how_bytes_are_cut(
    data: bytes, places: list[int], max_length: int
) -> None:
    whole, pieces = LineFramer(max_length), LineFramer(max_length)
    assert fed(pieces, cut(data, places)) == whole.feed(data)
    assert pieces.overlong == whole.overlong


@given(st.lists(st.binary(min_size=1, max_size=9).filter(lambda b: not set(b) & {10, 13})))
def test_whole_lines_come_out_as_they_went_in(lines: list[bytes]) -> None:
    assert LineFramer().feed(b"".join(line + b"\r\n" for line in lines)) == lines


def is_odd(packet: bytes) -> bool:
    return packet[0] == 0xAA and packet[2] == 0x55


def test_packets_without_a_test_are_cut_by_size() -> None:
    framer = PacketFramer(3)
    assert fed(framer, [b"ab", b"cdef", b"g"]) == [b"abc", b"def"]
    assert framer.flush() == [b"g"]
    assert framer.feed(b"xyz") == [b"xyz"]


def test_packets_are_found_again_after_noise_which_is_kept() -> None:
    framer = PacketFramer(3, is_odd)
    assert framer.feed(b"\xaa1\x55??\xaa2\x55") == [b"\xaa1\x55", b"??", b"\xaa2\x55"]


@given(st.lists(st.sampled_from([b"\xaa", b"\x55", b"1"])), st.lists(st.integers(0, 200)))
def test_packets_do_not_depend_on_how_bytes_are_cut_and_no_byte_is_lost(
    parts: list[bytes], places: list[int]
) -> None:
    data = b"".join(parts)
    whole, pieces = PacketFramer(3, is_odd), PacketFramer(3, is_odd)
    found = whole.feed(data)
    assert fed(pieces, cut(data, places)) == found
    left = whole.flush()
    assert b"".join(found + left) == data
    assert all(not (len(piece) == 3 and is_odd(piece)) for piece in left)
