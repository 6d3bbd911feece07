"""Of the rod and its link, of the page, and what is found out beside a session."""

from dataclasses import dataclass, field
from typing import ClassVar

from rig.events.told import RodState, Told
from rig.record import OMITTED, Record


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard(Told):
    """A message of the rod, whatever is made of it; `missed` messages before it never came."""

    event: ClassVar[str] = "reading"
    time_s: float
    value_mm: float | None
    status: str
    missed: int | None = field(default=None, metadata=OMITTED)
    problem: str | None = field(default=None, metadata=OMITTED)


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing(Told):
    """How the machine sees the rod: told when that changes, at most some times a second.

    Attributes
    ----------
    state : {"no_beam", "settling", "swinging", "moving", "unsteady", "still"}
    armed : bool
        A rod that is still will be taken; else it has to be carried on first.
    still : float
        How far it is from still, 0 to 1, which is still.
    swings, swings_of : int or None
        Where the rod is waved through plumb: swings seen, and how many it takes.
    """

    event: ClassVar[str] = "stand"
    time_s: float
    state: RodState
    armed: bool
    still: float
    swings: int | None = field(default=None, metadata=OMITTED)
    swings_of: int | None = field(default=None, metadata=OMITTED)


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkLost(Told):
    """The rod went away."""

    event: ClassVar[str] = "lost"
    time_s: float
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkBack(Told):
    """The rod is there again."""

    event: ClassVar[str] = "back"
    time_s: float
    gap_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Noticed(Told):
    """Something that a person should know and need not act upon.

    `port` came in the place of the rod's, and is gone on with where the act `port` says so.
    """

    event: ClassVar[str] = "notice"
    time_s: float | None = field(default=None, metadata=OMITTED)
    text: str
    port: str | None = field(default=None, metadata=OMITTED)


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubtful(Told):
    """A shot that its neighbours contradict: it lies `off_mm` over what they say."""

    event: ClassVar[str] = "doubtful"
    label: str
    off_mm: float
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class HighSoFar(Record):
    """Where the floor is highest as far as it is shot, and how high it may be at most."""

    x_mm: float
    y_mm: float
    z_mm: float
    upper_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CoverSoFar(Record):
    """Cover of a level plane over the floor as far as it is shot."""

    min: float
    mean: float
    max: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture(Told):
    """The floor so far, after the shot of a label."""

    event: ClassVar[str] = "picture"
    label: str
    shots: int
    high: HighSoFar
    cover_mm: CoverSoFar
    volume_l: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Serving(Told):
    """The page is there."""

    event: ClassVar[str] = "serving"
    url: str


LinkEvent = Heard | Standing | LinkLost | LinkBack | Noticed | Doubtful | Picture | Serving
