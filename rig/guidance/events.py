"""What marker setting says: small frozen records, each a flat JSON object.

Skips and troubles are told in the survey's own words. `text` is meant for people, word for word.
"""

from dataclasses import dataclass
from typing import ClassVar

from rig.guidance.phrases import Move
from rig.survey.events import Event


@dataclass(frozen=True, slots=True)
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


@dataclass(frozen=True, slots=True)
class Next(Event):
    """Names the marker to go to; `text` says where it stands."""

    event: ClassVar[str] = "next"
    marker: str
    x_mm: float
    y_mm: float
    text: str


@dataclass(frozen=True, slots=True)
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


@dataclass(frozen=True, slots=True)
class Ask(Event):
    """Only the person can tell: a press, key or tap says yes, doing nothing says no."""

    event: ClassVar[str] = "ask"
    marker: str
    text: str


@dataclass(frozen=True, slots=True)
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


@dataclass(frozen=True, slots=True)
class Unset(Event):
    """The last set marker is taken back."""

    event: ClassVar[str] = "unset"
    marker: str


@dataclass(frozen=True, slots=True)
class Done(Event):
    """The end: how many markers are set, earlier sessions' included, and which are left."""

    event: ClassVar[str] = "done"
    set: int
    left: tuple[str, ...]
