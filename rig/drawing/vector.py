"""The vector model: areas, circles and texts with physical sizes, on a sheet measured in mm.

x runs to the right and y down, from the sheet's upper left corner. Colours are names out of
`rig.drawing.palette`, so that a page may dress a drawing anew; what is drawn later lies above.
"""

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
import numpy.typing as npt
import shapely

from rig.language import shown

Floats = npt.NDArray[np.float64]
Place = tuple[float, float]
Box = tuple[float, float, float, float]
Line = tuple[str, float, bool]  # a text, its size and whether it is bold

SMALL_MM = 3.2  # 9 point: the least that is read at arm's length
USUAL_MM = 3.5
LARGE_MM = 4.6

# Widths of Helvetica and its kin, in thousandths of the size (Adobe's font metrics, from memory;
# a test holds them against those of the PDF writer).
_NARROW = {
    **dict.fromkeys("ijl", 222), "'": 191, **dict.fromkeys(" ,./:;!It[]\\f", 278), "|": 260,
    **dict.fromkeys("()-r`", 333), '"': 355, "*": 389, "^": 469,
}  # fmt: skip
_WIDE = {
    **dict.fromkeys("ckxyszvJ", 500), **dict.fromkeys("+=<>~±×÷", 584), **dict.fromkeys("FTZ", 611),
    **dict.fromkeys("ABEKPSVXY&", 667), **dict.fromkeys("CDHNRUw", 722),
    **dict.fromkeys("GOQ", 778), **dict.fromkeys("mM", 833), "%": 889, "W": 944, "@": 1015,
    "°": 400, "²": 333, "³": 333, "·": 278, "–": 556, "—": 1000, "…": 1000,
}  # fmt: skip
_WIDTHS = _NARROW | _WIDE
_SQUARE_MM = 10.0
_WIDER_BOLD = frozenset("bcdfghijklmnopqrstuvwxyABJKL&!?:;[]'")


def text_width(text: str, size_mm: float, bold: bool = False) -> float:
    """Width of a line of text in mm, near enough to keep others off it."""
    text = shown(text)
    width = sum(_WIDTHS.get(letter, 556) for letter in text)
    if bold:
        width += 55 * sum(letter in _WIDER_BOLD for letter in text)
    return width / 1000.0 * size_mm


def wrapped(text: str, size_mm: float, width_mm: float) -> list[str]:
    """Break a text, in the language in use, between words into lines of a width in mm."""
    lines = [""]
    for word in shown(text).split(" "):
        longer = f"{lines[-1]} {word}".lstrip()
        if lines[-1] and text_width(longer, size_mm) > width_mm:
            lines.append(word)
        else:
            lines[-1] = longer
    return lines


@dataclass(frozen=True)
class Pen:
    """A stroke: its colour, width and dashes in mm."""

    colour: str = "ink"
    width_mm: float = 0.25
    dash: tuple[float, ...] = ()


@dataclass(frozen=True, eq=False)
class Path:
    """Lines or areas: one or more runs of corners, shape (n, 2) each.

    With several closed rings what lies inside an even number of them is a hole.
    """

    runs: tuple[Floats, ...]
    pen: Pen | None = None
    fill: str | None = None
    closed: bool = False


@dataclass(frozen=True)
class Circle:
    """A circle; without pen and fill it is not seen."""

    x_mm: float
    y_mm: float
    radius_mm: float
    pen: Pen | None = None
    fill: str | None = None


@dataclass(frozen=True)
class Text:
    """A line of text; `y_mm` is its baseline, `turn_deg` counter-clockwise about the anchor."""

    x_mm: float
    y_mm: float
    text: str
    size_mm: float = USUAL_MM
    anchor: Literal["start", "middle", "end"] = "start"
    bold: bool = False
    colour: str = "ink"
    turn_deg: float = 0.0

    def __post_init__(self) -> None:
        object.__setattr__(self, "text", shown(self.text))  # as it was measured


@dataclass(frozen=True, eq=False)
class Group:
    """Shapes that stand for one thing of the job: `kind` marker, point, batch ..., by its name."""

    kind: str
    name: str
    shapes: "tuple[Shape, ...]"


Shape = Path | Circle | Text | Group


@dataclass(frozen=True, eq=False)
class Drawing:
    """A finished drawing.

    Attributes
    ----------
    width_mm, height_mm : float
    shapes : tuple of Shape
        In the order in which they are drawn.
    title, description : str
        What it shows, for those who cannot see it.
    room_to_sheet : tuple of six floats, or None
        a, b, c, d, e, f of X = a·x + c·y + e and Y = b·x + d·y + f, from mm in the room to mm on
        the sheet, as in SVG's `matrix`.
    scale : float or None
        One to so many, printed at full size.
    """

    width_mm: float
    height_mm: float
    shapes: tuple[Shape, ...]
    title: str
    description: str = ""
    room_to_sheet: tuple[float, float, float, float, float, float] | None = None
    scale: float | None = None


def line(places: Iterable[Sequence[float]] | Floats, pen: Pen) -> Path:
    """Open line through places."""
    return Path((_run(places),), pen)


def area(
    rings: Iterable[Iterable[Sequence[float]] | Floats], fill: str | None, pen: Pen | None = None
) -> Path:
    """Filled area of one or more rings."""
    return Path(tuple(_run(ring) for ring in rings), pen, fill, closed=True)


def rectangle(box: Box, fill: str | None, pen: Pen | None = None) -> Path:
    """Box from its left, top, right and bottom."""
    left, top, right, bottom = box
    return area([[(left, top), (right, top), (right, bottom), (left, bottom)]], fill, pen)


