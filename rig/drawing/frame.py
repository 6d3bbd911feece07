"""The sheet round a room's plan: walls, openings, the door at the bottom, scale bar and legend.

A plan is drawn as it is seen by who stands in the door, so that left and right on paper are left
and right in the room; without a door x runs to the right and y up.
"""

import math
from collections.abc import Callable, Iterable, Sequence

import numpy as np
import shapely

from rig.drawing.contours import Contours, hatching, rings_of
from rig.drawing.look import Look, quarter_turns, turned
from rig.drawing.names import wall_names
from rig.drawing.palette import ramp
from rig.drawing.symbols import Key
from rig.drawing.vector import (
    SMALL_MM,
    USUAL_MM,
    Box,
    Drawing,
    Floats,
    Group,
    Labels,
    Path,
    Pen,
    Place,
    Shape,
    Text,
    area,
    line,
    rectangle,
    text_width,
    wrapped,
)
from rig.language import join, numeral, say
from rig.room import House, Outline
from rig.units import MM_PER_FT

# Scales of drawings, metric and in feet (1/2 in = 1 ft is 1:24, 1 in = 3 ft is 1:36).
_METRIC = (5, 10, 20, 25, 30, 40, 50, 60, 75, 100, 125, 150, 200, 250, 300, 400, 500, 750, 1000)
_IMPERIAL = (6, 12, 16, 24, 32, 36, 48, 60, 64, 72, 96, 120, 128, 192, 240, 360, 480, 600, 1200)
_BARS_MM = (20, 50, 100, 200, 500, 1000, 2000, 5000, 10_000, 20_000, 50_000)
_BARS_FT = (1 / 12, 0.25, 0.5, 1, 2, 5, 10, 20, 50, 100, 200)
_BAR_PARTS = 4
_SIDE_MM = 9.0  # room for the walls' names
_KEY_ROW_MM = 5.4
_LINE_MM = 3.9
_BAR_ROW_MM = 9.6
_SYMBOL_MM = 8.0
_WIDE_MM = 140.0  # from here on a note has room beside the scale bar in one row

WALL = Pen("wall", 0.9)
THIN = Pen("rule", 0.18)
CONTOUR = Pen("soft", 0.22)


