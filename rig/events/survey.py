"""Of a survey and of its line."""

from dataclasses import dataclass, field
from typing import ClassVar

from rig.events.told import Told
from rig.record import OMITTED


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
    | Watched
)
