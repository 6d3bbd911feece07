"""Draws a drawing onto a page of a PDF: the same shapes in the same order as in SVG."""

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import numpy as np

from rig.drawing.palette import COLOURS
from rig.drawing.vector import Circle, Drawing, Path, Pen, Text, flat

if TYPE_CHECKING:
    from fpdf import FPDF

POINT_MM = 25.4 / 72.0


def draw(
    pdf: "FPDF",
    drawing: Drawing,
    x_mm: float,
    y_mm: float,
    family: str,
    fit: Callable[[str], str] = str,
) -> None:
    """Draw at full size, the sheet's upper left corner at a place of the page.

    Parameters
    ----------
    pdf : FPDF
        In mm.
    drawing : Drawing
    x_mm, y_mm : float
    family : str
        A font that is there, plain and bold.
    fit : callable
        Turns texts into letters that the font has.
    """
    for shape in flat(drawing.shapes):
        match shape:
            case Path():
                _path(pdf, shape, np.array([x_mm, y_mm]))
            case Circle():
                style = _pen(pdf, shape.fill, shape.pen)
                if style:
                    x, y = x_mm + shape.x_mm, y_mm + shape.y_mm
                    pdf.circle(x=x, y=y, radius=shape.radius_mm, style=style)
            case Text():
                _text(pdf, shape, x_mm, y_mm, family, fit)
    pdf.set_dash_pattern()


def _path(pdf: "FPDF", path: Path, corner: Any) -> None:
    style = _pen(pdf, path.fill, path.pen)
    if not style:
        return
    runs = [run + corner for run in path.runs]
    if path.fill and len(runs) > 1:
        _with_holes(pdf, path, runs)
        return
    for run in runs:
        places = [(float(x), float(y)) for x, y in run]
        pdf.polyline(places, polygon=path.closed, style=style)


def _with_holes(pdf: "FPDF", path: Path, runs: list[Any]) -> None:
    with pdf.new_path() as drawn:
        drawn.style.fill_color = COLOURS[path.fill] if path.fill else None
        drawn.style.stroke_color = COLOURS[path.pen.colour] if path.pen else None
        if path.pen:
            drawn.style.stroke_width = path.pen.width_mm
        drawn.style.intersection_rule = "evenodd"
        for run in runs:
            drawn.move_to(float(run[0][0]), float(run[0][1]))
            for x, y in run[1:]:
                drawn.line_to(float(x), float(y))
            drawn.close()


def _pen(pdf: "FPDF", fill: str | None, pen: Pen | None) -> str:
    """Set pen and fill, and return fpdf2's letters for what is to be done."""
    style = ""
    if pen is not None:
        pdf.set_draw_color(COLOURS[pen.colour])
        pdf.set_line_width(pen.width_mm)
        if pen.dash:
            pdf.set_dash_pattern(dash=pen.dash[0], gap=pen.dash[-1])
        else:
            pdf.set_dash_pattern()
        style += "D"
    if fill is not None:
        pdf.set_fill_color(COLOURS[fill])
        style += "F"
    return style


def _text(
    pdf: "FPDF", text: Text, x_mm: float, y_mm: float, family: str, fit: Callable[[str], str]
) -> None:
    pdf.set_font(family, "B" if text.bold else "", text.size_mm / POINT_MM)
    pdf.set_text_color(COLOURS[text.colour])
    x, y = x_mm + text.x_mm, y_mm + text.y_mm
    share = {"start": 0.0, "middle": 0.5, "end": 1.0}[text.anchor]
    words = fit(text.text)
    left = x - share * pdf.get_string_width(words)
    if text.turn_deg:
        with pdf.rotation(text.turn_deg, x, y):
            pdf.text(left, y, words)
    else:
        pdf.text(left, y, words)
