"""How near a marker's top must come to its height, and when a reading is sure of it."""

import math
from dataclasses import dataclass

from rig.errors import BadInput
from rig.guidance.line_check import Steady
from rig.survey.stillness import StillWindow

GUARD = 1.645
"""Standard errors between a set marker and the tolerance's edge: 95 % one-sided (guard band after
JCGM 106:2012, 8.3.2)."""


@dataclass(frozen=True, slots=True)
class Tolerance:
    """The most that a set marker may be off, either way."""

    mm: float

    def __post_init__(self) -> None:
        if not (math.isfinite(self.mm) and self.mm > 0):
            raise BadInput(f"The tolerance must be more than nothing, not {self.mm:g} mm.")

    def guard_mm(self, steady: Steady, resolution_mm: float) -> float:
        """How far inside the tolerance a steady reading must lie to be sure of it.

        Only for what noise leaves open: a coarse digit would not get finer by waiting.
        """
        noise_mm = math.sqrt(max(steady.stderr_mm**2 - resolution_mm**2 / 12.0, 0.0))
        return min(GUARD * noise_mm, 0.5 * self.mm)

    def is_open(self, off_mm: float, guard_mm: float) -> bool:
        """Whether a reading is too close to the edge to tell."""
        return self.mm - guard_mm < off_mm <= self.mm + guard_mm

    def may_hold(self, off_mm: float, window: StillWindow) -> bool:
        """Tell whether a marker may be at height for all that an unsettled rod shows."""
        return off_mm <= self.mm + 3.0 * max(window.spread_mm, window.limit_mm)