class Frame:
    """A sheet in the making: add shapes in the room's mm, then `finish`."""

    def __init__(
        self,
        outline: Outline,
        look: Look,
        keys: Sequence[Key] = (),
        scale_of: Contours | None = None,
        ramp_name: str = "height",
        ramp_text: str = "",
        reverse: bool = False,
        level_text: Callable[[float], str] | None = None,
    ) -> None:
        self.outline, self.look = outline, look
        self._keys = list(keys)
        self._contours, self._ramp, self._ramp_text = scale_of, ramp_name, ramp_text
        self._reverse = reverse
        self._level_text = level_text or look.short
        self._turn = quarter_turns(outline)
        corners = self._turned(np.array(outline.walls, dtype=float))
        (self._left, low), (right, self._top) = corners.min(axis=0), corners.max(axis=0)
        wide, high = float(right - self._left), float(self._top - low)
        foot = self._foot_mm()
        room_w, room_h = look.width_mm - 2 * _SIDE_MM, look.height_mm - foot - 2 * _SIDE_MM
        self.scale = self._scale(wide, high, room_w, room_h)
        w, h = wide / self.scale, high / self.scale
        self.width_mm = look.width_mm
        self._x0, self._y0 = (look.width_mm - w) / 2, _SIDE_MM
        self.height_mm = h + 2 * _SIDE_MM + foot
        self._foot_y = h + 2 * _SIDE_MM
        self.box: Box = (self._x0, self._y0, self._x0 + w, self._y0 + h)
        self.shapes: list[Shape] = []
        self._are_named = False
        self.labels = Labels(
            (self._x0 + 0.6, self._y0 + 0.6, self._x0 + w - 0.6, self._y0 + h - 0.6),
            within=shapely.Polygon(self.places(np.array(outline.walls))).buffer(-0.4),
        )

    # From the room to the sheet

    def place(self, x_mm: float, y_mm: float) -> Place:
        """Where a place of the room is on the sheet."""
        x, y = self.places(np.array([[x_mm, y_mm]]))[0]
        return float(x), float(y)

    def places(self, room: Floats) -> Floats:
        """Places (n, 2) of the room on the sheet."""
        turned = self._turned(np.asarray(room, dtype=float))
        out = np.empty_like(turned)
        out[:, 0] = self._x0 + (turned[:, 0] - self._left) / self.scale
        out[:, 1] = self._y0 + (self._top - turned[:, 1]) / self.scale
        return out

    def matrix(self) -> tuple[float, float, float, float, float, float]:
        """The same as `places`, in SVG's order."""
        (e, f), (a, b), (c, d) = (self.place(*p) for p in ((0.0, 0.0), (1.0, 0.0), (0.0, 1.0)))
        return a - e, b - f, c - e, d - f, e, f

    # What is drawn

    def add(self, *shapes: Shape) -> None:
        """Draw shapes that are on the sheet already."""
        self.shapes += shapes

    def add_area(self, shape: object, fill: str | None, pen: Pen | None = None) -> None:
        """Draw a shapely polygon of the room, its holes left out."""
        for rings in rings_of(shape):
            self.add(area([self.places(ring) for ring in rings], fill, pen))

    def add_runs(self, runs: Iterable[Floats], pen: Pen) -> None:
        """Draw lines of the room."""
        drawn = tuple(self.places(run) for run in runs if len(run) > 1)
        if drawn:
            self.add(Path(drawn, pen))

    def add_hatching(
        self, shape: object, pen: Pen, apart_mm: float = 1.6, bearing_deg: float = 45.0
    ) -> None:
        """Hatch a shapely polygon of the room, `apart_mm` on the sheet."""
        self.add_runs(hatching(shape, apart_mm * self.scale, bearing_deg), pen)

    def add_bands(self) -> None:
        """Draw the contours that the frame was made for, their lines labelled."""
        contours = self._contours
        assert contours is not None
        for colour, band in zip(self._colours(), contours.bands, strict=True):
            self.add_area(shapely.simplify(band, 0.08 * self.scale), colour)
        for _, runs in contours.lines:
            self.add_runs([simple(run, 0.08 * self.scale) for run in runs], CONTOUR)

    def label_contours(self) -> None:
        """Write each line's level on it, where there is room."""
        contours = self._contours
        assert contours is not None
        for level, runs in contours.lines:
            text = self._level_text(level)
            w, h = text_width(text, SMALL_MM) + 0.5, SMALL_MM
            for run in sorted(runs, key=_length, reverse=True)[:2]:
                sheet = self.places(run)
                if _length(sheet) < 2.5 * w:
                    continue
                for share in (0.5, 0.35, 0.65, 0.2, 0.8):
                    (x, y), turn = _along(sheet, share)
                    cos, sin = abs(math.cos(turn)), abs(math.sin(turn))
                    half = ((w * cos + h * sin) / 2, (w * sin + h * cos) / 2)
                    box = (x - half[0], y - half[1], x + half[0], y + half[1])
                    if not self.labels.free(box):
                        continue
                    self.labels.take(box)
                    self.add(*_turned_label(x, y, text, w, h, turn))
                    break

    def add_room(self) -> None:
        """Draw openings, walls with names and lengths, and doors; over what fills the floor."""
        for opening in self.outline.openings:
            shape = shapely.Polygon(opening)
            self.add_area(shape, "void", Pen("wall", 0.4))
            self.add_hatching(shape, Pen("soft", 0.18), 2.2, 45.0)
            self.add_hatching(shape, Pen("soft", 0.18), 2.2, 135.0)
            box = self.places(np.array(opening))
            self.labels.take((*box.min(axis=0), *box.max(axis=0)))
        house = self.outline if isinstance(self.outline, House) else None
        rooms = [self.outline] if house is None else [one for _, one in house.rooms]
        for one in rooms:
            self.add(area([self.places(np.array(one.walls))], None, WALL))
        if house is None:
            self._add_wall_names()
        for door in () if house is None else (door for one in rooms for door in one.doors):
            self._add_gap((door.x_mm, door.y_mm), (door.end_x_mm, door.end_y_mm))
        for n, door in enumerate(self.outline.doors):
            self._add_door(n, (door.x_mm, door.y_mm), (door.end_x_mm, door.end_y_mm))

    def name_rooms(self) -> None:
        """Write each room's name in it, once, where there is room."""
        rooms = self.outline.rooms if isinstance(self.outline, House) else ()
        for name, one in () if self._are_named else rooms:
            told = [(name, USUAL_MM + 0.5, True)]
            half = (text_width(*told[0]) / 2 + 0.5, USUAL_MM / 2 + 0.6)
            tries = [self.place(*spot) for spot in _amid(one.polygon)]
            boxes = [(x - half[0], y - half[1], x + half[0], y + half[1]) for x, y in tries]
            free = (at for at, box in zip(tries, boxes, strict=True) if self.labels.free(box))
            at = next(free, tries[0])
            self.add(*self.labels.beside(*at, told, centred=True, colour="soft"))
        self._are_named = True

    def finish(self, title: str, description: str = "") -> Drawing:
        """Add scale bar and legend and hand the drawing out."""
        self.name_rooms()
        y = self._foot_y
        self._add_scale_bar(y + 1.0)
        y += _BAR_ROW_MM
        if self._contours is not None:
            self._add_ramp(y)
            y += self._ramp_mm()
        self._add_keys(y)
        # Walls' names may lie outside a short sheet's box; nothing else does.
        return Drawing(
            self.width_mm,
            self.height_mm,
            tuple(self.shapes),
            title,
            description,
            self.matrix(),
            self.scale if self.look.to_scale else None,
        )

    # Within

    def _turned(self, room: Floats) -> Floats:
        return turned(room, self._turn)

    def _scale(self, wide: float, high: float, room_w: float, room_h: float) -> float:
        least = max(wide / room_w, high / max(room_h, 30.0), 1e-3)
        if not self.look.to_scale:
            return least
        for scale in _METRIC if self.look.units.is_metric else _IMPERIAL:
            if scale >= least - 1e-9:
                return float(scale)
        return float(math.ceil(least / 100.0) * 100)

    def _colours(self) -> list[str]:
        assert self._contours is not None
        names = ramp(self._ramp, len(self._contours.bands))
        return names[::-1] if self._reverse else names

    def _foot_mm(self) -> float:
        return (
            _BAR_ROW_MM
            + 1.0
            + (self._ramp_mm() if self._contours is not None else 0.0)
            + sum(map(_row_mm, self._key_rows()))
            + 1.0
        )

    def _key_rows(self) -> list[list[tuple[Key, float, list[str]]]]:
        """Entries of the legend in rows, each with its left edge and its lines."""
        rows: list[list[tuple[Key, float, list[str]]]] = []
        x = self.look.width_mm
        most = self.look.width_mm - _SYMBOL_MM - 3.5
        for key in self._keys:
            lines = wrapped(key.text, SMALL_MM, most)
            wide = _SYMBOL_MM + 1.5 + max(text_width(one, SMALL_MM) for one in lines)
            if not rows or x + wide > self.look.width_mm - 1.0:
                rows.append([])
                x = 1.0
            rows[-1].append((key, x, lines))
            x += wide + 5.0
        return rows

    def _add_keys(self, y: float) -> None:
        for row in self._key_rows():
            for key, x, lines in row:
                self.add(*key.symbol(x + _SYMBOL_MM / 2, y + _KEY_ROW_MM / 2 - 0.2))
                for n, told in enumerate(lines):
                    low = y + 3.3 + n * _LINE_MM
                    self.add(Text(x + _SYMBOL_MM + 1.5, low, told, SMALL_MM))
            y += _row_mm(row)

    def _ramp_lines(self) -> list[str]:
        return wrapped(self._ramp_text, SMALL_MM, self.look.width_mm - 2.0)

    def _ramp_mm(self) -> float:
        return 13.6 + _LINE_MM * (len(self._ramp_lines()) - 1)

    def _add_ramp(self, y: float) -> None:
        contours = self._contours
        assert contours is not None
        lines = self._ramp_lines()
        for n, told in enumerate(lines):
            self.add(Text(1.0, y + 2.4 + n * _LINE_MM, told, SMALL_MM))
        y += _LINE_MM * (len(lines) - 1)
        names = self._colours()
        edges = [self._level_text(edge) for edge in contours.edges]
        if self._reverse:
            names, edges = names[::-1], edges[::-1]
        least = max(text_width(edge, SMALL_MM) for edge in edges) + 2.0
        half = (text_width(edges[0], SMALL_MM) / 2, text_width(edges[-1], SMALL_MM) / 2)
        room = min(self.look.width_mm - 10.0, self.look.width_mm - 2.0 - sum(half))
        wide = min(max(least, 12.0), room / len(names))
        x = 1.0 + half[0]
        for n, name in enumerate(names):
            left = x + n * wide
            self.add(
                rectangle((left, y + 3.8, left + wide, y + 7.4), name, Pen("soft", 0.18)),
            )
        every = 1 if wide >= least - 2.0 else 2
        for n, edge in enumerate(edges):
            if n % every == 0:
                self.add(Text(x + n * wide, y + 11.0, edge, SMALL_MM, "middle"))

    def _add_scale_bar(self, y: float) -> None:
        part = self._bar_part_mm()
        step = part / self.scale
        for n in range(_BAR_PARTS if part else 0):
            box = (2.0 + n * step, y, 2.0 + (n + 1) * step, y + 1.6)
            self.add(rectangle(box, "ink" if n % 2 == 0 else "paper", Pen("ink", 0.2)))
        if part:
            self.add(Text(1.0, y + 5.2, "0", SMALL_MM))
            for n in range(2, _BAR_PARTS + 1, 2):
                told = self.look.units.place(n * part)
                self.add(Text(2.0 + n * step, y + 5.2, told, SMALL_MM, "middle"))
        right = self.look.width_mm - 1.0
        for n, note in enumerate(self._notes()):
            row = y + 2.2 + _LINE_MM * n
            self.add(Text(right, row, note, SMALL_MM, "end", colour="soft"))

    def _notes(self) -> list[str]:
        """How the plan is turned and its scale, in one row or in two."""
        notes = [say("Seen from the door.") if self.outline.doors else say("x to the right, y up.")]
        if self.look.to_scale:
            notes.append(say("1:{scale} at full size.", scale=numeral(self.scale, "g")))
        return [join(" ", notes)] if self.look.width_mm > _WIDE_MM else notes

    def _bar_part_mm(self) -> float:
        """Longest round length of which the scale bar has room for four; 0 where there is none."""
        sizes = _BARS_MM if self.look.units.is_metric else tuple(ft * MM_PER_FT for ft in _BARS_FT)
        notes = max(text_width(note, SMALL_MM) for note in self._notes())
        most = min(0.45 * self.look.width_mm, self.look.width_mm - notes - 12.0)
        return max((s for s in sizes if _BAR_PARTS * s / self.scale <= most), default=0.0)

    def _add_wall_names(self) -> None:
        sheet = (self.width_mm, self.height_mm)
        for texts, box in wall_names(self.outline, self.look, self.places, self.scale, sheet):
            self.add(*texts)
            # Beside a corner that sticks into the room a name lies where labels may come.
            self.labels.take(box)

    def _add_gap(self, a: Place, b: Place) -> None:
        """Draw a doorway between two rooms."""
        ends = self.places(np.array([a, b]))
        along = (ends[1] - ends[0]) / max(float(np.hypot(*(ends[1] - ends[0]))), 1e-6)
        out = np.array([-along[1], along[0]])
        self.add(line(ends, Pen("paper", 1.4)))
        self.add(*(line([end - out, end + out], Pen("wall", 0.5)) for end in ends))

    def _add_door(self, n: int, a: Place, b: Place) -> None:
        ends = self.places(np.array([a, b]))
        along = (ends[1] - ends[0]) / max(float(np.hypot(*(ends[1] - ends[0]))), 1e-6)
        out = np.array([-along[1], along[0]])
        middle = ends.mean(axis=0)
        inside = self.places(np.array([shapely.get_coordinates(self.outline.polygon.centroid)[0]]))
        probe = shapely.Point(*self._room(middle + out * 1.0))
        if self.outline.polygon.contains(probe) or (
            not self.outline.polygon.contains(shapely.Point(*self._room(middle - out * 1.0)))
            and float((inside[0] - middle) @ out) > 0
        ):
            out = -out
        shapes: list[Shape] = [line(ends, Pen("paper", 1.4))]
        shapes += [line([end - out * 1.0, end + out * 1.6], Pen("wall", 0.6)) for end in ends]
        tip, base = middle + out * 0.6, middle + out * 3.2
        wing = along * 1.5
        shapes.append(area([[tip, base + wing, base - wing]], "ink"))
        word = say("DOOR") if n == 0 else say("DOOR {n}", n=n + 1)
        at = middle + out * (3.9 + (USUAL_MM if out[1] > 0.5 else 0.5))
        angle = 0.0
        if abs(out[0]) > 0.7:
            angle, at = (-90.0 if out[0] > 0 else 90.0), middle + out * 4.0
        shapes.append(
            Text(float(at[0]), float(at[1]), word, USUAL_MM, "middle", True, turn_deg=angle)
        )
        self.add(Group("door", str(n + 1), tuple(shapes)))

    def _room(self, sheet: Floats) -> Place:
        """Back from the sheet to the room."""
        a, b, c, d, e, f = self.matrix()
        x, y = np.linalg.solve(np.array([[a, c], [b, d]]), np.array([sheet[0] - e, sheet[1] - f]))
        return float(x), float(y)


