"""Writes a drawing as SVG text: plain attributes only, so that a strict page may embed it."""

from collections.abc import Callable
from xml.sax import saxutils

from rig.drawing.palette import COLOURS
from rig.drawing.vector import Circle, Drawing, Floats, Group, Path, Pen, Shape, Text, flat
from rig.language import shown
from rig.texts import harmless

FAMILY = "Helvetica, Arial, 'Liberation Sans', sans-serif"


def to_svg(drawing: Drawing, full_size: bool = True) -> str:
    """Write a drawing as one `<svg>` element.

    Every colour stands in an attribute beside a class `c-NAME` (its fill) or `s-NAME` (its
    stroke), which a style sheet overrides. A group has its kind and name as `data-kind` and
    `data-name`; the drawing its matrix from mm in the room as `data-room`.

    Parameters
    ----------
    drawing : Drawing
    full_size : bool
        With its width and height in mm; without them it fills what holds it.
    """
    w, h = _n(drawing.width_mm), _n(drawing.height_mm)
    size = f' width="{w}mm" height="{h}mm"' if full_size else ""
    room = ""
    if drawing.room_to_sheet is not None:
        room = ' data-room="' + " ".join(f"{value:.9g}" for value in drawing.room_to_sheet) + '"'
    described = f"<desc>{_escape(shown(drawing.description))}</desc>" if drawing.description else ""
    body = "\n".join(_shape(shape) for shape in drawing.shapes)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {w} {h}"{size}{room} role="img" '
        f"aria-label={_quoted(shown(drawing.title))} font-family={_quoted(FAMILY)}>\n"
        f"<title>{_escape(shown(drawing.title))}</title>{described}\n"
        f'<rect width="{w}" height="{h}" class="c-paper" fill="{COLOURS["paper"]}"/>\n'
        f"{body}\n</svg>"
    )


def to_print_svg(drawing: Drawing, family: str, fit: Callable[[str], str] = str) -> str:
    """Write the same picture for a printer: without names and groups, in one font.

    Parameters
    ----------
    drawing : Drawing
    family : str
        A font that is there, plain and bold.
    fit : callable
        Turns texts into letters that the font has; spaces of any kind are kept as they are.
    """
    w, h = _n(drawing.width_mm), _n(drawing.height_mm)
    body = "\n".join(
        _text(shape, fit, ' xml:space="preserve"') if isinstance(shape, Text) else _shape(shape)
        for shape in flat(drawing.shapes)
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {w} {h}" '
        f"font-family={_quoted(family)}>\n{body}\n</svg>"
    )


def _shape(shape: Shape) -> str:
    match shape:
        case Group():
            inside = "".join(_shape(one) for one in shape.shapes)
            return (
                f"<g data-kind={_quoted(shape.kind)} data-name={_quoted(shape.name)}>{inside}</g>"
            )
        case Path():
            d = "".join(_run(run, shape.closed) for run in shape.runs)
            rule = ' fill-rule="evenodd"' if shape.fill and len(shape.runs) > 1 else ""
            return f'<path d="{d}"{rule}{_look(shape.fill, shape.pen)}/>'
        case Circle():
            at = f'cx="{_n(shape.x_mm)}" cy="{_n(shape.y_mm)}" r="{_n(shape.radius_mm)}"'
            return f"<circle {at}{_look(shape.fill, shape.pen)}/>"
        case Text():
            return _text(shape)


def _text(text: Text, fit: Callable[[str], str] = str, more: str = "") -> str:
    x, y = _n(text.x_mm), _n(text.y_mm)
    if text.anchor != "start":
        more += f' text-anchor="{text.anchor}"'
    if text.bold:
        more += ' font-weight="bold"'
    if text.turn_deg:
        more += f' transform="rotate({_n(-text.turn_deg)} {x} {y})"'
    return (
        f'<text x="{x}" y="{y}" font-size="{_n(text.size_mm)}"{more}{_look(text.colour, None)}>'
        f"{saxutils.escape(fit(harmless(text.text)))}</text>"
    )


def _look(fill: str | None, pen: Pen | None) -> str:
    names = [f"c-{fill}"] if fill else []
    look = f' fill="{COLOURS[fill]}"' if fill else ' fill="none"'
    if pen is not None:
        names.append(f"s-{pen.colour}")
        look += f' stroke="{COLOURS[pen.colour]}" stroke-width="{_n(pen.width_mm)}"'
        look += ' stroke-linejoin="round"'
        if pen.dash:
            look += f' stroke-dasharray="{" ".join(_n(d) for d in pen.dash)}"'
    return (f' class="{" ".join(names)}"' if names else "") + look


def _run(run: Floats, closed: bool) -> str:
    places = " ".join(f"{_n(x)} {_n(y)}" for x, y in run.tolist())
    return f"M{places}{'Z' if closed else ''}"


def _n(value: float) -> str:
    """Hundredths of a mm are finer than any printer."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _escape(text: str) -> str:
    """Return text as XML takes it, which has no room for what can't be seen."""
    return saxutils.escape(harmless(text))


def _quoted(text: str) -> str:
    return saxutils.quoteattr(harmless(text))
