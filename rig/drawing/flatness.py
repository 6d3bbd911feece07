"""The plan of a proof: the judged surface, the worst place, and every strip that fails."""

from collections.abc import Callable, Sequence

import numpy as np

from rig.drawing.contours import contours_of, lattice_of
from rig.drawing.frame import Frame, relief_frame
from rig.drawing.look import Look
from rig.drawing.symbols import Key, ring, stroke, tagged
from rig.drawing.vector import (
    SMALL_MM,
    USUAL_MM,
    Circle,
    Drawing,
    Floats,
    Group,
    Pen,
    Shape,
    area,
    line,
)
from rig.room import Outline
from rig.study.proof_answer import Place, Proof, Strip, Worst
from rig.words import flatness as words
from rig.words import say

FAILED = Pen("alarm", 0.9, (2.4, 0.9))
WORST = Pen("alarm", 1.6)
GOOD = Pen("ink", 1.6)
RUN = Pen("mark", 0.5)


def flatness_drawing(
    outline: Outline,
    look: Look,
    height: Callable[[Floats, Floats], Floats],
    told: Proof,
    strips: Sequence[Strip] = (),
    lines: Sequence[tuple[str, Floats]] = (),
    title: str = say("Flatness"),
) -> Drawing:
    """The judged surface with what the rule finds on it.

    Parameters
    ----------
    outline : Outline
    look : Look
    height : callable
        Of x and y (m,): height of the surface, (m,).
    told : Proof
    strips : sequence of Strip
        Failed placements beside the worst.
    lines : sequence of (name, places)
        Lines that F-numbers are taken along, places (n, 2).
    """
    lattice = lattice_of(outline, height)
    lattice.values[:] -= lattice.values.max()
    contours = contours_of(outline, lattice, look.units)
    worst, wording = told.worst, words.WORDING[told.measure]
    over = worst is not None and worst.gap_mm > worst.limit_mm * (1 + 1e-9)
    keys: list[Key] = []
    if worst:
        pen = WORST if over else GOOD
        keys.append(Key(stroke(pen), wording.key_over if over else wording.key_in))
    if strips:
        keys.append(Key(stroke(FAILED), say("edge over the limit too")))
    if lines:
        keys.append(Key(stroke(RUN), say("line of readings")))
    if told.next:
        keys.append(Key(_plus, say("a shot here would settle it")))
    frame = relief_frame(outline, look, contours, keys)
    for name, places in lines:
        run = frame.places(places)
        frame.add(tagged("line", name, [line(run, RUN)]))
        x, y = run[len(run) // 2]
        frame.add(*frame.labels.beside(x, y, [(name, SMALL_MM, True)], 0.6))
    for n, strip in enumerate(strips, 1):
        ends = _ends(frame, strip.supports)
        frame.add(tagged("strip", str(n), [line(ends, FAILED)]))
    if worst and worst.gap_mm > 0:
        what = say(wording.drawn, off=look.units.off(worst.gap_mm))
        frame.add(_worst(frame, look, worst, WORST if over else GOOD, what))
    for place in told.next:
        frame.add(*_plus(*frame.place(place.x_mm, place.y_mm)))
    frame.label_contours()
    return frame.finish(
        title, say("Contour lines every {step}.", step=look.units.length(contours.step))
    )


def _ends(frame: Frame, supports: Sequence[Place]) -> Floats:
    return frame.places(np.array([(place.x_mm, place.y_mm) for place in supports]))


def _worst(frame: Frame, look: Look, worst: Worst, pen: Pen, what: str) -> Group:
    ends = _ends(frame, worst.supports)
    shapes: list[Shape] = [line(ends, Pen("paper", pen.width_mm + 0.8)), line(ends, pen)]
    for end in ends:
        wings = [(end[0] - 1.5, end[1] + 2.4), (end[0] + 1.5, end[1] + 2.4)]
        shapes.append(area([[tuple(end), *wings]], "paper", Pen(pen.colour, 0.4)))
    x, y = frame.place(worst.x_mm, worst.y_mm)
    shapes.append(Circle(x, y, 1.7, Pen(pen.colour, 0.6), "paper"))
    texts = [
        (what, USUAL_MM, True),
        (say("limit {limit}", limit=look.units.length(worst.limit_mm)), SMALL_MM, False),
    ]
    frame.labels.take((x - 2, y - 2, x + 2, y + 2))
    shapes += frame.labels.beside(x, y, texts, 2.4, must=True)
    return tagged("worst", look.units.length(worst.gap_mm), shapes)


def _plus(x: float, y: float) -> list[Shape]:
    pen = Pen("ink", 0.6)
    return [
        *ring(x, y, 1.7),
        line([(x - 1.1, y), (x + 1.1, y)], pen),
        line([(x, y - 1.1), (x, y + 1.1)], pen),
    ]
