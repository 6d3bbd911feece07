"""Writes a drawing into a page of a PDF as the operators of its content stream (ISO 32000-1, 8.5).

The drawing's own millimetres, y down, become the page's points by one matrix; only texts turn
back, so that they do not stand on their heads.
"""

import itertools
import math
from collections.abc import Callable, Iterator

from fpdf import FPDF

from rig.drawing.palette import COLOURS
from rig.drawing.vector import Circle, Drawing, Floats, Path, Pen, Text, flat

_ARC = 0.5522847498  # of the radius: handles of four cubic curves that draw a circle


def draw(
    pdf: FPDF,
    drawing: Drawing,
    x_mm: float,
    y_mm: float,
    family: str = "Helvetica",
    fit: Callable[[str], str] = str,
) -> None:
    """Draw at full size, the sheet's upper left corner at a place of the page.

    Parameters
    ----------
    pdf : FPDF
        In mm, with a page.
    drawing : Drawing
    x_mm, y_mm : float
    family : str
        A font that is there, plain and bold.
    fit : callable
        Turns texts into letters that the font has.
    """
    k = pdf.k
    out = [f"q {k:.6g} 0 0 {-k:.6g} {x_mm * k:.3f} {(pdf.h - y_mm) * k:.3f} cm 1 j"]
    for shape in flat(drawing.shapes):
        match shape:
            case Text():
                out.append(_text(pdf, shape, family, fit))
            case Path():
                path = " ".join(_run(run, shape.closed) for run in shape.runs)
                out.append(_painted(path, shape.fill, shape.pen, len(shape.runs) > 1))
            case Circle():
                path = " ".join(_circle(shape.x_mm, shape.y_mm, shape.radius_mm))
                out.append(_painted(path, shape.fill, shape.pen, False))
    out.append("Q")
    pdf._out("\n".join(part for part in out if part))


def _painted(path: str, fill: str | None, pen: Pen | None, even_odd: bool) -> str:
    """A path with the operators that fill and stroke it."""
    if not path or (fill is None and pen is None):
        return ""
    parts = []
    if fill is not None:
        parts.append(f"{_RGB[fill]} rg")
    if pen is not None:
        dash = " ".join(_n(length) for length in pen.dash)
        parts.append(f"{_RGB[pen.colour]} RG {_n(pen.width_mm)} w [{dash}] 0 d")
    operator = "B" if fill is not None and pen is not None else "f" if fill is not None else "S"
    star = "*" if even_odd and fill is not None else ""
    return " ".join([*parts, path, operator + star])


def _run(run: Floats, closed: bool) -> str:
    (x, y), *rest = run.tolist()
    lines = " ".join(f"{_n(a)} {_n(b)} l" for a, b in rest)
    return f"{_n(x)} {_n(y)} m {lines}{' h' if closed else ''}"


def _circle(x: float, y: float, radius: float) -> Iterator[str]:
    handle = _ARC * radius
    yield f"{_n(x + radius)} {_n(y)} m"
    turns = [(1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0), (1.0, 0.0)]
    for (a, b), (c, d) in itertools.pairwise(turns):
        corners = (
            (x + radius * a + handle * c, y + radius * b + handle * d),
            (x + radius * c + handle * a, y + radius * d + handle * b),
            (x + radius * c, y + radius * d),
        )
        yield " ".join(f"{_n(u)} {_n(v)}" for u, v in corners) + " c"
    yield "h"


def _text(pdf: FPDF, text: Text, family: str, fit: Callable[[str], str]) -> str:
    told = fit(text.text)
    pdf.set_font(family, "B" if text.bold else "", text.size_mm * pdf.k)
    font = pdf.current_font
    assert font is not None
    width = pdf.get_string_width(told)
    back = {"start": 0.0, "middle": width / 2, "end": width}[text.anchor]
    turn = math.radians(text.turn_deg)
    cos, sin = math.cos(turn), math.sin(turn)
    # On a sheet with y down, up is -y; turned counter-clockwise the text runs along (cos, -sin).
    x, y = text.x_mm - back * cos, text.y_mm + back * sin
    named = pdf._set_font_for_page(font, text.size_mm, wrap_in_text_object=False)
    matrix = " ".join(_n(part, 6) for part in (cos, -sin, -sin, -cos))
    return (
        f"BT {_RGB[text.colour]} rg {named} {matrix} {_n(x)} {_n(y)} Tm {font.encode_text(told)} ET"
    )


def _n(value: float, digits: int = 2) -> str:
    """Hundredths of a mm are finer than any printer."""
    told = f"{value:.{digits}f}".rstrip("0").rstrip(".")
    return "0" if told in ("-0", "") else told


_RGB = {
    name: " ".join(f"{int(told[n : n + 2], 16) / 255:.4g}" for n in (1, 3, 5))
    for name, told in COLOURS.items()
}
