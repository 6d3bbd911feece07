"""A floor before and after, as two plans of one size whose bands mean the same."""

from collections.abc import Callable, Sequence

from rig.drawing.contours import Lattice, contours_of, lattice_of, values_on
from rig.drawing.frame import relief_frame
from rig.drawing.look import Look
from rig.drawing.vector import Drawing, Floats
from rig.language import say
from rig.room import Outline


def relief_of(outline: Outline, height: Callable[[Floats, Floats], Floats]) -> Lattice:
    """How a floor lies under its own highest place; `height` is of x and y (m,): heights (m,)."""
    lattice = lattice_of(outline, height)
    lattice.values[:] -= values_on(outline, lattice)[1]
    return lattice


def relief_drawings(
    outline: Outline, look: Look, floors: Sequence[tuple[str, Lattice]]
) -> list[Drawing]:
    """Draw how much lower than its own highest place each floor lies, all on one scale.

    Parameters
    ----------
    outline : Outline
    look : Look
    floors : sequence of (title, lattice)
        Of `relief_of`; one at least.
    """
    span = (min(values_on(outline, lattice)[0] for _, lattice in floors), 0.0)
    drawings = []
    for title, lattice in floors:
        contours = contours_of(outline, lattice, look.units, span)
        frame = relief_frame(outline, look, contours)
        frame.label_contours()
        most = -values_on(outline, lattice)[0]
        drawings.append(
            frame.finish(title, say("{most} from lowest to highest.", most=look.units.length(most)))
        )
    return drawings
