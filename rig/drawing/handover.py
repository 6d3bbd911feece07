"""A floor before and after, as two plans of one size whose bands mean the same."""

from collections.abc import Callable, Sequence

from rig.drawing.contours import contours_of, lattice_of, values_on
from rig.drawing.frame import relief_frame
from rig.drawing.look import Look
from rig.drawing.vector import Drawing, Floats
from rig.room import Outline

Height = Callable[[Floats, Floats], Floats]


def relief_drawings(
    outline: Outline, look: Look, floors: Sequence[tuple[str, Height]]
) -> list[Drawing]:
    """Draw how much lower than its own highest place each floor lies, all on one scale.

    Parameters
    ----------
    outline : Outline
    look : Look
    floors : sequence of (title, height)
        Height is a callable of x and y (m,): heights (m,).
    """
    lattices = []
    for _, height in floors:
        lattice = lattice_of(outline, height)
        lattice.values[:] -= values_on(outline, lattice)[1]
        lattices.append(lattice)
    span = (min(values_on(outline, lattice)[0] for lattice in lattices), 0.0)
    drawings = []
    for (title, _), lattice in zip(floors, lattices, strict=True):
        contours = contours_of(outline, lattice, look.units, span)
        frame = relief_frame(outline, look, contours)
        frame.label_contours()
        most = -values_on(outline, lattice)[0]
        drawings.append(frame.finish(title, f"{look.units.length(most)} from lowest to highest."))
    return drawings
