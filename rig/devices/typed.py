"""Readings typed by hand from a tape, and the commands typed between them."""

import math
from typing import Literal

from rig.devices.reading import Reading
from rig.errors import BadInput
from rig.units import parse_length

Act = Literal["accept", "undo", "skip", "quit"]

# A tape is read to its finest mark and stood on the floor by eye (common practice, no source).
TAPE_RESOLUTION_MM = {"in": 25.4 / 16, "mm": 1.0}
TYPED_FOOT_MM = 0.5


def typed_stderr_mm(resolution_mm: float, foot_mm: float = TYPED_FOOT_MM) -> float:
    """Return the standard uncertainty of one typed reading: √(resolution²/12 + foot²).

    A value rounded to its mark is off by a uniform error, whose variance is a twelfth of the
    square of the step (JCGM 100:2008, 4.3.7).
    """
    return math.sqrt(resolution_mm**2 / 12 + foot_mm**2)


_ACTS: dict[str, Act] = {"": "accept", "y": "accept", "u": "undo", "s": "skip", "q": "quit"}


class TypedReader:
    """Makes readings and acts of typed lines.

    Parameters
    ----------
    units : {'in', 'mm'}
        The job's units, meant by a bare number.
    resolution_mm, foot_mm : float, optional
        How finely the tape is read and how well its foot finds the floor.

    Attributes
    ----------
    stderr_mm : float
        Standard uncertainty of one typed reading (`typed_stderr_mm`).
    """

    def __init__(
        self,
        units: Literal["in", "mm"],
        resolution_mm: float | None = None,
        foot_mm: float = TYPED_FOOT_MM,
    ) -> None:
        self.units = units
        self.resolution_mm = TAPE_RESOLUTION_MM[units] if resolution_mm is None else resolution_mm
        self.stderr_mm = typed_stderr_mm(self.resolution_mm, foot_mm)

    def parse(self, line: str, time_s: float, utc_s: float) -> Reading | Act:
        """Return what a line means.

        ``u`` undoes, ``s`` skips, ``y`` or an empty line accepts, ``q`` ends; anything else is a
        length in the job's units.

        Raises
        ------
        BadInput
            The line is none of these, or a reading below 0.
        """
        text = line.strip()
        act = _ACTS.get(text.lower())
        if act is not None:
            return act
        value_mm = parse_length(text, unit=self.units, what="reading")
        if value_mm < 0:
            raise BadInput(
                f"The reading {text} is below 0; it is taken up from the floor to the line."
            )
        return Reading(time_s, utc_s, text, "valid", value_mm)
