"""An outline from walls paced out one after another: `12ft right 5ft left ...`."""

import math
import re
from collections.abc import Sequence

from rig.errors import BadInput
from rig.language import both, numeral, say
from rig.room.geometry import Point
from rig.room.outline import Outline, from_rings
from rig.units import Units, parse_length

MOST_CLOSING = 0.02  # of the perimeter; more is a wrong length, not tape error (common practice)


def from_walls(text: str) -> tuple[Outline, float]:
    """
    Outline from a walk along the walls: `12ft right 5ft left 3ft ...`.

    The walk starts at (0, 0) along x and turns by 90° unless the turn says `right 45deg`; a turn
    after the last wall is allowed. What it misses its start by is spread over the corners in
    proportion to the length walked (Bowditch's compass rule of surveying).

    Returns
    -------
    outline : Outline
    closing_mm : float
        How far the walk ended from its start, for the caller to show.

    Raises
    ------
    BadInput
        Where a length or turn can't be read, or the walk misses by over 2 % of its length.
    """
    lengths, turns = _parted(text)
    if len(lengths) < 3:
        raise BadInput(
            say(
                "the walk has fewer than three walls; write each length with a turn after it: "
                "12ft right 10ft right 12ft right 10ft."
            )
        )
    ends = _ends(lengths, turns)
    x, y, walked = ends[-1]
    closing = math.hypot(x, y)
    if closing > MOST_CLOSING * walked:
        metric = all(length.lower().rstrip(" .").endswith("m") for length in lengths)
        raise BadInput(_missed(x, y, closing, walked, Units("mm" if metric else "in")))
    corners = [(0.0, 0.0)] + [(px - x * w / walked, py - y * w / walked) for px, py, w in ends[:-1]]
    return from_rings(corners), closing


def walk_so_far(text: str) -> list[tuple[float, float, float]]:
    """
    Where each wall of a walk ends that may not be closed yet, and how far it is walked there.

    Raises
    ------
    BadInput
        Where a length or turn can't be read.
    """
    return _ends(*_parted(text))


def _parted(text: str) -> tuple[list[str], list[tuple[str, str | None]]]:
    """Lengths of a walk and the turns after them."""
    pieces = re.split(
        r"\b(left|right)\b(?:\s*([0-9]*\.?[0-9]+)\s*(?:degrees|degree|deg|°))?", text, flags=re.I
    )
    lengths = [piece.strip(" \t\r\n,;") for piece in pieces[0::3]]
    turns = list(zip(pieces[1::3], pieces[2::3], strict=True))
    if turns and not lengths[-1]:
        lengths.pop()
    return lengths, turns


def _ends(
    lengths: Sequence[str], turns: Sequence[tuple[str, str | None]]
) -> list[tuple[float, float, float]]:
    heading = x = y = walked = 0.0
    ends = []
    for n, length in enumerate(lengths):
        if n:
            heading += _turn(*turns[n - 1], n)
        try:
            step = parse_length(length, what=say("wall {n} of the walk", n=n + 1), above=0.0)
        except BadInput as error:
            raise BadInput(
                say("{error} Between walls, turns are written left or right.", error=error)
            ) from None
        cos, sin = _direction(heading)
        x, y, walked = x + step * cos, y + step * sin, walked + step
        ends.append((x, y, walked))
    return ends


def _turn(word: str, angle: str | None, n: int) -> float:
    degrees = 90.0 if angle is None else float(angle)
    if not 0 < degrees < 180:
        raise BadInput(say("the turn after wall {n} must be between 0 and 180 degrees.", n=n))
    return degrees if word.lower() == "left" else -degrees


def _direction(heading_deg: float) -> Point:
    """Cosine and sine, exact for square rooms."""
    quarter, rest = divmod(heading_deg % 360, 90)
    if rest == 0:
        return ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))[int(quarter)]
    return math.cos(math.radians(heading_deg)), math.sin(math.radians(heading_deg))


def _missed(x: float, y: float, closing: float, walked: float, units: Units) -> str:
    along, across = units.place(abs(x)), units.place(abs(y))
    ways = [
        (x, say("{size} too far ahead", size=along))
        if x > 0
        else (x, say("{size} too far back", size=along)),
        (y, say("{size} too far to the left", size=across))
        if y > 0
        else (y, say("{size} too far to the right", size=across)),
    ]
    return say(
        "the walls miss their start by {closing}, {walked} % of the walk (at most 2 % is "
        "taken as tape error): the last wall ends {where}, looking along wall 1. "
        "Check the walls that run that way, and the turns.",
        closing=units.place(closing),
        walked=numeral(100 * closing / walked, ".1f"),
        where=both(way for size, way in ways if abs(size) > 0.05 * closing),
    )
