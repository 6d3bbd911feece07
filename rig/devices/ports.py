"""The serial ports that the system has, the names that stay theirs, and what is plugged into them.

pyserial is imported when a port is looked for.
"""

import os
from dataclasses import dataclass, field
from pathlib import Path

from rig.record import OMITTED, Record

# Where Linux (udev) keeps a name for each adapter that stays when it is plugged in elsewhere.
LASTING_NAMES = Path("/dev/serial/by-id")


@dataclass(frozen=True, slots=True, kw_only=True)
class Port(Record):
    """A serial port: `url` opens it, `text` is what the system says of it.

    `lasting` opens it, too, and stays the adapter's own, where the system has such a name.
    """

    url: str
    text: str
    lasting: str | None = field(default=None, metadata=OMITTED)


@dataclass(frozen=True, slots=True)
class Adapter:
    """What is plugged in at a port: maker's and product's numbers, and its own."""

    vid: int
    pid: int
    serial_number: str | None


def list_ports() -> list[Port]:
    """Return the serial ports that are there now."""
    from serial.tools import list_ports as tools

    found = []
    for port in sorted(tools.comports(), key=lambda port: port.device):
        known = port.description not in (None, "", "n/a")
        text = port.description if known else ""
        found.append(Port(url=port.device, text=text, lasting=lasting_name(port.device)))
    return found


def lasting_name(url: str) -> str | None:
    """Return the name under ``/dev/serial/by-id`` of the port with this name."""
    try:
        links = sorted(LASTING_NAMES.iterdir())
    except OSError:
        return None
    target = os.path.realpath(url)
    return next((str(link) for link in links if os.path.realpath(link) == target), None)


def adapter_at(url: str) -> Adapter | None:
    """Return what is plugged in at a port, None where the system does not tell."""
    from serial.tools import list_ports as tools

    target = os.path.realpath(url)
    for port in tools.comports():
        if port.device in (url, target) and port.vid is not None and port.pid is not None:
            return Adapter(port.vid, port.pid, port.serial_number)
    return None
