"""Keeps what a rod says in a trace, and decides nothing: a machine and a log at once."""

from collections.abc import Iterable

from rig.devices.reading import Back, Battery, Lost, Reading
from rig.devices.trace import TraceWriter
from rig.events import Event
from rig.session.items import Item, Log


class Keeper(Log):
    """A machine that only ends, and a log that only writes the trace."""

    def __init__(self, writer: TraceWriter) -> None:
        self._writer = writer
        self.finished = False  # Ctrl-C or --seconds ends it, nothing that the rod says
        self.messages = 0
        self.bad = 0

    def start(self, time_s: float) -> tuple[()]:
        """Nothing comes first."""
        return ()

    def reading(self, reading: Reading) -> tuple[()]:
        """Make nothing of it."""
        return ()

    def typed(self, value_mm: float, stderr_mm: float, time_s: float) -> tuple[()]:
        """Make nothing of it."""
        return ()

    lost = back = tick = start

    def act(self, name: str, time_s: float, argument: str | None = None) -> tuple[()]:
        """Do nothing."""
        return ()

    def holds(self, item: Item | None, events: Iterable[Event]) -> bool:
        """Each message is written as it comes."""
        return item is not None

    def item(self, item: Item) -> None:
        """Write a message, or what happened to the link."""
        match item:
            case Reading():
                self._writer.write(item.time_s, item.raw)
                self.messages += 1
                self.bad += item.status == "bad"
            case Lost() | Back() | Battery():
                self._writer.link(item)
