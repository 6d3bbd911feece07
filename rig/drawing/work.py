"""Plans of the patches that make a floor pass: where to fill and where to grind."""

from collections.abc import Sequence

import shapely

from rig.drawing.frame import Frame
from rig.drawing.look import Look
from rig.drawing.symbols import Key, patch, tagged
from rig.drawing.vector import (
    LARGE_MM,
    USUAL_MM,
    Drawing,
    Pen,
)
from rig.language import say, say_many
from rig.room import Outline
from rig.study.patching import PatchPlace

FILL = Pen("mark", 0.25)
GRIND = Pen("alarm", 0.3)


def patches_drawing(
    outline: Outline,
    look: Look,
    patches: Sequence[PatchPlace],
    title: str = say("Patches: where to fill and where to grind"),
) -> Drawing:
    """Draw patches, numbered in their order."""
    ground = [one.grind_l > one.fill_l for one in patches]
    keys = [Key(patch("cover2", FILL), say("fill, how deep at most"))]
    if any(ground):
        keys.append(Key(patch("paper", GRIND, 135.0), say("grind, how deep at most")))
    frame = Frame(outline, look, keys)
    for one, grind in zip(patches, ground, strict=True):
        if len(one.outline) < 4:
            continue
        shape = shapely.make_valid(shapely.Polygon(one.outline))
        pen = GRIND if grind else FILL
        frame.add_area(shape, "paper" if grind else "cover2", Pen(pen.colour, 0.45))
        frame.add_hatching(shape, pen, 1.8, 135.0 if grind else 45.0)
    frame.add_room()
    for n, one in enumerate(patches, 1):
        x, y = frame.place(one.x_mm, one.y_mm)
        told = [(str(n), LARGE_MM, True), (look.units.length(one.deepest_mm), USUAL_MM, False)]
        shapes = frame.labels.beside(x, y, told, 2.0, must=True, centred=True)
        frame.add(tagged("patch", str(n), shapes))
    return frame.finish(title, say_many("{count} place.", "{count} places.", len(patches)))
