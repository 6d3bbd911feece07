"""Symbols for legends and for plans: dots, rings, triangles, little fields, arrows."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from rig.drawing.contours import hatching
from rig.drawing.vector import Circle, Group, Path, Pen, Place, Shape, area, line, rectangle

Symbol = Callable[[float, float], Sequence[Shape]]


@dataclass(frozen=True)
class Key:
    """An entry of the legend: a symbol drawn about a place, and what it means."""

    symbol: Symbol
    text: str


def dot(x: float, y: float, radius: float = 0.8, colour: str = "ink") -> list[Shape]:
    """A filled dot."""
    return [Circle(x, y, radius, None, colour)]


def ring(x: float, y: float, radius: float = 1.2, colour: str = "ink") -> list[Shape]:
    """An open ring on paper."""
    return [Circle(x, y, radius, Pen(colour, 0.4), "paper")]


def triangle(
    x: float, y: float, up: bool = True, size: float = 1.9, fill: str = "ink"
) -> list[Shape]:
    """A triangle: up for a high point, down for a low one."""
    way = -1.0 if up else 1.0
    tip = (x, y + way * size)
    wings = [(x - size, y - way * 0.8 * size), (x + size, y - way * 0.8 * size)]
    return [area([[tip, *wings]], fill, Pen("ink", 0.35))]


def patch(fill: str | None, hatch: Pen | None = None, bearing_deg: float = 45.0) -> Symbol:
    """A legend's little field, filled or hatched."""

    def drawn(x: float, y: float) -> list[Shape]:
        box = (x - 3.5, y - 1.6, x + 3.5, y + 1.6)
        shapes: list[Shape] = [rectangle(box, fill, Pen("soft", 0.18))]
        if hatch is not None:
            runs = hatching(shapely.box(*box), 1.3, -bearing_deg)
            shapes.append(Path(tuple(runs), hatch))
        return shapes

    return drawn


def stroke(pen: Pen) -> Symbol:
    """A legend's little line."""
    return lambda x, y: [line([(x - 3.6, y), (x + 3.6, y)], pen)]


def arrow(a: Place, b: Place, pen: Pen, head_mm: float = 1.8) -> list[Shape]:
    """A line from one place of the sheet to another with a head in its middle."""
    start, end = np.array(a), np.array(b)
    way = end - start
    length = float(np.hypot(*way))
    if length < 1e-6:
        return []
    way = way / length
    shapes: list[Shape] = [line(np.array([start, end]), pen)]
    if length > 2.2 * head_mm:
        tip = start + way * (length / 2 + head_mm / 2)
        side = np.array([-way[1], way[0]]) * head_mm * 0.4
        back = tip - way * head_mm
        shapes.append(area([[tip, back + side, back - side]], pen.colour))
    return shapes


def tagged(kind: str, name: str, shapes: Sequence[Shape]) -> Group:
    """Shapes that stand for one thing of the job."""
    return Group(kind, name, tuple(shapes))
