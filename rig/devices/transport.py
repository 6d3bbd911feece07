"""What every way of reaching a device offers."""

from typing import Protocol

from rig.errors import DeviceUnavailable


class TransportLost(DeviceUnavailable):
    """A device that was there is gone. The message is the reason, in plain words."""


class Transport(Protocol):
    """A device's bytes.

    It may be opened again after it was closed, and closed more than once or without having been
    opened.
    """

    async def open(self) -> None:
        """Reach the device, or raise `DeviceUnavailable` in words that a user can act on."""

    async def read(self) -> bytes:
        """Wait for bytes and return them, at least one; raise `TransportLost` when it is gone."""

    async def close(self) -> None:
        """Let go of the device."""
