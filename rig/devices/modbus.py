"""Modbus RTU receivers: the question that reads their registers, and the answers to it.

The frames are pymodbus's work (Modbus Application Protocol V1.1b3, Modbus over Serial Line V1.02);
it is loaded when a profile asks for it.
"""

import re
import struct
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from rig.errors import BadInput
from rig.language import say

if TYPE_CHECKING:
    from pymodbus.framer import FramerRTU
    from pymodbus.pdu import ModbusPDU

# Modbus over Serial Line V1.02, 2.2 and 2.5.1: addresses of devices, and the largest frame.
DEVICES = range(1, 248)
LARGEST_FRAME = 256
# Modbus Application Protocol V1.1b3, 6.3: registers in one answer.
MOST_REGISTERS = 125

_LAYOUT = re.compile(r"> ?(?:\d{0,3}[hHiIlLqQfd] ?)+")
_ITEM = re.compile(r"(\d*)([a-zA-Z])")

# Modbus Application Protocol V1.1b3, 7: what a device says when it refuses.
_REFUSALS = {
    1: say("it does not know this function"),
    2: say("it has no such register"),
    3: say("it does not take this count of registers"),
    4: say("it failed"),
    6: say("it is busy"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Registers:
    """Which registers of which device hold a reading.

    Attributes
    ----------
    order : tuple of int
        Place of each register in the layout, as `register_order` gives it.
    """

    device: int
    kind: Literal["holding", "input"]
    first: int
    count: int
    order: tuple[int, ...]

    def request(self) -> bytes:
        """Return the frame that asks for them.

        Raises
        ------
        BadInput
            The library is not installed.
        """
        return _library().buildFrame(_question(self))


def register_order(layout: str, low_word_first: bool) -> tuple[int, ...] | None:
    """Return which register stands at each place of a layout, None where it is not of registers.

    Parameters
    ----------
    layout : str
        In the notation of Python's struct module.
    low_word_first : bool
        Numbers of several registers have their lowest first.
    """
    if not _LAYOUT.fullmatch(layout):
        return None
    order: list[int] = []
    for count, letter in _ITEM.findall(layout):
        for _ in range(int(count or 1)):
            words = range(len(order), len(order) + struct.calcsize(f">{letter}") // 2)
            order += reversed(words) if low_word_first else words
            if len(order) > MOST_REGISTERS:
                return None
    return tuple(order)


class ModbusFramer:
    """Answers of one device, found in a stream of bytes."""

    def __init__(self, registers: Registers) -> None:
        self._request = registers.request()
        self._library = _library()
        self._rest = b""

    def feed(self, data: bytes) -> list[bytes]:
        """Take the next bytes; return the frames, and pieces of junk, that they complete."""
        buffer = self._rest + data
        found = []
        # Adapters of two-wire lines may let one hear oneself.
        if buffer.startswith(self._request):
            buffer = buffer.removeprefix(self._request)
        while buffer and not self._request.startswith(buffer):
            used, _ = _handle(self._library, buffer)
            if not used:
                break
            found.append(buffer[:used])
            buffer = buffer[used:]
        if len(buffer) > LARGEST_FRAME:
            found.append(buffer[:LARGEST_FRAME])
            buffer = buffer[LARGEST_FRAME:]
        self._rest = buffer
        return found

    def flush(self) -> list[bytes]:
        """Give up half a frame: nothing more of it will come. Return it as junk."""
        left, self._rest = self._rest, b""
        return [left] if left else []

    def reset(self) -> None:
        """Forget half a frame."""
        self._rest = b""


def registers_of(frame: bytes, registers: Registers) -> tuple[bytes, str | None]:
    """Return the bytes of an answer's registers, in the layout's order, and its problem."""
    used, answer = _handle(_library(), frame)
    if answer is None:
        return b"", "checksum" if used else say("half an answer")
    if answer.dev_id != registers.device:
        return b"", say("answer of device {dev_id}", dev_id=answer.dev_id)
    if answer.isError():
        code = answer.exception_code
        why = _REFUSALS.get(code) or say("exception {code}", code=code)
        return b"", say("the device refuses: {get}", get=why)
    words = answer.registers
    if answer.function_code != _question(registers).function_code or len(words) != registers.count:
        return b"", say("not an answer to what was asked")
    ordered = [words[at] for at in registers.order]
    return struct.pack(f">{len(ordered)}H", *ordered), None


def _question(registers: Registers) -> "ModbusPDU":
    from pymodbus.pdu.register_message import (
        ReadHoldingRegistersRequest,
        ReadInputRegistersRequest,
    )

    request = {"holding": ReadHoldingRegistersRequest, "input": ReadInputRegistersRequest}
    return request[registers.kind](
        dev_id=registers.device, address=registers.first, count=registers.count
    )


def _handle(library: "FramerRTU", data: bytes) -> tuple[int, "ModbusPDU | None"]:
    from pymodbus.exceptions import ModbusException

    if len(data) < library.MIN_SIZE:
        return 0, None
    try:
        return library.handleFrame(data, 0, 0)
    except (ModbusException, struct.error, IndexError, ValueError):
        return len(data), None


def _library() -> "FramerRTU":
    try:
        from pymodbus.framer import FramerRTU
        from pymodbus.pdu import DecodePDU
    except ImportError:
        raise BadInput(
            say(
                "Modbus rods are read by the library pymodbus, which is not installed: pip "
                "install pymodbus."
            )
        ) from None
    return FramerRTU(DecodePDU(is_server=False))
