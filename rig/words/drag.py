"""What is said of a slide of the rod's foot from one shot to another."""

import math
from typing import TYPE_CHECKING

from rig.units import Units
from rig.words import join, say

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rig.events import Extreme

TAKEN_BACK = say("the slide is taken back: begin it again")
TOO_SHORT = say(
    "that was too short for a slide: take two seconds at least, and press or lift the rod only at "
    "its end"
)
GAPS = say("readings are missing on the way, or it went too fast: slide again, slower")
BROKEN = say("the slide was broken off: begin it again")


def slide(place: str) -> str:
    """Say what to do at the beep."""
    return say("{place}: slide the foot there, then press or lift the rod", place=place)


def elsewhere(label: str, off_mm: float, units: Units) -> str:
    """Say that a slide did not end where its shot is."""
    return say(
        "the end reads {off} off the shot of {label}: was it lifted on the way, or is it another "
        "place? Slide again",
        off=units.length(off_mm),
        label=label,
    )


def found(
    start: str,
    end: str,
    from_mm: tuple[float, float],
    extremes: "Sequence[Extreme]",
    least_mm: float,
    lean_mm: float,
    units: Units,
) -> str:
    """Say what a slide showed, and how well; less than `least_mm` would not have stood out."""
    told = [_extreme(one, start, from_mm, units) for one in extremes]
    if not told:
        nothing = say(
            "{start} to {end}: nothing stands out by more than {limit}.",
            start=start,
            end=end,
            limit=units.doubt(least_mm),
        )
        told = [nothing]
    lean = say(
        "A rod that leans 3 degrees reads {lean} long; what a hand lets it lean in the mean is "
        "taken off.",
        lean=units.doubt(lean_mm),
    )
    return join(" ", [*told, lean])


def _extreme(one: "Extreme", start: str, from_mm: tuple[float, float], units: Units) -> str:
    high, doubt = units.length(abs(one.off_mm)), units.doubt(2.0 * one.stderr_mm)
    away = units.place(math.dist(from_mm, (one.x_mm, one.y_mm)))
    place = units.place(2.0 * one.place_stderr_mm)
    if one.off_mm > 0.0:
        return say(
            "A hump of {high} ± {doubt}, {away} from {start} (± {place}).",
            high=high,
            doubt=doubt,
            away=away,
            start=start,
            place=place,
        )
    return say(
        "A dip of {high} ± {doubt}, {away} from {start} (± {place}).",
        high=high,
        doubt=doubt,
        away=away,
        start=start,
        place=place,
    )


def dragged(start: str, end: str) -> str:
    """Name a slide among the acts that can be taken back."""
    return say("rod slid from {start} to {end}", start=start, end=end)
