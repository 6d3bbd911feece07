"""Of a pour."""

from dataclasses import dataclass
from typing import ClassVar

from rig.events.told import Told


@dataclass(frozen=True, slots=True, kw_only=True)
class NextBatch(Told):
    """Which batch comes next, and where it goes."""

    event: ClassVar[str] = "next"
    n: int
    strip: int
    x_mm: float
    y_mm: float
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Poured(Told):
    """A batch is on the floor.

    `front_should` is the strip in which the front should be by now.
    """

    event: ClassVar[str] = "batch"
    n: int
    strip: int
    bags: float
    bags_used: float
    bags_left: float
    front_should: int
    time_s: float
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FrontAt(Told):
    """The front was told; `markers` are ticked as covered."""

    event: ClassVar[str] = "front"
    strip: int
    share: float
    markers: tuple[str, ...]
    time_s: float
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate(Told):
    """Yield and need as they look now; `short_bags` is 0 where the bags reach at even odds."""

    event: ClassVar[str] = "estimate"
    yield_l: float
    yield_stderr_l: float
    need_bags: float
    need_p95_bags: float
    bags_left: float
    chance_enough: float
    short_bags: int
    stop_at_strip: int | None
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Edges(Told):
    """Age of the wet edge in each strip that has one open."""

    event: ClassVar[str] = "edges"
    strips: tuple[int, ...]
    ages_s: tuple[float, ...]
    left_s: float
    time_s: float
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Edge(Told):
    """An edge is near its end (`soon`), will be by the present pace (`pace`), or is past it."""

    event: ClassVar[str] = "edge"
    level: str
    strip: int
    age_s: float
    left_s: float
    time_s: float
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Dry(Told):
    """Markers behind the front that nobody has ticked as covered."""

    event: ClassVar[str] = "dry"
    markers: tuple[str, ...]
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Prepour(Told):
    """The list before the pour: what is not ticked yet."""

    event: ClassVar[str] = "prepour"
    left: tuple[str, ...]
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Ticked(Told):
    """A step of the list is done."""

    event: ClassVar[str] = "ticked"
    step: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Resumed(Told):
    """The log goes on where an earlier session of this pour ended, by the true clock."""

    event: ClassVar[str] = "resumed"
    batches: int
    strip: int
    since_s: float
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class AskPour(Told):
    """Only the person can tell: y or accept says yes, doing nothing says no."""

    event: ClassVar[str] = "ask"
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PourDone(Told):
    """The pour is over: what went in, what is covered, what was never ticked."""

    event: ClassVar[str] = "done"
    batches: int
    bags_used: float
    bags_left: float
    share: float
    yield_l: float
    yield_stderr_l: float
    interval_s: float | None
    left: tuple[str, ...]
    unticked: tuple[str, ...]
    text: str


PourEvent = (
    NextBatch
    | Poured
    | FrontAt
    | Estimate
    | Edges
    | Edge
    | Dry
    | Prepour
    | Ticked
    | Resumed
    | AskPour
    | PourDone
)
