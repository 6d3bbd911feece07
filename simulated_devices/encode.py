"""A sample turned into the bytes of a message, for each kind of rod.

Written from the description of the messages alone, so that it can judge a parser written from the
same description.
"""

import struct
from collections.abc import Callable
from functools import reduce

from simulated_devices import Refused
from simulated_devices.rod import Sample

MM_PER_IN = 25.4
NO_BEAM = b"---\r\n"  # of the rods that send bare numbers
PROFILES = ("sentence", "decimal-mm", "decimal-in", "offset-mm", "gatt-rod")
STATUS_BYTES = {"V": 0, "N": 1, "B": 2, "L": 3}

Encoder = Callable[[Sample], bytes]


def encoder(
    profile: str, *, unit: str = "mm", resolution_mm: float = 0.1, clamp_mm: float = 0.0
) -> Encoder:
    """Return the function that writes one sample down as `profile` says.

    Parameters
    ----------
    profile : str
        One of `PROFILES`.
    unit : {'mm', 'in'}
        What `sentence` sends; the others have their own.
    resolution_mm : float
        One step of the display: how many digits are written.
    clamp_mm : float
        Height of the clamp of `offset-mm`, which sends the distance from it.
    """
    if profile == "sentence":
        digits = digits_for(resolution_mm, unit)
        return lambda sample: sentence(sample, unit, digits)
    if profile in ("decimal-mm", "decimal-in"):
        unit = profile[-2:]
        digits = digits_for(resolution_mm, unit)
        return lambda sample: decimal(sample, unit, digits)
    if profile == "offset-mm":
        digits = digits_for(resolution_mm, "mm")
        return lambda sample: offset(sample, clamp_mm, digits)
    if profile == "gatt-rod":
        return packet
    raise Refused(f"There is no profile '{profile}' here; there are {', '.join(PROFILES)}.")


def xor_checksum(text: str) -> str:
    """Exclusive or of the characters between `$` and `*`, two upper-case hex digits (NMEA 0183)."""
    return f"{reduce(lambda total, byte: total ^ byte, text.encode('ascii'), 0):02X}"


def sentence(sample: Sample, unit: str = "mm", digits: int = 1) -> bytes:
    """`$U0HGT,<seq>,<value>,<unit>,<status>*hh` and CR LF; no value where there is no beam."""
    body = f"U0HGT,{sample.seq},{_number(sample.value_mm, unit, digits)},{unit},{sample.status}"
    return f"${body}*{xor_checksum(body)}\r\n".encode("ascii")


def decimal(sample: Sample, unit: str, digits: int = 1) -> bytes:
    """Write a bare number on a line; `---` where there is no beam."""
    if sample.value_mm is None:
        return NO_BEAM
    return f"{_number(sample.value_mm, unit, digits)}\r\n".encode("ascii")


def offset(sample: Sample, clamp_mm: float, digits: int = 1) -> bytes:
    """Write the signed distance from on-grade, mm: reading less clamp height; else `---`."""
    if sample.value_mm is None:
        return NO_BEAM
    away = round(sample.value_mm - clamp_mm, digits) + 0.0  # no "-0.0"
    return f"{away:+.{digits}f}\r\n".encode("ascii")


def packet(sample: Sample) -> bytes:
    """Write twelve bytes, low byte first: count, status, reserved, height in µm, clock in ms."""
    height_um = 0 if sample.value_mm is None else round(1000.0 * sample.value_mm)
    clock_ms = int(1000.0 * sample.clock_s) % 2**32
    status = STATUS_BYTES[sample.status]
    return struct.pack("<HBBiI", sample.seq % 65536, status, 0, height_um, clock_ms)


def digits_for(resolution_mm: float, unit: str) -> int:
    """Decimals that show one step of `resolution_mm` whole, four at most."""
    step = resolution_mm / MM_PER_IN if unit == "in" else resolution_mm
    for digits in range(4):
        steps = step * 10**digits
        if steps >= 1 - 1e-9 and abs(steps - round(steps)) < 1e-6:
            return digits
    return 4


def _number(value_mm: float | None, unit: str, digits: int) -> str:
    if value_mm is None:
        return ""
    return f"{value_mm / MM_PER_IN if unit == 'in' else value_mm:.{digits}f}"
