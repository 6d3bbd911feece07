"""The checksums that rods use, and what a message is without its own.

Sentences carry the exclusive or of their characters as NMEA 0183 has it; packets the CRC-16 of
Modbus over serial line.
"""

from functools import reduce
from operator import xor

# How a sentence ends, by its checksum.
_SENTENCE_TAILS = [b"*%02X" % value for value in range(256)]


def xor8(data: bytes) -> int:
    """Exclusive or of all bytes."""
    return reduce(xor, data, 0)


def crc16_modbus(data: bytes) -> int:
    """CRC-16 with the reflected polynomial 0xA001 and start value 0xFFFF (Modbus over serial)."""
    crc = 0xFFFF
    for byte in data:
        crc = (crc >> 8) ^ _CRC_TABLE[(crc ^ byte) & 0xFF]
    return crc


def is_sentence(line: bytes) -> bool:
    """Whether a line is ``$``, characters, ``*`` and the two hex digits of their exclusive or."""
    return line[:1] == b"$" and line[-3:].upper() == _SENTENCE_TAILS[xor8(line[1:-3])]


def has_crc16(packet: bytes) -> bool:
    """Whether the last two bytes are the Modbus CRC of those before, low byte first."""
    return len(packet) > 2 and crc16_modbus(packet[:-2]) == int.from_bytes(packet[-2:], "little")


def _crc_entry(value: int) -> int:
    for _ in range(8):
        value = (value >> 1) ^ (0xA001 if value & 1 else 0)
    return value


_CRC_TABLE = [_crc_entry(value) for value in range(256)]
