"""The one conversion between what a rod reads under a line and how high its foot stands.

A larger reading is a lower floor. Heights are relative to the line of set-up 1, whose own height
is 0; the line of another set-up stands `line_mm` over it.
"""

from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

# A shot point stood on again is found only so well; a benchmark is a point (common practice, no
# source). Counts where a floor shot has to serve as a tie.
REFOUND_MM = 0.5

Length = TypeVar("Length", float, "NDArray[np.float64]")


def z_mm(reading_mm: Length, line_mm: float = 0.0) -> Length:
    """Return the height of a rod's foot that reads so much under a line, in mm.

    Parameters
    ----------
    reading_mm : float or array
    line_mm : float
        Height of the line over that of set-up 1.
    """
    return line_mm - reading_mm


def reading_mm(z_mm: Length, line_mm: float = 0.0) -> Length:
    """Return what a rod reads under a line whose foot stands at a height, in mm.

    Parameters
    ----------
    z_mm : float or array
    line_mm : float
        Height of the line over that of set-up 1.
    """
    return line_mm - z_mm
