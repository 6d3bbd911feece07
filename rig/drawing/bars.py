"""Values side by side as bars, each with its interval, against a line that they are held to."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from rig.drawing.vector import (
    SMALL_MM,
    Drawing,
    Path,
    Pen,
    Shape,
    Text,
    line,
    rectangle,
    text_width,
)

_ROW_MM, _EDGE_MM, _BAR_MM = 7.0, 2.0, 3.2
Scale = Callable[[float], float]
_MOST_LABEL = 0.42
"""Of the sheet's width."""


@dataclass(frozen=True)
class Bar:
    """A value under its label; `low` and `high` are its interval, where it has one."""

    label: str
    value: float
    low: float | None = None
    high: float | None = None


def bars_drawing(
    title: str,
    bars: Sequence[Bar],
    width_mm: float,
    held_to: float | None = None,
    *,
    from_zero: bool = False,
) -> Drawing:
    """Draw bars from zero, or from the line that they are held to where all lie near it."""
    label_mm = min(
        max((text_width(bar.label, SMALL_MM) for bar in bars), default=0.0) + _EDGE_MM,
        _MOST_LABEL * width_mm,
    )
    left, right = label_mm + 2 * _EDGE_MM, width_mm - 14.0
    told = [one for bar in bars for one in (bar.value, bar.low, bar.high) if one is not None]
    told += [held_to] if held_to is not None else []
    told += [0.0] if held_to is None or from_zero else []
    least, most = min(told), max(told)
    span = (most - least) or 1.0
    least -= 0.04 * span if least else 0.0

    def at(value: float) -> float:
        return left + (right - left) * (value - least) / (most - least or 1.0)

    start = 0.0 if held_to is None or from_zero else held_to
    shapes: list[Shape] = []
    high_mm = _ROW_MM * max(len(bars), 1) + 2 * _EDGE_MM
    if held_to is not None:
        x = at(held_to)
        pen = Pen("mark", 0.3, (1, 1))
        shapes.append(line([(x, _EDGE_MM / 2), (x, high_mm - _EDGE_MM / 2)], pen))
    for nth, bar in enumerate(bars):
        y = _EDGE_MM + _ROW_MM * nth + _ROW_MM / 2
        shapes += _row(bar, y, at, start, label_mm)
    return Drawing(width_mm, high_mm, tuple(shapes), title, _described(title, bars))


def _row(bar: Bar, y: float, at: Scale, start: float, label_mm: float) -> list[Shape]:
    low, high = sorted((at(start), at(bar.value)))
    box = (low, y - _BAR_MM / 2, max(high, low + 0.3), y + _BAR_MM / 2)
    shapes: list[Shape] = [
        Text(_EDGE_MM, y + SMALL_MM / 3, _cut(bar.label, label_mm), SMALL_MM),
        rectangle(box, "tint", Pen("mark", 0.2)),
    ]
    end = high
    if bar.low is not None and bar.high is not None:
        ends: Path = line([(at(bar.low), y), (at(bar.high), y)], Pen("ink", 0.5))
        shapes.append(ends)
        end = max(end, at(bar.high))
    shapes.append(Text(end + 1.0, y + SMALL_MM / 3, f"{bar.value:.3g}", SMALL_MM))
    return shapes


def _cut(label: str, width_mm: float) -> str:
    while label and text_width(label, SMALL_MM) > width_mm:
        label = label[:-2].rstrip("…") + "…"
    return label


def _described(title: str, bars: Sequence[Bar]) -> str:
    return title + ": " + ", ".join(f"{bar.label} {bar.value:.3g}" for bar in bars)
