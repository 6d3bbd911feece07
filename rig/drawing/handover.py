"""A floor before and after, as two plans of one size whose bands mean the same."""

from collections.abc import Callable, Sequence

import shapely

from rig.drawing.contours import (
    MOST_NODES,
    Contours,
    Lattice,
    contours_of,
    lattice_of,
    values_on,
)
from rig.drawing.frame import relief_frame
from rig.drawing.look import Look
from rig.drawing.vector import Drawing, Floats
from rig.language import say
from rig.room import Outline

Height = Callable[[Floats, Floats], Floats]
"""Of x and y (m,): heights (m,)."""
Relief = tuple[tuple[Outline, Lattice], ...]
"""How each room of a floor lies under the highest place of them all."""


def relief_of(rooms: Sequence[tuple[Outline, Height]]) -> Relief:
    """How a floor of one room or of several lies under its own highest place."""
    most = MOST_NODES // len(rooms)
    made = [(outline, lattice_of(outline, height, most)) for outline, height in rooms]
    highest = max(values_on(outline, lattice)[1] for outline, lattice in made)
    for _, lattice in made:
        lattice.values[:] -= highest
    return tuple(made)


def relief_drawings(
    outline: Outline, look: Look, floors: Sequence[tuple[str, Relief]]
) -> list[Drawing]:
    """Draw how much lower than its own highest place each floor lies, all on one scale.

    Parameters
    ----------
    outline : Outline
        Round all rooms.
    look : Look
    floors : sequence of (title, relief)
        Of `relief_of`; one at least.
    """
    lowest = [_lowest(relief) for _, relief in floors]
    span = (min(lowest), 0.0)
    drawings = []
    for (title, relief), low in zip(floors, lowest, strict=True):
        rooms = [contours_of(room, lattice, look.units, span) for room, lattice in relief]
        frame = relief_frame(outline, look, _together(rooms))
        frame.label_contours()
        told = say("{most} from lowest to highest.", most=look.units.off(-low))
        drawings.append(frame.finish(title, told))
    return drawings


def _lowest(relief: Relief) -> float:
    return min(values_on(outline, lattice)[0] for outline, lattice in relief)


def _together(rooms: Sequence[Contours]) -> Contours:
    """Contours of rooms, made over one span, as those of one floor."""
    if len(rooms) == 1:
        return rooms[0]
    lines = zip(*(one.lines for one in rooms), strict=True)
    bands = zip(*(one.bands for one in rooms), strict=True)
    return Contours(
        rooms[0].step,
        rooms[0].edges,
        tuple((same[0][0], tuple(run for _, runs in same for run in runs)) for same in lines),
        tuple(shapely.union_all(same) for same in bands),
    )
