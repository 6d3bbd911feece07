"""Floors of thirteen kinds, written from how floors are built, never from the model under test.

A world is a function of places in mm that gives heights in mm. Where no source is named, sizes are
common practice, no source. Every floor carries a slope, and a trowel's roughness in 2 in patches.

Slabs: joints at 8 to 12 ft for 4 in (24 to 36 times the thickness, ACI 302.1R); edges that curl up
by 1/16 to 1/4 in over some 2 ft. Framed floors: joists at 12, 16 or 24 in, a bow under load of at
most span/360 (IRC R301.7, from memory), sheets of 4 by 8 ft across them. Screeds: rails a straight
edge apart. Rough and middling floors have the spectra of Matérn fields of smoothness 1/2 and 3/2,
whose waves follow a Student t of 1 and 3 degrees of freedom (Rasmussen and Williams 2006, equation
4.15).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from tests.kinds import Floats

FT, IN = 304.8, 25.4
PATCH_MM = 2 * IN
EDGE_MM = 6 * IN

Height = Callable[[Floats, Floats], Floats]
Maker = Callable[[np.random.Generator, "Room"], Height]


@dataclass(frozen=True)
class Room:
    """A rectangle and the spacing of its grid, all in mm."""

    wide_mm: float
    long_mm: float
    spacing_mm: float

    @property
    def name(self) -> str:
        """As an installer says it."""
        feet = [round(v / FT) for v in (self.wide_mm, self.long_mm, self.spacing_mm)]
        return f"{feet[0]}x{feet[1]} ft at {feet[2]}"

    def grid(self) -> tuple[Floats, Floats]:
        """Places of the shots: 6 in off the walls, at most the spacing apart."""
        x, y = np.meshgrid(self._line(self.wide_mm), self._line(self.long_mm))
        return x.ravel(), y.ravel()

    def _line(self, span_mm: float) -> Floats:
        count = int(np.ceil((span_mm - 2 * EDGE_MM) / self.spacing_mm - 1e-9)) + 1
        return np.linspace(EDGE_MM, span_mm - EDGE_MM, count)

    def open_raster(self, step_mm: float) -> tuple[Floats, Floats]:
        """Middles of about square cells, as a row of x and a column of y."""
        across, along = (max(round(v / step_mm), 1) for v in (self.wide_mm, self.long_mm))
        x = (np.arange(across) + 0.5) * self.wide_mm / across
        y = (np.arange(along) + 0.5) * self.long_mm / along
        return x[None, :], y[:, None]

    def open_nodes(self, step_mm: float) -> tuple[Floats, Floats]:
        """Nodes of a raster, walls included, as a row of x and a column of y."""
        across, along = (round(v / step_mm) + 1 for v in (self.wide_mm, self.long_mm))
        return (
            np.linspace(0, self.wide_mm, across)[None, :],
            np.linspace(0, self.long_mm, along)[:, None],
        )


ROOMS = (
    Room(12 * FT, 15 * FT, 3 * FT),
    Room(6 * FT, 8 * FT, 2 * FT),
    Room(20 * FT, 30 * FT, 4 * FT),
)


@dataclass(frozen=True, eq=False)
class World:
    """One floor: what it was built as, and a trowel's roughness for each 2 in patch."""

    kind: str
    built: Height
    rough_mm: Floats

    def at(self, x_mm: Floats, y_mm: Floats) -> Floats:
        """Heights at places, or over a row of x and a column of y."""
        rows, columns = self.rough_mm.shape
        i = np.clip((y_mm // PATCH_MM).astype(int), 0, rows - 1)
        j = np.clip((x_mm // PATCH_MM).astype(int), 0, columns - 1)
        return np.asarray(self.built(x_mm, y_mm) + self.rough_mm[i, j])


def make_world(kind: str, rng: np.random.Generator, room: Room) -> World:
    """Build a floor of a kind in a room."""
    slope = rng.normal(0.0, 1.5e-3, 2)
    body = KINDS[kind](rng, room)
    rough_sd = rng.choice([0.0, 0.1, 0.2, 0.4])
    shape = (int(np.ceil(room.long_mm / PATCH_MM)), int(np.ceil(room.wide_mm / PATCH_MM)))
    return World(
        kind,
        lambda x, y: slope[0] * x + slope[1] * y + body(x, y),
        rough_sd * rng.standard_normal(shape),
    )


def joists_along(rng: np.random.Generator) -> str:
    """Which way the joists run of the sheets that `make_world` makes of the same random numbers."""
    rng.standard_normal(2)
    return "x" if rng.random() < 0.5 else "y"


def _waves(
    rng: np.random.Generator, sd_mm: float, length_mm: float, freedom: float | None = None
) -> Height:
    """Random plane waves: a Gaussian spectrum, or with degrees of freedom a Student t's."""
    count = 200 if freedom is None else 800
    turn = rng.standard_normal((count, 2)) / length_mm
    if freedom is not None:
        turn /= np.sqrt(rng.chisquare(freedom, count) / freedom)[:, None]
    phase = rng.uniform(0, 2 * np.pi, count)
    size = sd_mm * np.sqrt(2.0 / count)

    def height(x: Floats, y: Floats) -> Floats:
        if x.ndim == 2 and x.shape[0] == 1:  # a row of x and a column of y: far fewer cosines
            across = np.exp(1j * np.outer(turn[:, 0], x[0]))
            along = np.exp(1j * (np.outer(y[:, 0], turn[:, 1]) + phase))
            return np.asarray(size * (along @ across).real)
        return np.asarray(
            size * np.cos(np.outer(x, turn[:, 0]) + np.outer(y, turn[:, 1]) + phase).sum(axis=1)
        )

    return height


def smooth(rng: np.random.Generator, room: Room) -> Height:
    """Long waves of one size."""
    return _waves(rng, rng.uniform(1.5, 6.0), rng.uniform(700, 1800))


def middling(rng: np.random.Generator, room: Room) -> Height:
    """Bends anywhere: Matérn 3/2."""
    return _waves(rng, rng.uniform(1.5, 5.0), rng.uniform(800, 2500), 3.0)


def rough(rng: np.random.Generator, room: Room) -> Height:
    """Rough at every scale: Matérn 1/2."""
    return _waves(rng, rng.uniform(1.5, 4.0), rng.uniform(1000, 3000), 1.0)


def tilted(rng: np.random.Generator, room: Room) -> Height:
    """A plane that falls by up to 1 in 100, hardly waved."""
    fall, waves = rng.uniform(-0.01, 0.01, 2), _waves(rng, 0.3, 1500)
    return lambda x, y: fall[0] * x + fall[1] * y + waves(x, y)


def bowl(rng: np.random.Generator, room: Room) -> Height:
    """Crowned or dished by 6 to 20 mm to the farthest corner."""
    middle = rng.uniform(0.3, 0.7, 2) * [room.wide_mm, room.long_mm]
    far2 = np.sum(np.maximum(middle, [room.wide_mm, room.long_mm] - middle) ** 2)
    depth = rng.choice([-1.0, 1.0]) * rng.uniform(6, 20) / far2
    waves = _waves(rng, rng.uniform(0.5, 1.5), rng.uniform(700, 1800))
    return lambda x, y: depth * ((x - middle[0]) ** 2 + (y - middle[1]) ** 2) + waves(x, y)


def slab(rng: np.random.Generator, room: Room) -> Height:
    """Panels between joints at 8 to 12 ft; edges curled up, panels off by a little."""
    panel = rng.uniform(8, 12, 2) * FT
    start = rng.uniform(0, 1, 2) * panel
    curl, reach = rng.uniform(1.6, 6.4), rng.uniform(1.5, 2.5) * FT
    levels = rng.normal(0.0, 0.7, (8, 8))
    waves = _waves(rng, rng.uniform(0.5, 2.0), rng.uniform(900, 2000))

    def height(x: Floats, y: Floats) -> Floats:
        i, j = (x + start[0]) / panel[0], (y + start[1]) / panel[1]
        lift = np.zeros(np.broadcast(x, y).shape)
        for place, size in ((i, panel[0]), (j, panel[1])):
            joint = np.abs(place - np.round(place)) * size
            lift = lift + curl * np.maximum(1.0 - joint / reach, 0.0) ** 2
        return np.asarray(lift + levels[i.astype(int) % 8, j.astype(int) % 8] + waves(x, y))

    return height


def sheets(rng: np.random.Generator, room: Room) -> Height:
    """Plywood over joists at 12, 16 or 24 in: crowned joists, sheets that sag between them."""
    turned = rng.random() < 0.5
    across_mm, span_mm = (room.long_mm, room.wide_mm) if turned else (room.wide_mm, room.long_mm)
    apart = rng.choice([12.0, 16.0, 16.0, 16.0, 24.0]) * IN
    count = int(across_mm / apart) + 3
    start = rng.uniform(0, apart)
    seat = rng.normal(0.0, 0.8, count)
    crown = rng.normal(1.5, 1.6, count)
    bow = rng.uniform(0.0, 0.3) * span_mm / 360.0
    sag = rng.uniform(0.3, 1.6)
    waves = _waves(rng, rng.uniform(0.3, 1.0), rng.uniform(1200, 2500))

    def height(x: Floats, y: Floats) -> Floats:
        across, along = (y, x) if turned else (x, y)
        place = (across + start) / apart
        low = np.floor(place).astype(int)
        share = place - low
        arch = np.sin(np.pi * np.clip(along / span_mm, 0.0, 1.0))
        left, right = ((seat[n] + crown[n] * arch) for n in (low, low + 1))
        between = (1.0 - share) * left + share * right
        dip = 0.5 * sag * (1.0 - np.cos(2.0 * np.pi * share))
        return np.asarray(between - dip - bow * arch + waves(x, y))

    return height


def boards(rng: np.random.Generator, room: Room) -> Height:
    """Boards of 3 to 6 in over joists, cupped and each a little off its neighbour."""
    turned = rng.random() < 0.5
    width = rng.uniform(3, 6) * IN
    cup = rng.uniform(0.2, 0.8) * rng.choice([-1.0, 1.0])
    off = rng.normal(0.0, rng.uniform(0.1, 0.5), 200)
    waves = _waves(rng, rng.uniform(1.5, 4.0), rng.uniform(1000, 2000))

    def height(x: Floats, y: Floats) -> Floats:
        place = (y if turned else x) / width
        board = np.floor(place).astype(int)
        within = 2.0 * (place - board) - 1.0
        return np.asarray(cup * (within**2 - 1.0 / 3.0) + off[board % 200] + waves(x, y))

    return height


def screed(rng: np.random.Generator, room: Room) -> Height:
    """Pulled between rails 5 to 8 ft apart: sagging strips, ripples across the pull."""
    turned = rng.random() < 0.5
    strip, start = rng.uniform(5, 8) * FT, rng.uniform(0, 8 * FT)
    sag = rng.uniform(0.5, 3.0)
    wave, size, phase = rng.uniform(600, 1800), rng.uniform(0.5, 2.0), rng.uniform(0, 6.3, 20)
    rails = rng.normal(0.0, 1.5, 20)

    def height(x: Floats, y: Floats) -> Floats:
        across, along = (y, x) if turned else (x, y)
        place = (across + start) / strip
        n = np.floor(place).astype(int)
        share = place - n
        rail = (1.0 - share) * rails[n] + share * rails[n + 1]
        ripple = size * np.sin(2.0 * np.pi * along / wave + phase[n])
        return np.asarray(rail + (ripple - sag) * np.sin(np.pi * share) ** 2)

    return height


def step(rng: np.random.Generator, room: Room) -> Height:
    """A cold joint across the room: two pours that differ by 3 to 8 mm."""
    turn, size = rng.uniform(0, np.pi), rng.uniform(3, 8)
    at = rng.uniform(0.3, 0.7, 2) * [room.wide_mm, room.long_mm]
    waves = _waves(rng, rng.uniform(0.5, 2.0), rng.uniform(900, 1800))

    def height(x: Floats, y: Floats) -> Floats:
        beyond = (x - at[0]) * np.cos(turn) + (y - at[1]) * np.sin(turn) > 0
        return np.asarray(size * beyond + waves(x, y))

    return height


def hump(rng: np.random.Generator, room: Room) -> Height:
    """One hump 3 ft across and 4 to 10 mm high, midway between four shots."""
    x_at, y_at = (np.unique(v) for v in room.grid())
    i, j = rng.integers(0, len(x_at) - 1), rng.integers(0, len(y_at) - 1)
    middle = 0.5 * (x_at[i] + x_at[i + 1]), 0.5 * (y_at[j] + y_at[j + 1])
    size, radius = rng.uniform(4, 10), 1.5 * FT
    waves = _waves(rng, rng.uniform(0.5, 2.0), rng.uniform(900, 1800))

    def height(x: Floats, y: Floats) -> Floats:
        away = np.minimum(np.hypot(x - middle[0], y - middle[1]) / radius, 1.0)
        return np.asarray(size * 0.5 * (1.0 + np.cos(np.pi * away)) + waves(x, y))

    return height


def patched(rng: np.random.Generator, room: Room) -> Height:
    """Two to five old patches of 1 to 4 ft, 2 mm low to 4 mm high, feathered over 3 to 8 in."""
    count = rng.integers(2, 6)
    at = rng.uniform(0, 1, (count, 2)) * [room.wide_mm, room.long_mm]
    half = rng.uniform(0.5, 2.0, (count, 2)) * FT
    size, feather = rng.uniform(-2, 4, count), rng.uniform(3, 8, count) * IN
    waves = _waves(rng, rng.uniform(1.0, 3.0), rng.uniform(900, 2000))

    def height(x: Floats, y: Floats) -> Floats:
        total = waves(x, y)
        for n in range(count):
            beyond = np.maximum(
                np.abs(x - at[n, 0]) - half[n, 0], np.abs(y - at[n, 1]) - half[n, 1]
            )
            total = total + size[n] * np.clip(1.0 - beyond / feather[n], 0.0, 1.0)
        return total

    return height


def spans(rng: np.random.Generator, room: Room) -> Height:
    """Waves across one wall only: spans that sag, a slab struck off one way."""
    turned = rng.random() < 0.5
    across = _waves(rng, rng.uniform(1.5, 5.0), rng.uniform(700, 1800))
    waves = _waves(rng, 0.3, 1500)

    def height(x: Floats, y: Floats) -> Floats:
        way = y if turned else x
        line = way.ravel()
        return across(line, np.zeros(line.size)).reshape(way.shape) + waves(x, y)

    return height


KINDS: dict[str, Maker] = {
    maker.__name__: maker
    for maker in (
        smooth, middling, rough, tilted, bowl, slab, sheets, boards, screed, step, hump, patched,
        spans,
    )
}  # fmt: skip
UNSEEN = ("hump",)
"""Kinds that no grid can see: they are told apart in the table."""
