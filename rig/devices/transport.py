"""What every way of reaching a device offers."""

from collections.abc import Sequence
from typing import Protocol

from rig.errors import DeviceUnavailable


class TransportLost(DeviceUnavailable):
    """A device that was there is gone. The message is the reason, in plain words."""


class Transport(Protocol):
    """A device's bytes.

    It may be opened again after it was closed, and closed more than once or without having been
    opened.

    Attributes
    ----------
    whole_messages : bool
        Each read is one message, as the device sent it, rather than a piece of a stream.
    battery_percent : int or None
        What the device told last of its battery, where it tells it beside its readings.
    other_device : str
        What to do where something else answers in the device's place.
    offered : str or None
        The port that `wait` offered, until it is taken.
    """

    whole_messages: bool
    battery_percent: int | None
    other_device: str
    offered: str | None

    @property
    def dropped_bytes(self) -> int:
        """What came faster than it could be taken since it was opened, and was let go."""

    async def open(self) -> None:
        """Reach the device, or raise `DeviceUnavailable` in words that a user can act on."""

    async def read(self) -> bytes:
        """Wait for bytes and return them, at least one; raise `TransportLost` when it is gone."""

    async def close(self) -> None:
        """Let go of the device."""

    async def wait(self, longest_s: float) -> Sequence[str]:
        """Wait before opening again: at most so long, less where the device shows itself.

        Returns what the user should know of where the device went.
        """

    def take_offer(self) -> None:
        """Go on with the device that `wait` offered in the place of the one that is gone."""
