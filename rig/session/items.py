"""What comes into a live session, and the log that it is kept in with what came of it."""

import contextlib
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rig.devices.reading import Back, Battery, Lost, Notice, Reading
from rig.events import AskTyped, Event
from rig.language import say_many

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


@dataclass(frozen=True, slots=True)
class Missing:
    """So many messages of a rod did not arrive: readings end here, others begin."""

    time_s: float
    utc_s: float
    n: int

    @property
    def reason(self) -> str:
        """For the log, where it is a lost link like another."""
        return say_many("{count} message did not arrive", "{count} messages did not arrive", self.n)


@dataclass(frozen=True, slots=True)
class Late:
    """A message that came too late to be of use; it is kept, and nothing is made of it."""

    time_s: float
    utc_s: float
    raw: str


@dataclass(frozen=True, slots=True)
class Clocked:
    """How the clock of a rod's box stands."""

    time_s: float
    utc_s: float
    offset_s: float
    doubt_s: float


_One = (
    Reading
    | Typed
    | Act
    | Lost
    | Back
    | Battery
    | Notice
    | Question
    | Settled
    | End
    | Missing
    | Late
    | Clocked
)


@dataclass(frozen=True, slots=True)
class FromRod:
    """What came of one of several rods; `box_s` is its box's own time."""

    rod: str
    item: _One
    box_s: float | None = None

    @property
    def time_s(self) -> float:
        """When it was, in the session's time."""
        return self.item.time_s


Item = _One | FromRod


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
