"""What a device says, in the words of the rest of the program.

A stream of these is all that surveying and marker setting ever see of a rod.
"""

from dataclasses import dataclass
from typing import Literal, NamedTuple

from rig.language import say

AWAKE = "awake"
"""An act that nobody did: the computer slept until now."""
CLOCK_SET = "clock"
"""An act that nobody did: the time of day was set, by its argument in seconds."""
AT_ONCE = say("at once")
"""Argument of the act that ends a session where nobody is there to be asked anything."""

Status = Literal["valid", "no_beam", "button", "low_battery", "bad"]


class Reading(NamedTuple):
    """One message of a device.

    Attributes
    ----------
    time_s, utc_s : float
        When it arrived: monotonic seconds of the session, and seconds since 1970.
    raw : str
        The message as it came: a line without its end, decoded as latin-1, or a packet in hex.
    status : str
        ``valid``, ``no_beam``, ``button``, ``low_battery``, or ``bad`` (never to be used).
    value_mm : float or None
        How far the line is above the rod's foot. A button press and a low battery may carry one.
    seq : int or None
        The device's own count.
    missed : int
        Counts missing just before this one.
    problem : str or None
        Why it is bad.
    """

    time_s: float
    utc_s: float
    raw: str
    status: Status
    value_mm: float | None = None
    seq: int | None = None
    missed: int = 0
    problem: str | None = None


@dataclass(frozen=True, slots=True)
class Lost:
    """The link broke; it is being tried again."""

    time_s: float
    utc_s: float
    reason: str


@dataclass(frozen=True, slots=True)
class Back:
    """The link works again; for ``gap_s`` seconds nothing was read."""

    time_s: float
    utc_s: float
    gap_s: float


@dataclass(frozen=True, slots=True)
class Battery:
    """The device told beside its readings how full its battery is."""

    time_s: float
    utc_s: float
    percent: int


@dataclass(frozen=True, slots=True)
class Notice:
    """Something the user should know that changes nothing.

    ``offers`` is the port to go on with in the place of the rod's, where one came.
    """

    time_s: float
    utc_s: float
    text: str
    offers: str | None = None
