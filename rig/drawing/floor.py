"""Two plans of the floor: its heights as found with their doubt, and the cover that is to come."""

from collections.abc import Callable, Iterable, Sequence

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from rig.drawing.contours import Lattice, between, contours_of, lattice_of, rings_of
from rig.drawing.frame import Frame, closest
from rig.drawing.look import Look
from rig.drawing.symbols import Key, dot, patch, stroke, tagged, triangle
from rig.drawing.vector import (
    SMALL_MM,
    USUAL_MM,
    Drawing,
    Floats,
    Pen,
    Shape,
    line,
    rectangle,
    text_width,
)
from rig.language import say
from rig.room import Outline
from rig.study.cover import CoverAt
from rig.study.floor_answer import HighPoint, LowPoint
from rig.study.plan_answer import GrindSpot

Predict = Callable[[Floats, Floats], tuple[Floats, Floats]]

LIKELY = Pen("alarm", 0.5, (2.2, 1.2))
DOUBT = Pen("soft", 0.16)
LEAST = Pen("alarm", 0.45)
# Both labels and heights of shots this far apart on the sheet can be read.
_ROOM_FOR_VALUES_MM = 6.0


def floor_drawing(
    outline: Outline,
    look: Look,
    predict: Predict,
    shots: Iterable[tuple[str, float, float, float]],
    high: HighPoint,
    low: LowPoint | None = None,
    likely: BaseGeometry | None = None,
    title: str = say("The floor as found"),
) -> Drawing:
    """Heights below the high point, as contour lines and bands.

    Parameters
    ----------
    outline : Outline
    look : Look
    predict : callable
        Of x and y (m,): height and its standard deviation, each (m,).
    shots : iterable of (label, x_mm, y_mm, z_mm)
    high, low : HighPoint, LowPoint
    likely : shapely geometry, optional
        Where the high point is to be looked for.
    """
    top = high.z_mm

    doubts = []

    def below(x: Floats, y: Floats) -> Floats:
        z, sd = predict(x, y)
        doubts.append(2.0 * sd)
        return np.minimum(z - top, 0.0)

    lattice = lattice_of(outline, below)
    doubt = Lattice(lattice.x_mm, lattice.y_mm, doubts[0].reshape(lattice.values.shape))
    contours = contours_of(outline, lattice, look.units)
    unsure = between(outline.polygon, doubt, contours.step, np.inf)
    inside = _on_floor(outline, doubt)
    keys = [
        Key(lambda x, y: triangle(x, y), say("high point")),
        Key(lambda x, y: triangle(x, y, up=False, fill="paper"), say("low point")),
        Key(lambda x, y: dot(x, y, 0.6), say("shot, how far below the high point")),
    ]
    if low is None:
        keys.pop(1)
    if likely is not None:
        keys.append(Key(stroke(LIKELY), say("the high point lies in here, 95 times in 100")))
    step = look.units.length(contours.step)
    if not shapely.is_empty(unsure):
        keys.append(Key(patch("paper", DOUBT), say("doubt over ± {step} (95 %)", step=step)))
    frame = Frame(
        outline,
        look,
        keys,
        contours,
        "height",
        say("Lower than the high point, {unit}", unit=look.unit),
        reverse=True,
        level_text=lambda value: look.short(-value),
    )
    frame.add_bands()
    frame.add_hatching(unsure, DOUBT, 1.3)
    if likely is not None:
        for rings in rings_of(likely):
            for ring in rings:
                frame.add(line(frame.places(ring), LIKELY))
    frame.add_room()
    seen = [(label, *frame.place(x, y), look.short(top - z)) for label, x, y, z in shots]
    for _, x, y, _ in seen:
        frame.labels.take((x - 0.7, y - 0.7, x + 0.7, y + 0.7))
    for place, up in ((high, True), (low, False)):
        if place is not None:
            x, y = frame.place(place.x_mm, place.y_mm)
            frame.labels.take((x - 2, y - 2, x + 2, y + 2))
            under = look.units.length(top - place.z_mm)
            told = say("HIGH") if up else say("{below} low", below=under)
            shapes = triangle(x, y, up, fill="ink" if up else "paper")
            shapes += frame.labels.beside(x, y, [(told, USUAL_MM, True)], 2.2, must=True)
            frame.add(tagged("high" if up else "low", told, shapes))
    frame.label_contours()
    _add_shots(frame, seen)
    return frame.finish(
        title,
        say(
            "Contour lines every {step}. The modelled floor is known to ± {median} in the "
            "middle of things, ± {max} at the worst place (95 %).",
            step=look.units.length(contours.step),
            median=look.units.doubt(float(np.median(inside))),
            max=look.units.doubt(float(inside.max())),
        ),
    )