def flat(shapes: Iterable[Shape]) -> Iterable[Path | Circle | Text]:
    """All shapes one by one, those in groups too."""
    for shape in shapes:
        if isinstance(shape, Group):
            yield from flat(shape.shapes)
        else:
            yield shape


@dataclass
class Labels:
    """Places texts where they cover neither each other nor what is already there."""

    bounds: Box
    within: shapely.Polygon | None = None  # that texts should not leave
    # What is taken, by squares of the sheet, so that a thousand labels need not all be asked.
    _taken: dict[tuple[int, int], list[Box]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if self.within is not None:
            shapely.prepare(self.within)

    def take(self, box: Box) -> None:
        """Keep texts off a box."""
        for square in _squares(box):
            self._taken.setdefault(square, []).append(box)

    def inside(self, x: float, y: float, wide: float, high: float) -> Place:
        """Nearest place from which so much lies within the bounds on both sides."""
        left, top, right, bottom = self.bounds
        return (
            min(max(x, left + wide), max(right - wide, left + wide)),
            min(max(y, top + high), max(bottom - high, top + high)),
        )

    def free(self, box: Box) -> bool:
        """Whether a box lies within the bounds and covers nothing."""
        return self._covered(box) <= 0.0

    def beside_free(self, x: float, y: float, lines: Sequence[Line], away_mm: float) -> bool:
        """Whether lines have room to the right or to the left of a place; if so it is taken."""
        width, height = _lines_box(lines)
        for left, top in _around(x, y, width, height, away_mm)[0:4:3]:
            box = (left, top, left + width, top + height)
            if self.free(box):
                self.take(_apart(box, away_mm))
                return True
        return False

    def copy(self) -> "Labels":
        """The same, to try on."""
        taken = {square: list(boxes) for square, boxes in self._taken.items()}
        return Labels(self.bounds, self.within, taken)

    def beside(
        self,
        x: float,
        y: float,
        lines: Sequence[Line],
        away_mm: float = 1.2,
        must: bool = False,
        colour: str = "ink",
        backed: bool = True,
        below: bool = False,
        centred: bool = False,
        abreast: bool = False,
    ) -> tuple[Shape, ...]:
        """Write lines of (text, size, bold) beside a place, on a patch of paper.

        To the right (or `below`, or `centred` on it, where that is wanted; `abreast` next to the
        left, and away from others, so that each is seen to be its own place's), else where there is
        room. Returns nothing where there is none, unless it `must`: then where it covers least.
        """
        width, height = _lines_box(lines)
        best, least = None, float("inf")
        corners = _around(x, y, width, height, away_mm)
        if below:
            corners = [*corners[1:3], corners[0], *corners[3:]]
        if abreast:
            corners = [corners[0], corners[3], *corners[1:3], *corners[4:]]
        if must:
            corners = [*corners, *_around(x, y, width, height, away_mm + 3.0)]
        if centred:
            corners = [(x - width / 2, y - height / 2), *corners]
        for rank, (left, top) in enumerate(corners):
            box = (left, top, left + width, top + height)
            covered = self._covered(box)
            if covered + 1e-3 * rank * must < least:
                best, least = box, covered + 1e-3 * rank * must
            if covered <= 0.0:
                break
        if best is None or (not must and least > 0.0):
            return ()
        self.take(_apart(best, away_mm) if abreast else best)
        shapes: list[Shape] = [rectangle(best, "paper")] if backed else []
        y = best[1] + 0.1
        for text, size, bold in lines:
            shapes.append(Text(best[0] + 0.3, y + 0.86 * size, text, size, "start", bold, colour))
            y += 1.08 * size
        return tuple(shapes)

    def _covered(self, box: Box) -> float:
        left, top, right, bottom = box
        outside = max(0.0, self.bounds[0] - left) + max(0.0, self.bounds[1] - top)
        outside += max(0.0, right - self.bounds[2]) + max(0.0, bottom - self.bounds[3])
        covered = 5.0 * outside
        if self.within is not None:
            whole = shapely.box(*box)
            if not self.within.contains(whole):
                covered += 3.0 * float(whole.difference(self.within).area)
        near = {other for square in _squares(box) for other in self._taken.get(square, ())}
        for a, b, c, d in near:
            wide, high = min(right, c) - max(left, a), min(bottom, d) - max(top, b)
            if wide > 0 and high > 0:
                covered += wide * high
        return covered


def _apart(box: Box, away_mm: float) -> Box:
    left, top, right, bottom = box
    return left - away_mm, top, right + away_mm, bottom


def _lines_box(lines: Sequence[Line]) -> tuple[float, float]:
    width = max(text_width(text, size, bold) for text, size, bold in lines) + 0.6
    return width, sum(size * 1.08 for _, size, _ in lines) + 0.2


def _squares(box: Box) -> Iterable[tuple[int, int]]:
    left, top, right, bottom = (int(value // _SQUARE_MM) for value in box)
    return itertools.product(range(left, right + 1), range(top, bottom + 1))


def _around(x: float, y: float, width: float, height: float, away: float) -> list[Place]:
    """Upper left corners of a box round a place, the best first."""
    return [
        (x + away, y - height / 2),
        (x - width / 2, y + away),
        (x - width / 2, y - away - height),
        (x - away - width, y - height / 2),
        (x + 0.3, y + away),
        (x + 0.3, y - away - height),
        (x - 0.3 - width, y + away),
        (x - 0.3 - width, y - away - height),
    ]


def _run(places: Iterable[Sequence[float]] | Floats) -> Floats:
    run = np.array(places if isinstance(places, np.ndarray) else list(places), dtype=float)
    if run.ndim != 2 or run.shape[1] != 2:
        raise ValueError("a run of places needs the shape (n, 2)")
    return run
