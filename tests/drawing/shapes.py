"""What tests ask of a finished drawing: its texts, and whether all stays on its sheet."""

import math
from typing import Any

import numpy as np

from rig.drawing.vector import Circle, Drawing, Path, Text, flat, text_width


def texts(drawing: Drawing) -> list[Text]:
    return [shape for shape in flat(drawing.shapes) if isinstance(shape, Text)]


def box_of(text: Text) -> tuple[float, ...]:
    wide = text_width(text.text, text.size_mm, text.bold)
    left = -{"start": 0.0, "middle": 0.5, "end": 1.0}[text.anchor] * wide
    turn = math.radians(text.turn_deg)
    corners = [
        (text.x_mm + a * math.cos(turn) - b * math.sin(turn),
         text.y_mm - a * math.sin(turn) - b * math.cos(turn))
        for a in (left, left + wide)
        for b in (-0.1 * text.size_mm, 0.7 * text.size_mm)
    ]  # fmt: skip
    x, y = zip(*corners, strict=True)
    return min(x), min(y), max(x), max(y)


def overlapping(drawing: Drawing, slack: float = 0.15) -> list[Any]:
    """Pairs of texts that lie over each other."""
    boxes = [(text.text, box_of(text)) for text in texts(drawing)]
    return [
        (one, other)
        for n, (one, a) in enumerate(boxes)
        for other, b in boxes[n + 1 :]
        if min(a[2], b[2]) - max(a[0], b[0]) > slack and min(a[3], b[3]) - max(a[1], b[1]) > slack
    ]


def off_the_sheet(drawing: Drawing) -> list[Any]:
    found = []
    for shape in flat(drawing.shapes):
        match shape:
            case Text():
                box = box_of(shape)
            case Circle():
                r = shape.radius_mm
                box = (shape.x_mm - r, shape.y_mm - r, shape.x_mm + r, shape.y_mm + r)
            case Path():
                run = np.concatenate(shape.runs)
                box = (*run.min(axis=0), *run.max(axis=0))
        if box[0] < 0 or box[1] < 0 or box[2] > drawing.width_mm or box[3] > drawing.height_mm:
            found.append((shape, box))
    return found
