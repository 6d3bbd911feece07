"""What the job file hands back: one frozen record for each thing it keeps.

The messages of a session are named tuples led by what they are, so that a replay can take
readings and acts from one stream.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal, NamedTuple, Protocol

if TYPE_CHECKING:
    from rig.room import Outline

Corner = tuple[float, float]
Ring = tuple[Corner, ...]

Json = dict[str, Any]
"""What JSON in the file holds; who knows its shape reads it into a record."""
Given = Mapping[str, Any]
"""What shall be kept: values by their names."""
Row = tuple[Any, ...]
"""A row as SQLite gives it, in the order of the columns asked for."""


@dataclass(frozen=True)
class RoomView:
    """One room of a job that has several: what a job is narrowed to.

    Attributes
    ----------
    name : str
    number : int
        Stays whatever it is called; what the job knew before it had several is that of 1.
    outline : Outline
    has : callable of x and y in mm
        Whether a place is this room's: each is one room's, the nearest.
    """

    name: str
    number: int
    outline: "Outline"
    has: "Callable[[float, float], bool]"

    def has_plan(self, inputs: Given) -> bool:
        """Whether a plan made with these inputs is this room's."""
        return bool(inputs.get("room", 1) == self.number)

    @property
    def is_first(self) -> bool:
        """Whether its outline lies in the job's own tables."""
        return self.number == 1

    def has_shot(self, kind: str, x_mm: float | None, y_mm: float | None) -> bool:
        """Whether a shot counts here: what ties lines and holds planes counts everywhere."""
        if kind in ("benchmark", "threshold") or x_mm is None or y_mm is None:
            return True
        return self.has(x_mm, y_mm)


SAME_PLACE_MM = 10.0
"""A shot no farther than this from a point was taken on it (common practice, no source)."""


class DoorEnds(NamedTuple):
    """A doorway by its two ends on the wall."""

    x_mm: float
    y_mm: float
    end_x_mm: float
    end_y_mm: float


class Ends(Protocol):
    """What has the two ends of a doorway."""

    @property
    def x_mm(self) -> float: ...  # noqa: D102
    @property
    def y_mm(self) -> float: ...  # noqa: D102
    @property
    def end_x_mm(self) -> float: ...  # noqa: D102
    @property
    def end_y_mm(self) -> float: ...  # noqa: D102


DoorGiven = Ends | Sequence[float]


@dataclass(frozen=True, slots=True)
class Point:
    """A grid point and its place in the walk."""

    label: str
    x_mm: float
    y_mm: float
    order: int


@dataclass(frozen=True, slots=True)
class Session:
    """One live run of a device: where its times start, and how it was read.

    `utc_s` is the wall clock at time 0 of the session; `monotonic_s` the reading of the machine's
    monotonic clock then, which means something only together with `boot_id`.
    """

    id: int
    kind: str
    setup: str
    source: str
    profile_text: str
    capture: Json
    boot_id: str
    utc_s: float
    monotonic_s: float | None
    rod: str | None = None
    """Which of several rods of a site."""


@dataclass(frozen=True, slots=True)
class Shot:
    """An accepted reading at a place; a current one has no `superseded_by`."""

    id: int
    session_id: int | None
    setup: str
    point: str
    x_mm: float | None
    y_mm: float | None
    reading_mm: float
    stderr_mm: float
    n: int
    kind: str
    time_s: float | None
    utc_s: float
    superseded_by: int | None


@dataclass(frozen=True, slots=True)
class Check:
    """A check of the laser or the rod: two-peg, cross, repeat, drift or rod."""

    id: int
    session_id: int | None
    utc_s: float
    kind: str
    inputs: Json
    result: Json
    ok: bool


@dataclass(frozen=True, slots=True)
class Plan:
    """A finished plane z = a + b·x + c·y (mm), with its result and what it stands on."""

    id: int
    utc_s: float
    inputs: Json
    result: Json
    a: float
    b: float
    c: float
    shot_hash: str
    shot_ids: tuple[int, ...]
    basis: Json = field(repr=False)


@dataclass(frozen=True, slots=True)
class Marker:
    """A depth marker of the current layout; `residual_mm` is null until it was set."""

    id: int
    plan_id: int
    label: str
    x_mm: float
    y_mm: float
    order: int
    target_reading_mm: float
    stick_out_mm: float
    stick_out_stderr_mm: float
    residual_mm: float | None
    shot_id: int | None
    set_utc_s: float | None

    @property
    def is_set(self) -> bool:
        """Whether the marker stands at its height."""
        return self.residual_mm is not None


@dataclass(frozen=True, slots=True)
class Batch:
    """A batch of the pour: as planned, and when it was poured (null until then)."""

    id: int
    n: int
    bags: float
    water_l: float | None
    volume_l: float | None
    mix_s: float | None
    pour_s: float | None
    x_mm: float | None
    y_mm: float | None
    session_id: int | None
    mixed_utc_s: float | None
    poured_utc_s: float | None


class Move(NamedTuple):
    """A shot that got another label: its id and label before, and after."""

    shot: int
    old: str
    label: str
    new: int

    def as_json(self) -> Json:
        """Return it as the event `relabel` keeps it."""
        return {"shot": self.shot, "from": self.old, "to": self.label, "new": self.new}


class StoredReading(NamedTuple):
    """A message of the device as it came, with what was read from it then."""

    what: Literal["reading"]
    time_s: float
    utc_s: float
    raw: str
    value_mm: float | None
    status: str
    seq: int | None
    id: int


class StoredEvent(NamedTuple):
    """An act of the user or an event of the link, in its place among the readings."""

    what: Literal["event"]
    time_s: float | None
    kind: str
    data: Json
    utc_s: float
    id: int

    @property
    def moves(self) -> list[Move]:
        """Of a relabelling, what became of each shot."""
        return [
            Move(move["shot"], move["from"], move["to"], move["new"]) for move in self.data["moves"]
        ]

    @property
    def imported(self) -> range:
        """Of a table's import, the ids of its shots."""
        first: int = self.data["first"]
        return range(first, first + self.data["shots"])
