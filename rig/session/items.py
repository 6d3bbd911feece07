"""What comes into a live session, and the log that it is kept in with what came of it."""

import contextlib
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rig.devices.reading import Back, Battery, Lost, Notice, Reading
from rig.events import AskTyped, Event

if TYPE_CHECKING:
    from rig.devices.typed import TypedUnit


PORT = "port"
"""The act that goes on with a port that was offered; the link hears of it, and nobody else."""


@dataclass(frozen=True, slots=True)
class Act:
    """Something the installer did: a key, a button on the page, a typed word."""

    time_s: float
    utc_s: float
    name: str
    argument: str | None = None


@dataclass(frozen=True, slots=True)
class Typed:
    """A reading typed by hand; it stands for a whole still window."""

    reading: Reading
    stderr_mm: float

    @property
    def time_s(self) -> float:
        """When it was typed."""
        return self.reading.time_s


@dataclass(frozen=True, slots=True)
class Question:
    """What typed readings leave open; it holds nothing up."""

    time_s: float
    utc_s: float
    asks: AskTyped


@dataclass(frozen=True, slots=True)
class Settled:
    """The unit of what is typed is known from now on."""

    time_s: float
    utc_s: float
    unit: "TypedUnit"


@dataclass(frozen=True, slots=True)
class End:
    """The source is exhausted; deadlines up to its time may still fire."""

    time_s: float


Item = Reading | Typed | Act | Lost | Back | Battery | Notice | Question | Settled | End


class Log:
    """Where items and what came of them are made durable; this one keeps nothing.

    `rig.session.writer` calls it, from one thread, in the order in which things came; only `holds`
    is asked elsewhere.
    """

    def begin(self) -> None:
        """Hear that the session begins, its source reached."""

    def item(self, item: Item) -> None:
        """Keep one item as it came."""

    def holds(self, item: Item | None, events: Iterable[Event]) -> bool:
        """Tell whether nobody may hear what came of an item before that is kept."""
        return False

    def keep(self, *events: Event) -> None:
        """Make durable what came of the last item, with it as one change; return when it is."""

    def together(self) -> contextlib.AbstractContextManager[None]:
        """Make one change of all that is kept in the block."""
        return contextlib.nullcontext()

    def news(self, last: bool = False) -> Iterable[Event]:
        """Return what was found out beside the session; with `last` all that still will be."""
        return ()

    def flush(self) -> None:
        """Commit what waits."""