def _row_mm(row: Sequence[tuple[Key, float, list[str]]]) -> float:
    return _KEY_ROW_MM + _LINE_MM * (max(len(lines) for _, _, lines in row) - 1)


def relief_frame(
    outline: Outline, look: Look, contours: Contours, keys: Sequence[Key] = ()
) -> Frame:
    """Return a sheet with the room and how much lower than its highest place a floor lies."""
    frame = Frame(
        outline,
        look,
        keys,
        contours,
        "height",
        say("Lower than the highest place, {unit}", unit=look.unit),
        reverse=True,
        level_text=lambda value: look.short(-value),
    )
    frame.add_bands()
    frame.add_room()
    frame.name_rooms()
    return frame


def closest(places: Sequence[Place], share: float = 0.1) -> float:
    """Distance on the sheet that all but a share of places keep from their nearest neighbour."""
    from scipy.spatial import cKDTree

    if len(places) < 2:
        return 100.0
    away, _ = cKDTree(np.array(places)).query(np.array(places), k=2)
    return float(np.quantile(away[:, 1], share))


def simple(run: Floats, tolerance: float) -> Floats:
    """A line with fewer corners, nowhere farther off than a tolerance."""
    if len(run) < 3:
        return run
    return np.asarray(
        shapely.get_coordinates(shapely.simplify(shapely.LineString(run), tolerance)), dtype=float
    )


