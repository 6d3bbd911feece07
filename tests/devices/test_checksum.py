from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from rig.devices.checksum import crc16_modbus, has_crc16, is_sentence, xor8

# Widely published example sentence of NMEA 0183.
GGA = b"$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47"


def test_xor_of_the_published_sentence() -> None:
    assert xor8(GGA[1:-3]) == 0x47
    assert is_sentence(GGA)


def test_one_wrong_character_is_found() -> None:
    assert not is_sentence(GGA.replace(b"545.4", b"546.4"))
    assert not is_sentence(GGA[:-1])
    assert not is_sentence(GGA[1:])


def test_hex_digits_of_either_case_are_taken() -> None:
    assert is_sentence(b"$J\x05*4F")
    assert is_sentence(b"$J\x05*4f")


def test_what_int_would_take_is_no_checksum() -> None:
    assert not is_sentence(b"$\x05*+5")
    assert not is_sentence(b"$\x05* 5")
    assert is_sentence(b"$\x05*05")


def test_scraps_are_no_sentences() -> None:
    for line in (b"", b"$", b"*", b"$*", b"*00", b"$00", b"00"):
        assert not is_sentence(line)


@given(st.binary(max_size=600))
def test_each_bit_of_the_exclusive_or_is_the_parity_of_that_bit(data: Any) -> None:
    for bit in range(8):
        assert xor8(data) >> bit & 1 == sum(byte >> bit & 1 for byte in data) % 2


def test_crc_of_the_catalogue() -> None:
    # Catalogue of parametrised CRC algorithms: CRC-16/MODBUS, check value of "123456789".
    assert crc16_modbus(b"123456789") == 0x4B37
    assert has_crc16(b"123456789\x37\x4b")
    assert not has_crc16(b"123456789\x4b\x37")
    assert not has_crc16(b"\xff\xff")
