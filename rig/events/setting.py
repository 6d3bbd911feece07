"""Of marker setting."""

from dataclasses import dataclass, field
from typing import ClassVar

from rig.events.told import Move, Told
from rig.record import OMITTED


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


SettingEvent = Checked | NextMarker | Prompt | AskMarker | MarkerSet | Unset | SetDone
