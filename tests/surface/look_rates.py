"""What the looks that the tool asks for are worth, on floors with a hump that no shot stands on.

`python -m tests.surface.look_rates 90` surveys so many of each kind, lays a straightedge of 6 ft
wherever `suggest_looks` asks for one, along either wall in turn, shoots the top of what it rocks
on, and asks again until nothing is asked for or `MOST_LOOKS` were laid. Printed is how often the
highest place lies under its bound before and after, and the median of how far. A hand sees a gap
or a rocking with the error that `rig.surface.looked` states.
"""

import sys
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rig.surface.floor_model import floor_model
from rig.surface.high_point import Extremes, find_extremes
from rig.surface.look_between import suggest_looks
from rig.surface.looked import SEEN_MM, Looked
from tests.surface.worlds import KINDS, PATCH_MM, ROOMS, Room, World, make_world

EDGE_MM, MOST_LOOKS, AT_ONCE = 1829.0, 24, 6
STEP_MM, DRAWS = 228.6, 400


@dataclass(frozen=True)
class Told:
    """Of one floor: bound over the highest place before and after the looks, mm; how many."""

    before_mm: float
    after_mm: float
    looks: int
    shots: int


def _height(world: World, x_mm: float, y_mm: float) -> float:
    return float(world.at(np.array([x_mm]), np.array([y_mm]))[0])


def lay(
    world: World, room: Room, at: tuple[float, float], along_x: bool, rng: np.random.Generator
) -> tuple[Looked, tuple[float, float] | None]:
    """Lay an edge over a place: what a hand sees, and the top to shoot where it rocks."""
    span, axis = (room.wide_mm, 0) if along_x else (room.long_mm, 1)
    long_mm = min(EDGE_MM, span - 2.0)
    middle = min(max(at[axis], long_mm / 2 + 1.0), span - long_mm / 2 - 1.0)
    run = np.linspace(middle - long_mm / 2, middle + long_mm / 2, 61)
    x, y = (run, np.full(61, at[1])) if along_x else (np.full(61, at[0]), run)
    z = np.array([_height(world, *place) for place in zip(x, y, strict=True)])
    ends = (float(x[0]), float(y[0])), (float(x[-1]), float(y[-1]))
    off = z - np.linspace(z[0], z[-1], 61)
    seen = off + SEEN_MM * rng.standard_normal()
    top, dip = int(np.argmax(seen)), int(np.argmin(seen))
    if seen[top] > 2.0 * SEEN_MM:
        end = ends[1] if top < 30 else ends[0]  # the far end stands off the floor
        return Looked(*ends, float(seen[top]), end), (float(x[top]), float(y[top]))
    if seen[dip] < -2.0 * SEEN_MM:
        return Looked(*ends, float(-seen[dip]), (float(x[dip]), float(y[dip]))), None
    return Looked(*ends), None


def judge(kind: str, number: int, seed: int) -> Told:
    """One floor, looked at as asked for."""
    room = ROOMS[number % len(ROOMS)]
    rng = np.random.default_rng([seed, list(KINDS).index(kind), number])
    world = make_world(kind, rng, room)
    x, y = room.grid()
    noise = rng.uniform(0.3, 1.0)
    z = world.at(x, y) + noise * rng.standard_normal(len(x))
    highest = float(world.at(*room.open_nodes(PATCH_MM)).max())
    cell_x, cell_y = (v.ravel() for v in np.broadcast_arrays(*room.open_raster(STEP_MM)))
    area = np.full(len(cell_x), room.wide_mm * room.long_mm / len(cell_x))
    looks: list[Looked] = []

    def bound() -> tuple[Extremes, list[tuple[float, float]]]:
        model = floor_model().fit(x, y, z, noise)
        here = np.random.default_rng(1)
        found = find_extremes(model, cell_x, cell_y, area, here, 0.95, DRAWS, looks)
        asked = suggest_looks(model, found, area, AT_ONCE, looks)
        return found, [(one.x_mm, one.y_mm) for one in asked]

    found, asked = bound()
    before, shots = found.high.upper_mm - highest, 0
    while asked and len(looks) < MOST_LOOKS:
        for at in asked:
            look, top = lay(world, room, at, len(looks) % 2 == 0, rng)
            looks.append(look)
            if top is not None:
                x, y = np.append(x, top[0]), np.append(y, top[1])
                z = np.append(z, _height(world, *top) + noise * rng.standard_normal())
                shots += 1
        found, asked = bound()
    return Told(before, found.high.upper_mm - highest, len(looks), shots)


def tell(kind: str, floors: Sequence[Told]) -> None:
    """Print one row."""
    before, after = (np.array([getattr(f, k) for f in floors]) for k in ("before_mm", "after_mm"))
    looks, shots = (float(np.mean([getattr(f, k) for f in floors])) for k in ("looks", "shots"))
    kept = [100 * np.mean(one >= 0) for one in (before, after)]
    print(
        f"{kind:<12} kept {kept[0]:5.1f} then {kept[1]:5.1f} %, bound over it "
        f"{np.median(before):5.2f} then {np.median(after):5.2f} mm, {looks:5.1f} looks, "
        f"{shots:4.1f} tops shot",
        flush=True,
    )


if __name__ == "__main__":
    each = int(sys.argv[1]) if len(sys.argv) > 1 else 30
    for name in sys.argv[2:] or KINDS:
        tell(name, [judge(name, n, 61) for n in range(each)])
