"""What a page shows, in named sections: records that are sent as they are when they change."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from rig.record import OMITTED, Record, to_json
from rig.room import Outline
from rig.session.beam import LINK_LOST

Spot = tuple[int, int]
"""x, y in whole millimetres."""


@dataclass(frozen=True, slots=True, kw_only=True)
class JobShown(Record):
    """Which face of the page, what is being done, which acts the page may do, and what reads."""

    screen: str
    title: str
    units: str
    acts: tuple[str, ...] = ()
    practice: bool = False
    tape: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class StripArea(Record):
    """A strip of a pour: its rings, its batches, and where its number is in nobody's way."""

    strip: int
    batches: tuple[int, ...]
    rings: tuple[tuple[Spot, ...], ...]
    x: int
    y: int


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanShown(Record):
    """Walls, openings, doors by both ends, and the strips of a pour."""

    walls: tuple[Spot, ...]
    openings: tuple[tuple[Spot, ...], ...] = ()
    doors: tuple[tuple[int, int, int, int], ...] = ()
    strips: tuple[StripArea, ...] | None = field(default=None, metadata=OMITTED)


@dataclass(frozen=True, slots=True, kw_only=True)
class Place(Record):
    """A point, marker or batch; `state` is todo, done, skipped or doubt."""

    label: str
    x: float
    y: float
    state: str = "todo"
    area: float | None = field(default=None, metadata=OMITTED)


@dataclass(frozen=True, slots=True, kw_only=True)
class Now(Record):
    """The big line: what to do now; `stale` says why it may be untrue."""

    mode: str
    text: str
    move: str = ""
    amount: str = ""
    label: str = ""
    where: str = ""
    stale: str = ""

    @property
    def shown(self) -> str:
        """What stands in the big line: a stale prompt never."""
        taken_back = self.mode in ("prompt", "wait") or self.stale == LINK_LOST
        if self.stale and taken_back and self.mode not in ("batch", "done"):
            return self.stale
        return self.text

    def as_json(self) -> dict[str, Any]:
        """Return it with what is shown."""
        return {**super(Now, self).as_json(), "shown": self.shown}


@dataclass(frozen=True, slots=True, kw_only=True)
class Measure(Record):
    """How far from a wall: the foot on the wall, and the distance in words."""

    x: int
    y: int
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Here(Record):
    """The place to go to, and how to find it."""

    label: str
    x: float | None
    y: float | None
    measures: tuple[Measure, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Rod(Record):
    """What the rod reads, how it stands, and how far from still (0 to 1)."""

    shown: str = ""
    state: str = ""
    still: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Note(Record):
    """A sentence to read; `level` is say or warn."""

    text: str
    level: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Text(Record):
    """A sentence that stands alone: a question, or the last word."""

    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Count(Record):
    """How many places are done."""

    done: int = 0
    of: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class SoFar(Record):
    """The floor so far in words, and where it is highest."""

    text: str
    x: int
    y: int


@dataclass(frozen=True, slots=True, kw_only=True)
class StripShown(Record):
    """A strip by its number, and the markers in it."""

    strip: int
    markers: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class EdgeShown(Record):
    """Age of a strip's wet edge."""

    strip: int
    age_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PourShown(Record):
    """How a pour stands."""

    batches: int
    poured: int = 0
    next: int = 1
    strip: int
    strips: tuple[StripShown, ...]
    front: int = 0
    dry: tuple[str, ...] = ()
    should: int = 0
    bags_used: float = 0.0
    bags_left: float
    edges: tuple[EdgeShown, ...] = ()
    left_s: float | None = None
    working_s: float
    estimate: str = ""
    short: int = 0
    unticked: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Cue(Record):
    """What is said and sounded once."""

    n: int
    say: str
    tone: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Hand(Record):
    """Where a trainee has the rod, and whether it is carried or stands."""

    x: float
    y: float
    does: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Typing(Record):
    """Readings are typed: in which unit, or between which it is to be chosen."""

    unit: str = ""
    choices: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Home(Record):
    """Where the job's own pages are."""

    href: str
    text: str
    over: bool = False


@dataclass(kw_only=True)
class Sections:
    """All that a page shows."""

    job: JobShown
    plan: PlanShown
    places: tuple[Place, ...] = ()
    now: Now = field(default_factory=lambda: Now(mode="wait", text=""))
    here: Here | None = None
    rod: Rod = field(default_factory=Rod)
    last: str = ""
    notes: tuple[Note, ...] = ()
    ask: Text | None = None
    count: Count = field(default_factory=Count)
    sofar: SoFar | None = None
    pour: PourShown | None = None
    cues: tuple[Cue, ...] = ()
    score: tuple[Record, ...] | None = None
    hand: Hand | None = None
    ended: Text | None = None
    typing: Typing | None = None
    home: Home | None = None

    def told(self, names: Iterable[str]) -> dict[str, Any]:
        """Return the named sections as they are sent."""
        every = vars(self)
        return {
            name: told.as_json() if isinstance(told, Record) else to_json(told)
            for name, told in every.items()
            if name in names
        }

    @property
    def names(self) -> set[str]:
        """Names of all of them."""
        return set(vars(self))


def plan_of(outline: Outline) -> PlanShown:
    """Coordinates of walls, openings and doors, in whole millimetres."""
    return PlanShown(
        walls=ring(outline.walls),
        openings=tuple(ring(opening) for opening in outline.openings),
        doors=tuple(
            (round(door.x_mm), round(door.y_mm), round(door.end_x_mm), round(door.end_y_mm))
            for door in outline.doors
        ),
    )


def ring(corners: Iterable[tuple[float, ...]]) -> tuple[Spot, ...]:
    """Round the corners of a ring to whole millimetres."""
    return tuple((round(corner[0]), round(corner[1])) for corner in corners)


def places_of(
    rows: Iterable[tuple[str, float, float]], done: Iterable[str] = ()
) -> tuple[Place, ...]:
    """Make places from labels and coordinates."""
    had = set(done)
    return tuple(
        Place(
            label=label,
            x=round(x_mm, 1),
            y=round(y_mm, 1),
            state="done" if label in had else "todo",
        )
        for label, x_mm, y_mm in rows
    )
