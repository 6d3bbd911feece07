"""Every live event: what machines decide and screens are told, small frozen records.

Lengths are millimetres, times are seconds of the session. `text` is meant for people, word for
word; `reason` is a short key for programs. Each is one JSON object at the edge, and an object
everywhere before that. `Event` at the end names them all: who tells them apart by class, and ends
with `assert_never`, is told by mypy what a new one has not been given.
"""

from dataclasses import dataclass, field
from typing import Any, ClassVar, Literal

from rig.record import OMITTED, Record

Move = Literal["raise", "lower", "hold"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Told(Record):
    """Something that happened; `event` is its name on the wire."""

    event: ClassVar[str] = ""

    def as_json(self) -> dict[str, Any]:
        """Return `{"event": name, …}`, ready for JSON."""
        return {"event": self.event, **super(Told, self).as_json()}


# --- the rod, its link, the page, and what is found beside a session -----------------------------


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
    """Something that a person should know and need not act upon."""

    event: ClassVar[str] = "notice"
    time_s: float | None = field(default=None, metadata=OMITTED)
    text: str


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


# --- a survey -----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Next(Told):
    """The point to go to."""

    event: ClassVar[str] = "next"
    label: str
    x_mm: float | None
    y_mm: float | None
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Armed(Told):
    """The next steady reading will be the shot of this point."""

    event: ClassVar[str] = "armed"
    label: str
    x_mm: float | None
    y_mm: float | None
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ShotTaken(Told):
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
class Skipped(Told):
    """The point was passed over without a shot."""

    event: ClassVar[str] = "skipped"
    label: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Undone(Told):
    """The last shot of the session was taken back."""

    event: ClassVar[str] = "undone"
    label: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Ask(Told):
    """Only the person can tell: a press, key or tap says yes."""

    event: ClassVar[str] = "ask"
    label: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Trouble(Told):
    """Why nothing happens, and what to do about it."""

    event: ClassVar[str] = "trouble"
    text: str
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SurveyDone(Told):
    """The survey is over: shots of this session that stand, and points skipped.

    What went wrong with messages and link on the way is counted where it did.
    """

    event: ClassVar[str] = "done"
    shots: int
    skipped: tuple[str, ...]
    damaged: int | None = field(default=None, metadata=OMITTED)
    repeated: int | None = field(default=None, metadata=OMITTED)
    missed: int | None = field(default=None, metadata=OMITTED)
    lost: int | None = field(default=None, metadata=OMITTED)


@dataclass(frozen=True, slots=True, kw_only=True)
class Check(Told):
    """Asks for a sight that tells whether the line is still where it was."""

    event: ClassVar[str] = "check"
    label: str
    x_mm: float | None
    y_mm: float | None
    expected_mm: float
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LineChecked(Told):
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
class Drifted(Told):
    """The line wandered: `shots` as they read in the line as it was, with the doubt of that."""

    event: ClassVar[str] = "drift"
    label: str
    change_mm: float
    stderr_mm: float
    rate_mm_per_h: float
    rate_stderr_mm_per_h: float
    shots: tuple[ShotTaken, ...]
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Jolted(Told):
    """The line was knocked: the shots of these labels are set aside, and asked for again."""

    event: ClassVar[str] = "jolt"
    label: str
    change_mm: float
    stderr_mm: float
    kind: str
    labels: tuple[str, ...]
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Watched(Told):
    """How the line stands against where it was at first; `text` is meant for people."""

    event: ClassVar[str] = "watched"
    time_s: float
    seconds: float
    reading_mm: float
    change_mm: float
    text: str


# --- marker setting ------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Checked(Told):
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
class NextMarker(Told):
    """Names the marker to go to; `text` says where it stands."""

    event: ClassVar[str] = "next"
    marker: str
    x_mm: float
    y_mm: float
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Prompt(Told):
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
class AskMarker(Told):
    """Only the person can tell: a press, key or tap says yes, doing nothing says no."""

    event: ClassVar[str] = "ask"
    marker: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkerSet(Told):
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
class Unset(Told):
    """The last set marker is taken back."""

    event: ClassVar[str] = "unset"
    marker: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SetDone(Told):
    """The end: how many markers are set, earlier sessions' included, and which are left."""

    event: ClassVar[str] = "done"
    set: int
    left: tuple[str, ...]
    damaged: int | None = field(default=None, metadata=OMITTED)
    repeated: int | None = field(default=None, metadata=OMITTED)
    missed: int | None = field(default=None, metadata=OMITTED)
    lost: int | None = field(default=None, metadata=OMITTED)


# --- a pour -------------------------------------------------------------------------------------


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


# --- all of them --------------------------------------------------------------------------------

LinkEvent = Heard | LinkLost | LinkBack | Noticed | Doubtful | Picture | Serving
SurveyEvent = (
    Next
    | Armed
    | ShotTaken
    | Skipped
    | Undone
    | Ask
    | Trouble
    | SurveyDone
    | Check
    | LineChecked
    | Drifted
    | Jolted
    | Watched
)
SettingEvent = Checked | NextMarker | Prompt | AskMarker | MarkerSet | Unset | SetDone
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
Event = LinkEvent | SurveyEvent | SettingEvent | PourEvent
