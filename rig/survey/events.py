"""What a survey decides while it runs: small frozen records, each a flat JSON object.

Readings and the fate of the link are told by whoever feeds them; these are what came of them.

Lengths are millimetres, times are seconds of the session. ``text`` is meant for people, word for
word; ``reason`` is a short key for programs.
"""

from dataclasses import dataclass, fields
from typing import Any, ClassVar


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happened; ``event`` is its name on the wire."""

    event: ClassVar[str] = ""

    def as_dict(self) -> dict[str, Any]:
        """Return ``{"event": name, …}`` with lists for tuples, ready for JSON."""
        flat: dict[str, Any] = {"event": self.event}
        for field in fields(self):
            value = getattr(self, field.name)
            flat[field.name] = list(value) if isinstance(value, tuple) else value
        return flat


@dataclass(frozen=True, slots=True)
class Next(Event):
    """The point to go to."""

    event: ClassVar[str] = "next"
    label: str
    x_mm: float | None
    y_mm: float | None
    text: str


@dataclass(frozen=True, slots=True)
class Armed(Event):
    """The next steady reading will be the shot of this point."""

    event: ClassVar[str] = "armed"
    label: str
    x_mm: float | None
    y_mm: float | None
    text: str


@dataclass(frozen=True, slots=True)
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


@dataclass(frozen=True, slots=True)
class Skipped(Event):
    """The point was passed over without a shot."""

    event: ClassVar[str] = "skipped"
    label: str


@dataclass(frozen=True, slots=True)
class Undone(Event):
    """The last shot of the session was taken back."""

    event: ClassVar[str] = "undone"
    label: str


@dataclass(frozen=True, slots=True)
class Ask(Event):
    """Only the person can tell: a press, key or tap says yes."""

    event: ClassVar[str] = "ask"
    label: str
    text: str


@dataclass(frozen=True, slots=True)
class Trouble(Event):
    """Why nothing happens, and what to do about it."""

    event: ClassVar[str] = "trouble"
    text: str
    reason: str


@dataclass(frozen=True, slots=True)
class Done(Event):
    """The survey is over: shots of this session that stand, and points skipped."""

    event: ClassVar[str] = "done"
    shots: int
    skipped: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Check(Event):
    """Asks for a sight that tells whether the line is still where it was."""

    event: ClassVar[str] = "check"
    label: str
    x_mm: float | None
    y_mm: float | None
    expected_mm: float
    text: str


@dataclass(frozen=True, slots=True)
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


@dataclass(frozen=True, slots=True)
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


@dataclass(frozen=True, slots=True)
class Jolted(Event):
    """The line was knocked: the shots of these labels are set aside, and asked for again."""

    event: ClassVar[str] = "jolt"
    label: str
    change_mm: float
    stderr_mm: float
    kind: str
    labels: tuple[str, ...]
    text: str
