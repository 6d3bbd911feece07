"""Rasters of the floor: square cells, those at the border counted by their covered part."""

import math
from dataclasses import dataclass

import numpy as np
import shapely

from rig.errors import BadInput
from rig.language import numeral, say
from rig.room.geometry import Floats
from rig.room.outline import Outline

_MOST_CELLS = 4_000_000


@dataclass(frozen=True, eq=False)
class Raster:
    """
    Square cells that the floor covers wholly or in part, row by row.

    Attributes
    ----------
    x_mm, y_mm : (n,) array
        Centroid of each cell's covered part.
    share : (n,) array
        Covered part of the cell, in (0, 1].
    step_mm : float
        Side of a cell.
    """

    x_mm: Floats
    y_mm: Floats
    share: Floats
    step_mm: float

    @property
    def area_mm2(self) -> Floats:
        """Covered area of each cell, (n,); they add up to the floor's."""
        return self.share * self.step_mm**2


def raster(outline: Outline, step_mm: float) -> Raster:
    """
    Cells of a square grid over the floor, those at the border counted by their covered part.

    Parameters
    ----------
    outline : Outline
        The room.
    step_mm : float
        Side of a cell; the grid starts at the lowest x and y of the walls.

    Returns
    -------
    Raster
        Its areas add up to the floor's, openings left out.
    """
    floor = outline.polygon
    left, low, right, high = shapely.bounds(floor)
    if not (math.isfinite(step_mm) and step_mm > 0):
        raise BadInput(say("the step of a raster must be more than 0."))
    if (right - left) / step_mm * ((high - low) / step_mm) > _MOST_CELLS:
        raise BadInput(
            say(
                "a raster of {step} mm is too fine for this room; take a larger step.",
                step=numeral(step_mm, "g"),
            )
        )
    columns = max(1, math.ceil((right - left) / step_mm - 1e-9))
    rows = max(1, math.ceil((high - low) / step_mm - 1e-9))
    x0 = left + step_mm * np.tile(np.arange(columns, dtype=float), rows)
    y0 = low + step_mm * np.repeat(np.arange(rows, dtype=float), columns)
    cells = shapely.box(x0, y0, x0 + step_mm, y0 + step_mm)
    shapely.prepare(floor)
    whole = shapely.covers(floor, cells)
    border = np.flatnonzero(~whole & shapely.intersects(floor, cells))
    parts = shapely.intersection(cells[border], floor)
    share = whole.astype(float)
    share[border] = np.minimum(shapely.area(parts) / step_mm**2, 1.0)
    x, y = x0 + step_mm / 2, y0 + step_mm / 2
    middle = shapely.centroid(parts)
    # the centroid of a sliver may round to just outside its cell
    x[border] = np.clip(shapely.get_x(middle), x0[border], x0[border] + step_mm)
    y[border] = np.clip(shapely.get_y(middle), y0[border], y0[border] + step_mm)
    kept = share > 1e-9
    return Raster(x[kept], y[kept], share[kept], float(step_mm))


def raster_of(outline: Outline, max_cells: int) -> Raster:
    """Raster about as fine as `max_cells` cells allow, never more."""
    if max_cells < 1:
        raise BadInput(say("a raster needs at least one cell."))
    left, low, right, high = shapely.bounds(outline.polygon)
    area, rim = outline.polygon.area, outline.polygon.length
    # cells = area / step² + about half a cell more for each step along the rim
    step = (rim / 2 + math.sqrt(rim**2 / 4 + 4 * max_cells * area)) / (2 * max_cells)
    while True:
        made = raster(outline, min(step, max(right - left, high - low)))
        if made.share.size <= max_cells:
            return made
        step *= max(1.01, math.sqrt(made.share.size / max_cells))
