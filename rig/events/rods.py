"""Of several rods that share a job."""

from dataclasses import dataclass
from typing import ClassVar

from rig.events.told import Told


@dataclass(frozen=True, slots=True, kw_only=True)
class Claim(Told):
    """A rod is on its way to this point, which no other is then sent to."""

    event: ClassVar[str] = "claim"
    label: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap(Told):
    """So many messages of a rod did not arrive; no shot mixes what came before and after."""

    event: ClassVar[str] = "gap"
    n: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Rest(Told):
    """Nothing is left for this rod, unless a point comes free."""

    event: ClassVar[str] = "rest"


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxClock(Told):
    """What is added to the time of a rod's box, and how far that may be off."""

    event: ClassVar[str] = "clock"
    offset_s: float
    doubt_s: float


RodsEvent = Claim | Gap | Rest | BoxClock