def _amid(floor: shapely.Polygon) -> list[Place]:
    """Places in a room that may bear its name: amid it, then higher and lower."""
    left, low, right, high = floor.bounds
    found = []
    for share in (0.5, 0.3, 0.7, 0.2, 0.8):
        y = low + share * (high - low)
        across = shapely.intersection(shapely.LineString([(left, y), (right, y)]), floor)
        longest = max(shapely.get_parts(across), key=shapely.length)
        found.append((float(shapely.get_coordinates(longest)[:, 0].mean()), y))
    return found


def _length(run: Floats) -> float:
    return float(np.hypot(*np.diff(run, axis=0).T).sum()) if len(run) > 1 else 0.0


def _along(run: Floats, share: float) -> tuple[Place, float]:
    """Place at a share of a line's length, and its way there in radians, upright."""
    steps = np.hypot(*np.diff(run, axis=0).T)
    far = np.concatenate([[0.0], np.cumsum(steps)])
    at = share * far[-1]
    x, y = (float(np.interp(at, far, run[:, k])) for k in (0, 1))
    a, b = ([float(np.interp(at + d, far, run[:, k])) for k in (0, 1)] for d in (-1.5, 1.5))
    turn = math.atan2(-(b[1] - a[1]), b[0] - a[0])
    if turn > math.pi / 2:
        turn -= math.pi
    elif turn <= -math.pi / 2:
        turn += math.pi
    return (x, y), turn


def _turned_label(x: float, y: float, text: str, w: float, h: float, turn: float) -> list[Shape]:
    along = np.array([math.cos(turn), -math.sin(turn)])
    up = np.array([-math.sin(turn), -math.cos(turn)])
    middle = np.array([x, y])
    corners = [
        middle + along * s * w / 2 + up * t * h / 2 for s, t in ((-1, -1), (1, -1), (1, 1), (-1, 1))
    ]
    base = middle - up * 0.34 * SMALL_MM
    return [
        area([np.array(corners)], "paper"),
        Text(
            float(base[0]), float(base[1]), text, SMALL_MM, "middle",
            colour="soft", turn_deg=math.degrees(turn),
        ),
    ]  # fmt: skip
