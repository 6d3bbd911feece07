"""What readings of a tape tell of a marker's height: the mark that was read, and the hand.

A value read to its mark is off by up to half a mark either way, however often it is read; where
the tape stands and the eye is differs from time to time. The height is what both leave possible: a
flat prior, times for each reading the chance of its mark (JCGM 101:2008, 6.4.2: a rectangle, the
hand's normal error beside it).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from rig.devices.typed import TYPED_FOOT_MM
from rig.events import AskMarker
from rig.guidance.line_check import Steady
from rig.units import Units
from rig.words.markers import by_tape

HAND_MM = 0.25
"""Standard deviation of a tape stood on a marker's top, apart from its mark (common practice, no
source; half of what it is on a floor, for the head of a screw is flat and small)."""
WRONG = 0.025
"""Chance of a wrong "set", each side."""
FINE_MM = 25.4 / 32
"""A mark of this or less is what a tape can be read to."""
_STEPS, _REACH_MM = 200, 4.0


@dataclass(frozen=True, slots=True)
class TapeHeight:
    """A marker's height by its tape, and the chances that it is past the tolerance, either way."""

    steady: Steady
    too_high: float
    too_low: float

    @property
    def sure(self) -> bool:
        """Whether both chances are 2.5 % or less, as far as `HAND_MM` is right."""
        return max(self.too_high, self.too_low) <= WRONG


class Tape:
    """The readings of the marker under the tape, as long as its screw is not turned.

    Parameters
    ----------
    tolerance_mm : float
    """

    def __init__(self, tolerance_mm: float) -> None:
        self._tolerance_mm = tolerance_mm
        self._read: list[tuple[float, float]] = []

    def forget(self) -> None:
        """Begin with another marker, or after a turn of the screw."""
        self._read.clear()

    def ask(self, label: str, found: TapeHeight, units: Units) -> AskMarker:
        """Ask whether a marker that the tape is not sure of is to be taken as it is."""
        mark_mm = self._read[-1][1]
        text = by_tape(
            max(found.too_high, found.too_low),
            None if mark_mm <= FINE_MM else mark_mm,
            self._tolerance_mm,
            units,
        )
        return AskMarker(marker=label, text=text)

    def read(self, value_mm: float, stderr_mm: float, target_mm: float) -> TapeHeight:
        """Take a reading; what does not go with those before it is of a screw that was turned."""
        mark_mm = mark_of(stderr_mm)
        apart_mm = 2.0 * mark_mm + 4.0 * HAND_MM
        if any(abs(value_mm - other_mm) > apart_mm for other_mm, _ in self._read):
            self._read.clear()
        self._read.append((value_mm, mark_mm))
        middle_mm = math.fsum(one for one, _ in self._read) / len(self._read)
        chances = [_chance(self._read, middle_mm + at_mm) for at_mm in _AT_MM]
        whole = math.fsum(chances)
        off_mm = [middle_mm + at_mm - target_mm for at_mm in _AT_MM]
        mean = math.fsum(c * at for c, at in zip(chances, _AT_MM, strict=True)) / whole
        spread2 = math.fsum(c * (at - mean) ** 2 for c, at in zip(chances, _AT_MM, strict=True))
        steady = Steady(value_mm, stderr_mm, 1)
        if len(self._read) > 1:
            steady = Steady(middle_mm + mean, math.sqrt(spread2 / whole), len(self._read))
        tolerance = self._tolerance_mm
        return TapeHeight(
            steady,
            math.fsum(c for c, off in zip(chances, off_mm, strict=True) if off < -tolerance)
            / whole,
            math.fsum(c for c, off in zip(chances, off_mm, strict=True) if off > tolerance) / whole,
        )


_AT_MM = [_REACH_MM * (n / _STEPS - 0.5) * 2.0 for n in range(_STEPS + 1)]


def mark_of(stderr_mm: float) -> float:
    """Return the mark to which a tape was read, by the standard error of its reading on a floor."""
    return math.sqrt(12.0 * max(stderr_mm**2 - TYPED_FOOT_MM**2, 0.0))


def _chance(readings: Sequence[tuple[float, float]], at_mm: float) -> float:
    """Chance of readings of a height, up to a factor."""
    chance = 1.0
    for value_mm, mark_mm in readings:
        half = max(mark_mm / 2.0, 0.05)
        off = value_mm - at_mm
        chance *= _below((off + half) / HAND_MM) - _below((off - half) / HAND_MM)
    return chance


def _below(z: float) -> float:
    return 0.5 * math.erfc(-z / math.sqrt(2.0))
