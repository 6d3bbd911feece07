"""The floor small in characters, for a terminal: digits count steps below the high point."""

from collections.abc import Callable

import numpy as np
import shapely

from rig.drawing.contours import step_of
from rig.drawing.look import Look, quarter_turns, turned
from rig.drawing.vector import Floats
from rig.language import say, shown
from rig.room import Outline
from rig.study.floor_answer import HighPoint, LowPoint

TALL = 2.1  # a character is so much higher than wide
WIDEST, HIGHEST = 56, 22
_FEWEST = 4


def floor_in_characters(
    outline: Outline,
    look: Look,
    height: Callable[[Floats, Floats], Floats],
    high: HighPoint,
    low: LowPoint,
    columns: int = WIDEST,
) -> list[str]:
    """Lines of a plan as seen from the door, with the door at the bottom.

    Parameters
    ----------
    outline : Outline
    look : Look
        For its units.
    height : callable
        Of x and y (m,): height of the floor, (m,).
    high, low : HighPoint, LowPoint
    columns : int
        What the terminal is wide.
    """
    turns = quarter_turns(outline)
    corners = turned(np.array(outline.walls, dtype=float), turns)
    (left, bottom), (right, top) = corners.min(axis=0), corners.max(axis=0)
    most = max(_FEWEST, min(WIDEST, columns - 2))
    wide = max((right - left) / most, (top - bottom) / (HIGHEST * TALL))
    n_columns = max(_FEWEST, round((right - left) / wide))
    n_rows = max(_FEWEST // 2, round((top - bottom) / (wide * TALL)))
    across = left + (np.arange(n_columns) + 0.5) * (right - left) / n_columns
    down = top - (np.arange(n_rows) + 0.5) * (top - bottom) / n_rows
    places = np.column_stack([part.ravel() for part in np.meshgrid(across, down)])
    room = turned(places, -turns)
    inside = np.asarray(shapely.intersects_xy(outline.polygon, room[:, 0], room[:, 1]))
    below = high.z_mm - height(room[inside, 0], room[inside, 1])
    step = step_of(-max(float(high.z_mm - low.z_mm), 0.0), 0.0, look.units)
    signs = np.full(len(places), " ", dtype="<U1")
    steps = np.clip(np.floor(np.maximum(below, 0.0) / step + 1e-9), 0, 9).astype(int)
    signs[inside] = steps.astype("<U1")
    for place, sign in ((low, "v"), (high, "^")):
        at = turned(np.array([[place.x_mm, place.y_mm]]), turns)[0]
        on = np.argmin(np.hypot(*(places - at).T) + np.where(inside, 0.0, 1e9))
        signs[on] = sign
    rows = ["".join(row) for row in signs.reshape(n_rows, n_columns)]
    rule = "+" + "-" * n_columns + "+"
    lines = [rule, *(f"|{row}|" for row in rows), _with_doors(outline, rule, turns, left, right)]
    last = int(steps.max(initial=0))
    nearest, lowest = look.units.length(step), look.units.length(last * step)
    key = (
        say(
            "^ high point, v low point; 0 lies less than {step} below it, {last} at least "
            "{lowest}.",
            step=nearest,
            last=last,
            lowest=lowest,
        )
        if last
        else say("^ high point, v low point; 0 lies less than {step} below it.", step=nearest)
    )
    lines.append(shown(key))
    if outline.doors:
        lines.append(shown(say("Seen from the door.")))
    return lines


def _with_doors(outline: Outline, rule: str, turns: int, left: float, right: float) -> str:
    """The lowest wall, with a gap for each doorway on it."""
    signs = list(rule)
    floor = turned(np.array(outline.walls, dtype=float), turns)[:, 1].min()
    for door in outline.doors:
        ends = turned(np.array([[door.x_mm, door.y_mm], [door.end_x_mm, door.end_y_mm]]), turns)
        if ends[:, 1].max() - floor > 100.0:
            continue
        share = (np.sort(ends[:, 0]) - left) / (right - left) * (len(rule) - 2)
        first, last = int(share[0]) + 1, max(int(share[1]), int(share[0]) + 1)
        gap = (shown(say("door")) if last - first >= 3 else "").center(last - first + 1)
        signs[first : last + 1] = list(gap)
    return "".join(signs)
