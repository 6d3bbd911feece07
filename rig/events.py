"""Every live event: what machines decide and screens are told, small frozen records.

Lengths are millimetres, times are seconds of the session. `text` is meant for people, word for
word; `reason` is a short key for programs. Each is a flat JSON object at the edge.
"""

from dataclasses import dataclass
from typing import Any, ClassVar, Literal

from rig.record import Record

Move = Literal["raise", "lower", "hold"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Event(Record):
    """Something that happened; `event` is its name on the wire."""

    event: ClassVar[str] = ""

    def as_json(self) -> dict[str, Any]:
        """Return `{"event": name, …}`, ready for JSON."""
        return {"event": self.event, **super(Event, self).as_json()}


# --- a survey -----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Next(Event):
    """The point to go to."""

    event: ClassVar[str] = "next"
    label: str
    x_mm: float | None
    y_mm: float | None
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Armed(Event):
    """The next steady reading will be the shot of this point."""

    event: ClassVar[str] = "armed"
    label: str
    x_mm: float | None
    y_mm: float | None
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ShotTaken(Event):
    """A shot was accepted: ``time_s`` is when its last reading came."""

    event: ClassVar[str] = "shot"
    label: str
    x_mm: float | None
    y_mm: float | None
    reading_mm: float
    stderr_mm: float
    n: int
    kind: str
    time_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Skipped(Event):
    """The point was passed over without a shot."""

    event: ClassVar[str] = "skipped"
    label: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Undone(Event):
    """The last shot of the session was taken back."""

    event: ClassVar[str] = "undone"
    label: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Ask(Event):
    """Only the person can tell: a press, key or tap says yes."""

    event: ClassVar[str] = "ask"
    label: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Trouble(Event):
    """Why nothing happens, and what to do about it."""

    event: ClassVar[str] = "trouble"
    text: str
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SurveyDone(Event):
    """The survey is over: shots of this session that stand, and points skipped."""

    event: ClassVar[str] = "done"
    shots: int
    skipped: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Check(Event):
    """Asks for a sight that tells whether the line is still where it was."""

    event: ClassVar[str] = "check"
    label: str
    x_mm: float | None
    y_mm: float | None
    expected_mm: float
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LineChecked(Event):
    """That sight was taken in a survey; `offset_mm` is what the line reads more from now on."""

    event: ClassVar[str] = "checked"
    label: str
    difference_mm: float
    allowed_mm: float
    ok: bool
    reading_mm: float
    stderr_mm: float
    n: int
    time_s: float
    text: str
    found: str
    offset_mm: float
    offset_stderr_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Drifted(Event):
    """The line wandered: `shots` as they read in the line as it was, with the doubt of that."""

    event: ClassVar[str] = "drift"
    label: str
    change_mm: float
    stderr_mm: float
    rate_mm_per_h: float
    rate_stderr_mm_per_h: float
    shots: tuple[dict[str, Any], ...]
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Jolted(Event):
    """The line was knocked: the shots of these labels are set aside, and asked for again."""

    event: ClassVar[str] = "jolt"
    label: str
    change_mm: float
    stderr_mm: float
    kind: str
    labels: tuple[str, ...]
    text: str


# --- marker setting ------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Checked(Event):
    """The sight was taken: how today's line compares, and whether prompts may be trusted."""

    event: ClassVar[str] = "checked"
    label: str
    difference_mm: float
    allowed_mm: float
    ok: bool
    reading_mm: float
    stderr_mm: float
    n: int
    time_s: float
    text: str
    x_mm: float | None = None
    y_mm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class NextMarker(Event):
    """Names the marker to go to; `text` says where it stands."""

    event: ClassVar[str] = "next"
    marker: str
    x_mm: float
    y_mm: float
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Prompt(Event):
    """What to do, now, with the marker under the rod; the target is in today's line."""

    event: ClassVar[str] = "prompt"
    marker: str
    move: Move
    by_mm: float
    text: str
    target_reading_mm: float
    residual_mm: float
    time_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class AskMarker(Event):
    """Only the person can tell: a press, key or tap says yes, doing nothing says no."""

    event: ClassVar[str] = "ask"
    marker: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkerSet(Event):
    """The marker's top is at height."""

    event: ClassVar[str] = "set"
    marker: str
    residual_mm: float
    reading_mm: float
    stderr_mm: float
    n: int
    time_s: float
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Unset(Event):
    """The last set marker is taken back."""

    event: ClassVar[str] = "unset"
    marker: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SetDone(Event):
    """The end: how many markers are set, earlier sessions' included, and which are left."""

    event: ClassVar[str] = "done"
    set: int
    left: tuple[str, ...]


# --- a pour -------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class NextBatch(Event):
    """Which batch comes next, and where it goes."""

    event: ClassVar[str] = "next"
    n: int
    strip: int
    x_mm: float
    y_mm: float
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Poured(Event):
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
class FrontAt(Event):
    """The front was told; `markers` are ticked as covered."""

    event: ClassVar[str] = "front"
    strip: int
    share: float
    markers: tuple[str, ...]
    time_s: float
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate(Event):
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
class Edges(Event):
    """Age of the wet edge in each strip that has one open."""

    event: ClassVar[str] = "edges"
    strips: tuple[int, ...]
    ages_s: tuple[float, ...]
    left_s: float
    time_s: float
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Edge(Event):
    """An edge is near its end (`soon`), will be by the present pace (`pace`), or is past it."""

    event: ClassVar[str] = "edge"
    level: str
    strip: int
    age_s: float
    left_s: float
    time_s: float
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Dry(Event):
    """Markers behind the front that nobody has ticked as covered."""

    event: ClassVar[str] = "dry"
    markers: tuple[str, ...]
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Prepour(Event):
    """The list before the pour: what is not ticked yet."""

    event: ClassVar[str] = "prepour"
    left: tuple[str, ...]
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Ticked(Event):
    """A step of the list is done."""

    event: ClassVar[str] = "ticked"
    step: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Resumed(Event):
    """The log goes on where an earlier session of this pour ended, by the true clock."""

    event: ClassVar[str] = "resumed"
    batches: int
    strip: int
    since_s: float
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class AskPour(Event):
    """Only the person can tell: y or accept says yes, doing nothing says no."""

    event: ClassVar[str] = "ask"
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PourDone(Event):
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
