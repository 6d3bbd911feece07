"""How a plan is looked at: in which units, on what sheet, and with the door at the bottom."""

import math
import re
from dataclasses import dataclass

import numpy as np
import shapely

from rig.drawing.vector import Floats
from rig.language import changed, say
from rig.room import Outline, named_walls, wall_of
from rig.units import Units

_UNIT = re.compile(r"\s+[^\W\d_]+\.?$")


@dataclass(frozen=True)
class Look:
    """Units of a drawing and the sheet that it may fill.

    `to_scale` takes a round scale, for paper; without it the plan is as large as it can be.
    """

    units: Units
    width_mm: float = 180.0
    height_mm: float = 200.0
    to_scale: bool = True

    def short(self, mm: float, step_mm: float = 0.5) -> str:
        """A length without its unit, for a drawing that says the unit in its legend."""
        return changed(self.units.length(mm, step_mm=step_mm), _bare)

    @property
    def unit(self) -> str:
        """The unit that `short` leaves out."""
        return "mm" if self.units.is_metric else say("inches")


def turned(room: Floats, turns: int) -> Floats:
    """Places (n, 2) turned counter-clockwise about 0,0 by so many quarters."""
    x, y = room[:, 0], room[:, 1]
    return np.column_stack([(x, y), (-y, x), (-x, -y), (y, -x)][turns % 4])


def quarter_turns(outline: Outline) -> int:
    """Quarter turns, counter-clockwise, that bring the door's wall to the bottom."""
    if not outline.doors:
        return 0
    door = outline.doors[0]
    _, a, b = named_walls(outline)[wall_of(outline.walls, door)]
    turn = 1.0 if shapely.LinearRing(outline.walls).is_ccw else -1.0
    inward = np.array([-(b[1] - a[1]), b[0] - a[0]]) * turn
    angle = math.degrees(math.atan2(inward[1], inward[0]))
    return round((90.0 - angle) / 90.0) % 4


def _bare(text: str) -> str:
    return _UNIT.sub("", text)
