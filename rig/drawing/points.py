"""Plans of where to stand: the walk over the grid, and the markers with their stick-outs."""

import itertools
from collections.abc import Callable, Collection, Sequence
from functools import partial
from typing import Protocol

from rig.drawing.frame import Frame, closest
from rig.drawing.look import Look
from rig.drawing.symbols import Key, arrow, dot, ring, stroke, tagged
from rig.drawing.vector import LARGE_MM, SMALL_MM, USUAL_MM, Drawing, Line, Pen, Place, Shape, Text
from rig.language import say, say_many
from rig.room import Outline

WALK = Pen("rule", 0.35)


class _Point(Protocol):
    @property
    def label(self) -> str: ...
    @property
    def x_mm(self) -> float: ...
    @property
    def y_mm(self) -> float: ...


class _Marker(_Point, Protocol):
    @property
    def stick_out_mm(self) -> float: ...
    @property
    def is_set(self) -> bool: ...


def room_drawing(outline: Outline, look: Look, title: str = say("The room")) -> Drawing:
    """Draw nothing but the room."""
    frame = Frame(outline, look)
    frame.add_room()
    return frame.finish(title)


def pins_drawing(
    outline: Outline,
    look: Look,
    pins: Sequence[tuple[str, float, float]],
    title: str = say("Where the photos were taken"),
) -> Drawing:
    """Draw the room with numbered places."""
    frame = Frame(outline, look)
    frame.add_room()
    for label, x_mm, y_mm in pins:
        x, y = frame.place(x_mm, y_mm)
        shapes = dot(x, y, 1.6, "mark")
        shapes += frame.labels.beside(x, y, [(label, USUAL_MM, True)], 2.1, must=True)
        frame.add(tagged("photo", label, shapes))
    return frame.finish(title)


def walk_drawing(
    outline: Outline,
    look: Look,
    points: Sequence[_Point],
    shot: Collection[str] = (),
    title: str = say("Points to shoot, in the order to walk them"),
) -> Drawing:
    """Grid points in the order of the walk, those already shot filled."""
    keys = [
        Key(lambda x, y: _start(x, y), say("start")),
        Key(lambda x, y: ring(x, y, 1.1), say("to shoot")),
        Key(lambda x, y: dot(x, y, 1.1), say("shot")),
        Key(stroke(WALK), say("the walk")),
    ]
    frame = Frame(outline, look, keys)
    frame.add_room()
    places = [frame.place(point.x_mm, point.y_mm) for point in points]
    for a, b in itertools.pairwise(places):
        frame.add(*arrow(a, b, WALK, 1.6))
    size, radius = (USUAL_MM, 1.1) if closest(places) > 14.0 else (SMALL_MM, 0.8)
    for x, y in places:
        frame.labels.take((x - radius, y - radius, x + radius, y + radius))
    named = closest(places) > 3.5  # the least a label takes; where it is closer none has room
    for n, (point, (x, y)) in enumerate(zip(points, places, strict=True)):
        shapes: list[Shape] = list(_start(x, y)) if n == 0 else []
        shapes += dot(x, y, radius) if point.label in shot else ring(x, y, radius)
        away = radius + 0.4 if n else 2.6
        if named or n == 0:
            shapes += frame.labels.beside(x, y, [(point.label, size, True)], away, below=True)
        frame.add(tagged("point", point.label, shapes))
    done = sum(point.label in shot for point in points)
    return frame.finish(
        title,
        say(
            "{points}, {done} of them shot.",
            points=say_many("{count} point", "{count} points", len(points)),
            done=done,
        ),
    )


def markers_drawing(
    outline: Outline,
    look: Look,
    markers: Sequence[_Marker],
    title: str = say("Depth markers: how far each top stands above the floor"),
) -> Drawing:
    """Markers in their order with how far each stands out, those already set filled."""
    keys = [
        Key(lambda x, y: ring(x, y, 1.6, "mark"), say("to set")),
        Key(lambda x, y: dot(x, y, 1.6, "mark"), say("set")),
        Key(stroke(WALK), say("the order to set them")),
        Key(lambda x, y: [Text(x, y + 1.1, "1/2", USUAL_MM, "middle", True)],
            say("stick-out, {unit}", unit=look.unit)) if not look.units.is_metric else
        Key(lambda x, y: [Text(x, y + 1.1, "12", USUAL_MM, "middle", True)],
            say("stick-out, {unit}", unit=look.unit)),
    ]  # fmt: skip
    frame = Frame(outline, look, keys)
    frame.add_room()
    places = [frame.place(marker.x_mm, marker.y_mm) for marker in markers]
    for a, b in itertools.pairwise(places):
        frame.add(*arrow(a, b, WALK, 1.6))
    for x, y in places:
        frame.labels.take((x - 1.7, y - 1.7, x + 1.7, y + 1.7))

    def texts(marker: _Marker, size: float) -> list[Line]:
        told = look.short(marker.stick_out_mm)
        return [(marker.label, max(0.7 * size, SMALL_MM), False), (told, size, True)]

    large = _largest_beside(
        frame, [(at, partial(texts, m)) for at, m in zip(places, markers, strict=True)]
    )
    for marker, (x, y) in zip(markers, places, strict=True):
        shapes = dot(x, y, 1.6, "mark") if marker.is_set else ring(x, y, 1.6, "mark")
        shapes += frame.labels.beside(x, y, texts(marker, large), 2.1, must=True, abreast=True)
        frame.add(tagged("marker", marker.label, shapes))
    done = sum(marker.is_set for marker in markers)
    return frame.finish(
        title,
        say(
            "{markers}, {done} of them set.",
            markers=say_many("{count} marker", "{count} markers", len(markers)),
            done=done,
        ),
    )


def _largest_beside(
    frame: Frame, wanted: Sequence[tuple[Place, Callable[[float], list[Line]]]]
) -> float:
    """Largest size in which all texts have room right beside their places."""
    for size in (LARGE_MM + 1.0, LARGE_MM, USUAL_MM + 0.5):
        tried = frame.labels.copy()
        if all(tried.beside_free(*at, texts(size), 2.1) for at, texts in wanted):
            return size
    return USUAL_MM


def _start(x: float, y: float) -> list[Shape]:
    return ring(x, y, 2.2, "mark")
