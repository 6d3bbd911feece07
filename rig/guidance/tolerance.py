"""How near a marker's top must come to its height, and when a reading is sure of it."""

import math
from dataclasses import dataclass

from rig.errors import BadInput
from rig.language import numeral, say
from rig.survey.stillness import StillWindow


@dataclass(frozen=True, slots=True)
class Tolerance:
    """The most that a set marker may be off, either way."""

    mm: float

    def __post_init__(self) -> None:
        if not (math.isfinite(self.mm) and self.mm > 0):
            raise BadInput(
                say(
                    "The tolerance must be more than nothing, not {mm} mm.",
                    mm=numeral(self.mm, "g"),
                )
            )

    def guard_mm(self, sure_mm: float, resolution_mm: float) -> float:
        """How far inside the tolerance (guard band after JCGM 106:2012, 8.3.2) a height must lie.

        Not more than half of it for what only the display's digit leaves open: a coarse digit
        would not get finer by waiting.
        """
        return min(sure_mm, 0.5 * self.mm) if resolution_mm > 0.5 * self.mm else sure_mm

    def is_open(self, off_mm: float, guard_mm: float) -> bool:
        """Whether a reading is too close to the edge to tell."""
        return self.mm - guard_mm < off_mm <= self.mm + guard_mm

    def may_hold(self, off_mm: float, window: StillWindow) -> bool:
        """Tell whether a marker may be at height for all that an unsettled rod shows."""
        return off_mm <= self.mm + 3.0 * max(window.spread_mm, window.limit_mm)
