"""A step of the floor by name: where it runs and how high it is."""

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import shapely

from rig.record import Record
from rig.room import Outline, where
from rig.study.picture import Picture
from rig.surface.steps import find_step
from rig.units import Units
from rig.words import floor as words

if TYPE_CHECKING:
    from rig.surface.steps import Step


@dataclass(frozen=True, slots=True, kw_only=True)
class FloorStep(Record):
    """A straight step across a floor, in mm on the plan.

    Attributes
    ----------
    from_mm, to_mm : (float, float)
        Ends of the line that it runs along.
    within_mm : float
        It may lie so far to either side.
    rise_mm, stderr_mm : float
        How high it is, and the doubt of that.
    text : str
    """

    from_mm: tuple[float, float]
    to_mm: tuple[float, float]
    within_mm: float
    rise_mm: float
    stderr_mm: float
    text: str


def steps_of(picture: Picture, units: Units) -> tuple[FloorStep, ...]:
    """Return the step that the shots speak for, if any."""
    found = find_step(picture.surface)
    ends = None if found is None else _ends(found, picture.outline)
    if found is None or ends is None:
        return ()
    one, other = ends
    begins, stops = (where(picture.outline, *end, units) for end in ends)
    rise = abs(found.rise_mm)
    text = words.floor_steps(rise, found.stderr_mm, begins, stops, found.within_mm, units)
    return (
        FloorStep(
            from_mm=one,
            to_mm=other,
            within_mm=found.within_mm,
            rise_mm=rise,
            stderr_mm=found.stderr_mm,
            text=text,
        ),
    )


def _ends(step: "Step", outline: Outline) -> tuple[tuple[float, float], tuple[float, float]] | None:
    """Where the line of a step enters and leaves the floor."""
    left, low, right, high = outline.polygon.bounds
    far = math.hypot(right - left, high - low) + math.hypot(step.x_mm - left, step.y_mm - low)
    turn = math.radians(step.bearing_deg)
    along = far * math.cos(turn), far * math.sin(turn)
    ray = shapely.LineString(
        [
            (step.x_mm - along[0], step.y_mm - along[1]),
            (step.x_mm + along[0], step.y_mm + along[1]),
        ]
    )
    # A hair inside the walls, so that both ends are places of the floor.
    met = ray.intersection(outline.polygon.buffer(-1.0))
    places = shapely.get_coordinates(met)
    if len(places) < 2:
        return None
    (ax, ay), (bx, by) = places[0], places[-1]
    return (float(ax), float(ay)), (float(bx), float(by))
