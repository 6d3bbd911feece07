"""Of a survey and of its line."""

from dataclasses import dataclass, field
from typing import ClassVar

from rig.events.told import Told
from rig.record import OMITTED, Record


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
    """The last shot of the session was taken back, or a skip where `what` says so."""

    event: ClassVar[str] = "undone"
    label: str
    what: str | None = field(default=None, metadata=OMITTED)


@dataclass(frozen=True, slots=True, kw_only=True)
class Ask(Told):
    """Only the person can tell: a press, key or tap says yes."""

    event: ClassVar[str] = "ask"
    label: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class AskTyped(Told):
    """What typed readings leave open: the unit of a bare number, or which way the tape is read.

    Attributes
    ----------
    what : str
        "unit" or "sense".
    choices : tuple of str
        Of a unit: one of them as the next line answers.
    """

    event: ClassVar[str] = "ask"
    what: str
    choices: tuple[str, ...] = ()
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
    """Asks for a sight that tells whether the line is, or was, where it was.

    `closing` marks the one that a session ends with.
    """

    event: ClassVar[str] = "check"
    label: str
    x_mm: float | None
    y_mm: float | None
    expected_mm: float
    text: str
    closing: bool | None = field(default=None, metadata=OMITTED)


@dataclass(frozen=True, slots=True, kw_only=True)
class LineChecked(Told):
    """That sight was taken in a survey; `offset_mm` is what the line reads more from now on.

    `found` is "held", "drift", "jolt", or "set up" for a laser that was set up again; of a point
    shot before that, "stood" or "moved", and `setup` names the set-up that it was shot from.
    """

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
    setup: str | None = field(default=None, metadata=OMITTED)


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
class SetUp(Told):
    """The laser stands anew: a set-up of its own, tied by a sight of `label`.

    Attributes
    ----------
    name : str
        Of the set-up, from now on that of the session.
    line_mm : float or None
        Its line over that of set-up 1; None where the set-up before is not tied to that.
    change_mm : float
        Its line over that of the set-up before.
    reading_mm, stderr_mm, n, time_s
        Of the sight.
    """

    event: ClassVar[str] = "setup"
    name: str
    line_mm: float | None
    change_mm: float
    label: str
    x_mm: float | None
    y_mm: float | None
    reading_mm: float
    stderr_mm: float
    n: int
    time_s: float
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SetAside(Told):
    """Shots of an earlier set-up that nothing vouches for: kept, not used, and asked for again."""

    event: ClassVar[str] = "set_aside"
    setup: str
    kind: str
    labels: tuple[str, ...]
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PutBack(Told):
    """Shots that a jolt had set aside are in use again: one after them reads as it did."""

    event: ClassVar[str] = "in_use"
    label: str
    labels: tuple[str, ...]
    shots: tuple[ShotTaken, ...]
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Slide(Told):
    """The rod stood still where a slide begins: its foot is to slide to `label` now."""

    event: ClassVar[str] = "slide"
    label: str
    x_mm: float
    y_mm: float
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Extreme(Record):
    """A hump or dip that a slide found: over the line between its ends, negative for a dip.

    `place_stderr_mm` is how well its place along the slide is known; what follows from that for the
    height is in `stderr_mm`. `radius_mm` is how far it reaches, were it round.
    """

    x_mm: float
    y_mm: float
    off_mm: float
    stderr_mm: float
    place_stderr_mm: float
    radius_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Dragged(Told):
    """The rod's foot slid from one shot to another.

    Attributes
    ----------
    label, to : str
        The shots at both ends; `from_mm` and `to_mm` are their places.
    seconds, n
        How long it took, and the readings of it.
    off_mm : tuple of float
        The floor over the straight line between both shots, equally spaced from end to end.
    stderr_mm : float
        Doubt of one of them.
    lean_mm : float
        What the rod reads long at most by its lean; the mean of that is taken off.
    place_mm : float
        How far off a place in the middle may be, one standard deviation.
    found : tuple of Extreme
        A hump and a dip that stand out of the doubt.
    """

    event: ClassVar[str] = "dragged"
    label: str
    to: str
    from_mm: tuple[float, float]
    to_mm: tuple[float, float]
    seconds: float
    n: int
    off_mm: tuple[float, ...]
    stderr_mm: float
    lean_mm: float
    place_mm: float
    found: tuple[Extreme, ...]
    time_s: float
    text: str


SurveyEvent = (
    Next
    | Armed
    | ShotTaken
    | Skipped
    | Undone
    | Ask
    | AskTyped
    | Trouble
    | SurveyDone
    | Check
    | LineChecked
    | Drifted
    | Jolted
    | SetUp
    | SetAside
    | PutBack
    | Watched
    | Slide
    | Dragged
)
