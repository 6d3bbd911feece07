"""Writes walls' names and lengths outside the room, where a plan has room for them."""

import itertools
import math
from collections.abc import Callable, Iterator, Sequence

import numpy as np
import shapely

from rig.drawing.look import Look
from rig.drawing.vector import SMALL_MM, USUAL_MM, Box, Floats, Place, Text, text_width
from rig.language import put, say, shown
from rig.room import Outline, named_walls

_ROW_MM = 3.4
_PAST = (0.1, -0.1, 0.2, -0.2, 0.3, -0.3)  # shares of a wall that its name may reach past it


def wall_names(
    outline: Outline,
    look: Look,
    places: Callable[[Floats], Floats],
    scale: float,
    sheet: tuple[float, float],
) -> Iterator[tuple[list[Text], Box]]:
    """
    Names of walls with their lengths, each in a line or two, and the box that each takes.

    Parameters
    ----------
    outline : Outline
    look : Look
    places : callable
        From the room to the sheet, (n, 2) each.
    scale : float
    sheet : (width_mm, height_mm)
    """
    turn = 1.0 if shapely.LinearRing(outline.walls).is_ccw else -1.0
    room = shapely.Polygon(places(np.array(outline.walls))).buffer(-1.5)
    taken: list[Box] = []
    for name, a, b in named_walls(outline):
        ends = places(np.array([a, b]))
        length = float(np.hypot(*(ends[1] - ends[0])))
        size = look.units.place(math.dist(a, b))
        tries = [*_in_two(shown(put("{name}, {size}", name=name, size=size))), [shown(size)]]
        fitting = [lines for lines in tries if _widest(lines) <= length - 1.0]
        along = (ends[1] - ends[0]) / length
        square = float(np.abs(along).min()) < 0.05
        placed = []
        for lines in fitting:
            share = _clear_of_doors(outline, scale, a, b, _widest(lines) / length)
            spare = max(0.0, 0.5 - (_widest(lines) + 1.0) / length / 2)
            # Where walls meet at a corner that sticks in, their names keep clear of each other.
            asides = (0.0, spare, -spare, *(math.copysign(spare, past) + past for past in _PAST))
            placed += [
                _written(lines, ends, turn, share + aside)
                for aside in (asides if square else (0.0,))
                if share >= 0
            ]
        texts, box = next(
            (one for one in placed if _is_clear(one[1], sheet, room, taken)),
            next((one for one in placed if not _covers(one[1], taken)), (None, None)),
        )
        if texts is None or box is None:
            continue
        taken.append(box)
        yield texts, box


def _written(
    lines: Sequence[str], ends: Floats, turn: float, share: float
) -> tuple[list[Text], Box]:
    """Lines of a name at a share of its wall, outside the room."""
    along = (ends[1] - ends[0]) / float(np.hypot(*(ends[1] - ends[0])))
    # y runs down on the sheet: the outside of a counter-clockwise ring lies to its right.
    out = np.array([-along[1], along[0]]) * turn
    angle = math.degrees(math.atan2(-along[1], along[0]))
    if angle > 90.0 + 1e-6 or angle <= -90.0 + 1e-6:
        angle -= math.copysign(180.0, angle)
    # The baseline lies below the letters: those above a wall need less room than below.
    up = np.array([math.sin(math.radians(angle)), math.cos(math.radians(angle))])
    above = float(out @ -up) > 0
    texts, middles = [], []
    for row, text in enumerate(lines[::-1] if above else lines):
        gap = (1.6 if above else 1.6 + 0.72 * SMALL_MM) + row * _ROW_MM
        x, y = ends[0] + (ends[1] - ends[0]) * share + out * gap
        middles.append((float(x), float(y)))
        texts.append(
            Text(float(x), float(y), text, SMALL_MM, "middle", colour="soft", turn_deg=angle)
        )
    half = np.abs(along) * _widest(lines) / 2 + 0.6 * SMALL_MM
    low, high = np.min(middles, axis=0) - half, np.max(middles, axis=0) + half
    return texts, (float(low[0]), float(low[1]), float(high[0]), float(high[1]))


def _is_clear(
    box: Box, sheet: tuple[float, float], room: shapely.Geometry, taken: Sequence[Box]
) -> bool:
    """Whether a box lies on the sheet, outside the room, and off other names."""
    left, top, right, bottom = box
    if min(left, top) < 0.0 or right > sheet[0] or bottom > sheet[1]:
        return False
    if _covers(box, taken):
        return False
    return not room.intersects(shapely.box(*box))


def _covers(box: Box, taken: Sequence[Box]) -> bool:
    left, top, right, bottom = box
    return any(left < c and a < right and top < d and b < bottom for a, b, c, d in taken)


def _clear_of_doors(outline: Outline, scale: float, a: Place, b: Place, width: float) -> float:
    """Where along a wall, as a share, its name has most room; -1 where it has none."""
    start, wall = np.array(a), np.array(b) - np.array(a)
    length = float(wall @ wall)
    # The word beside a narrow door may be wider than the doorway.
    word = (text_width(say("DOOR {n}", n=2), USUAL_MM, True) + 2.0) * scale / math.sqrt(length)
    taken: list[tuple[float, float]] = []
    for door in outline.doors:
        ends = [(door.x_mm, door.y_mm), (door.end_x_mm, door.end_y_mm)]
        shares = sorted(float((np.array(end) - start) @ wall) / length for end in ends)
        away = max(
            abs(wall[0] * (end[1] - start[1]) - wall[1] * (end[0] - start[0])) for end in ends
        )
        if away / math.sqrt(length) < 50.0 and shares[1] > 0.0 and shares[0] < 1.0:
            more = max(0.0, word - (shares[1] - shares[0])) / 2
            taken.append((max(shares[0] - more, 0.0), min(shares[1] + more, 1.0)))
    if not taken:
        return 0.5
    ends_of = itertools.accumulate((end for _, end in sorted(taken)), max, initial=0.0)
    gaps = zip(ends_of, [*(begin for begin, _ in sorted(taken)), 1.0], strict=True)
    room = max(gaps, key=lambda gap: gap[1] - gap[0])
    return sum(room) / 2 if room[1] - room[0] > width else -1.0


def _in_two(text: str) -> list[list[str]]:
    """A text in one line, and in two that are about as long."""
    words = text.split(" ")
    cuts = range(1, len(words))
    halves = [[" ".join(words[:cut]), " ".join(words[cut:])] for cut in cuts]
    return [[text], *([min(halves, key=_widest)] if halves else [])]


def _widest(lines: Sequence[str]) -> float:
    return max(text_width(line, SMALL_MM) for line in lines)