def cover_drawing(
    outline: Outline,
    look: Look,
    cover: Callable[[Floats, Floats], Floats],
    extremes: tuple[CoverAt, CoverAt],
    min_cover_mm: float,
    spots: Sequence[GrindSpot] = (),
    title: str = say("Cover: thickness of compound"),
) -> Drawing:
    """Thickness of the compound, best estimate, as contour lines and bands.

    Parameters
    ----------
    outline : Outline
    look : Look
    cover : callable
        Of x and y (m,): thickness of compound, (m,).
    extremes : (CoverAt, CoverAt)
        Where it is least and where most, and how much, as the study has it.
    min_cover_mm : float
        What it should nowhere be less than.
    spots : sequence of GrindSpot
        To grind first.
    """
    lattice = lattice_of(outline, cover)
    contours = contours_of(outline, lattice, look.units)
    thin = between(outline.polygon, lattice, -np.inf, min_cover_mm)
    keys = [
        Key(lambda x, y: triangle(x, y), say("thinnest")),
        Key(lambda x, y: triangle(x, y, up=False, fill="paper"), say("deepest")),
    ]
    if not shapely.is_empty(thin):
        keys.append(
            Key(
                patch("paper", LEAST),
                say("under {min_cover} of cover", min_cover=look.units.length(min_cover_mm)),
            )
        )
    if spots:
        keys.append(Key(lambda x, y: _grind_mark(x, y), say("grind first, how deep")))
    frame = Frame(
        outline, look, keys, contours, "cover", say("Thickness of compound, {unit}", unit=look.unit)
    )
    frame.add_bands()
    frame.add_hatching(thin, LEAST, 1.3)
    frame.add_room()
    for one, up in zip(extremes, (True, False), strict=True):
        at = frame.place(one.x_mm, one.y_mm)
        frame.labels.take((at[0] - 2, at[1] - 2, at[0] + 2, at[1] + 2))
        told = look.units.length(one.cover_mm)
        shapes = triangle(*at, up, fill="ink" if up else "paper")
        shapes += frame.labels.beside(*at, [(told, USUAL_MM, True)], 2.2, must=True)
        frame.add(tagged("thinnest" if up else "deepest", told, shapes))
    for spot in spots:
        at = frame.place(spot.x_mm, spot.y_mm)
        shapes = _grind_mark(*at)
        told = look.units.length(spot.depth_mm)
        shapes += frame.labels.beside(*at, [(told, SMALL_MM, True)], 2.0, must=True)
        frame.add(tagged("grind", told, shapes))
    frame.label_contours()
    return frame.finish(
        title,
        say(
            "Best estimate. Lines of equal thickness every {step}.",
            step=look.units.length(contours.step),
        ),
    )


def _grind_mark(x: float, y: float) -> list[Shape]:
    pen = Pen("alarm", 0.5)
    box = rectangle((x - 1.5, y - 1.5, x + 1.5, y + 1.5), "paper", pen)
    return [box, line([(x - 1.5, y - 1.5), (x + 1.5, y + 1.5)], pen),
            line([(x - 1.5, y + 1.5), (x + 1.5, y - 1.5)], pen)]  # fmt: skip


def _add_shots(frame: Frame, shots: Sequence[tuple[str, float, float, str]]) -> None:
    """Dots with label and value; labels give way where shots stand close, then values."""
    places = [(x, y) for _, x, y, _ in shots]
    widest = max((text_width(label, SMALL_MM) for label, *_ in shots), default=0.0)
    named = closest(places, 0.5) > max(2.2 * _ROOM_FOR_VALUES_MM, widest + 4.0)
    valued = closest(places) >= _ROOM_FOR_VALUES_MM or named
    for label, x, y, told in shots:
        shapes = dot(x, y, 0.6)
        value = (told, SMALL_MM, True)
        texts = [[(label, SMALL_MM, False), value], [value]] if named else [[value]]
        for lines in texts if valued else []:
            written = frame.labels.beside(x, y, lines, 0.9, backed=False)
            shapes += written
            if written:
                break
        frame.add(tagged("shot", label, shapes))


def _on_floor(outline: Outline, lattice: Lattice) -> Floats:
    x, y = np.meshgrid(lattice.x_mm, lattice.y_mm)
    inside = shapely.intersects_xy(outline.polygon.buffer(1.0), x, y)
    return np.asarray(lattice.values[inside], dtype=float)
