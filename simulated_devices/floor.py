"""An invented floor: height in mm at any point, always the same for the same seed.

A made floor is a tilted plane with humps and dips, the seams of plywood sheets, the lip of a
doorway and a fine roughness. A floor can also be read from a JSON raster, a truth file included.
"""

import json
import math
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from simulated_devices import Refused

SHEET_MM = (2438.4, 1219.2)  # a 4 ft by 8 ft sheet, its long edge along x
KINDS = ("subfloor", "slab", "flat")
ROUGHNESS_SD_MM = 0.15
ROUGHNESS_STEP_MM = 30.0
LARGEST_ROOM_MM = 100_000.0


@dataclass(frozen=True)
class Floor:
    """A floor over a room with its corner at (0, 0).

    Attributes
    ----------
    width_mm, length_mm : float
        The room along x and along y.
    height_mm : callable
        `height_mm(x_mm, y_mm)` -> height above the floor's own datum, in mm; takes numbers or
        arrays of one shape, and any point, inside the room or out.
    """

    width_mm: float
    length_mm: float
    height_mm: Callable[[Any, Any], Any]

    def raster(self, step_mm: float) -> np.ndarray:
        """Sample a square grid from (0, 0) to the room's far sides or just past them, (ny, nx)."""
        nx = math.ceil(self.width_mm / step_mm - 1e-9) + 1
        ny = math.ceil(self.length_mm / step_mm - 1e-9) + 1
        x, y = np.meshgrid(np.arange(nx) * step_mm, np.arange(ny) * step_mm)
        return np.asarray(self.height_mm(x, y))

    def highest_mm(self) -> float:
        """Return the highest height on a raster inside the room."""
        step = 25.0 if self.width_mm * self.length_mm < 1e8 else 100.0
        x = np.linspace(0.0, self.width_mm, math.ceil(self.width_mm / step) + 1)
        y = np.linspace(0.0, self.length_mm, math.ceil(self.length_mm / step) + 1)
        return float(np.max(self.height_mm(*np.meshgrid(x, y))))


def make_floor(
    seed: int, width_mm: float, length_mm: float, kind: str = "subfloor", *, rough: bool = True
) -> Floor:
    """Invent a floor.

    Parameters
    ----------
    seed : int
        Not negative. The same seed gives the same floor, everywhere and on every machine.
    width_mm, length_mm : float
        The room, mm.
    kind : {'subfloor', 'slab', 'flat'}
        Plywood with its seams, concrete without, or exactly level (for tests).
    rough : bool
        False leaves the fine roughness out.

    Raises
    ------
    Refused
        For a room or a kind that cannot be.
    """
    check_room(width_mm, length_mm)
    if kind not in KINDS:
        raise Refused(f"There is no floor of kind '{kind}'; the kinds are {', '.join(KINDS)}.")
    if seed < 0:
        raise Refused(f"A seed is a whole number from 0 up, not {seed}.")
    if kind == "flat":
        return Floor(width_mm, length_mm, lambda x, y: np.zeros(np.broadcast(x, y).shape)[()])

    rng = np.random.default_rng([seed, 1])
    large = _large_shape(rng, width_mm, length_mm)
    parts = [large, _doorway_lip(rng, width_mm)]
    if kind == "subfloor":
        parts.append(_seams(rng, width_mm, length_mm))
    if rough:
        parts.append(_roughness(np.random.default_rng([seed, 2]), width_mm, length_mm))

    def height_mm(x: Any, y: Any) -> Any:
        x, y = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
        return sum(part(x, y) for part in parts)

    return Floor(width_mm, length_mm, height_mm)


def check_room(width_mm: float, length_mm: float) -> None:
    """Refuse a room that is none."""
    for side in (width_mm, length_mm):
        if not (math.isfinite(side) and 100.0 <= side <= LARGEST_ROOM_MM):
            raise Refused(
                f"A room's side must be between 100 mm and {LARGEST_ROOM_MM:.0f} mm, not {side:g}."
            )


def floor_from_file(path: str | Path) -> Floor:
    """Read a floor from JSON: `{"x0_mm", "y0_mm", "step_mm", "nx", "ny", "z_mm": [[row], …]}`.

    The object may stand under the key `floor`, with `room_mm: [W, L]` beside it, as in a truth
    file; without a room the raster's own extent is the room. Rows run along x, the first at y0.
    Between the raster's points the height is bilinear, beyond its border that of the border.
    """
    try:
        data = json.loads(Path(path).read_text(encoding="utf-8"))
    except OSError as error:
        raise Refused(f"The floor {path} cannot be read: {error.strerror}.") from None
    except ValueError as error:
        raise Refused(f"The floor {path} is not JSON: {error}.") from None
    try:
        raster = data.get("floor", data)
        z = np.array(raster["z_mm"], dtype=float)
        x0, y0, step = (float(raster[key]) for key in ("x0_mm", "y0_mm", "step_mm"))
        if z.ndim != 2 or min(z.shape) < 2 or not np.isfinite(z).all():
            raise ValueError("z_mm must be two or more rows of two or more numbers")
        if not (step > 0 and math.isfinite(step) and math.isfinite(x0) and math.isfinite(y0)):
            raise ValueError("step_mm must be above 0")
        if tuple(z.shape) != (raster.get("ny", z.shape[0]), raster.get("nx", z.shape[1])):
            raise ValueError(f"z_mm has {z.shape[0]} rows of {z.shape[1]}, not ny rows of nx")
        far = (x0 + step * (z.shape[1] - 1), y0 + step * (z.shape[0] - 1))
        width, length = (float(side) for side in data.get("room_mm", far))
    except KeyError as error:
        raise Refused(f"The floor {path} has no {error.args[0]}.") from None
    except (AttributeError, TypeError, ValueError) as error:
        raise Refused(f"The floor {path} is not a raster of heights: {error}.") from None
    check_room(width, length)

    def height_mm(x: Any, y: Any) -> Any:
        u = np.clip((np.asarray(x, dtype=float) - x0) / step, 0.0, z.shape[1] - 1.0)
        v = np.clip((np.asarray(y, dtype=float) - y0) / step, 0.0, z.shape[0] - 1.0)
        i, j = np.minimum(u.astype(int), z.shape[1] - 2), np.minimum(v.astype(int), z.shape[0] - 2)
        u, v = u - i, v - j
        low = z[j, i] * (1 - u) + z[j, i + 1] * u
        high = z[j + 1, i] * (1 - u) + z[j + 1, i + 1] * u
        return low * (1 - v) + high * v

    return Floor(width, length, height_mm)


def _large_shape(rng: np.random.Generator, width_mm: float, length_mm: float) -> Any:
    """Tilt, sag, humps and dips, scaled so that their range in the room is 13 to 25 mm."""
    size = math.sqrt(width_mm * length_mm)
    bearing = rng.uniform(0, 2 * math.pi)
    tilt = (math.cos(bearing) / width_mm, math.sin(bearing) / length_mm)
    count = int(rng.integers(4, 8))
    centre_x, centre_y = rng.uniform(0, width_mm, count), rng.uniform(0, length_mm, count)
    amount = rng.choice([-1.0, 1.0], count) * rng.uniform(0.4, 1.0, count)
    spread = rng.uniform(0.10, 0.25, count) * size

    def shape(x: np.ndarray, y: np.ndarray) -> Any:
        z = 1.2 * (tilt[0] * x + tilt[1] * y)
        for cx, cy, a, s in zip(centre_x, centre_y, amount, spread, strict=True):
            z = z + a * np.exp(-((x - cx) ** 2 + (y - cy) ** 2) / (2 * s * s))
        return z

    u, v = np.meshgrid(np.linspace(0, width_mm, 60), np.linspace(0, length_mm, 60))
    scale = rng.uniform(13.0, 25.0) / float(np.ptp(shape(u, v)))
    return lambda x, y: scale * shape(x, y)


def _seams(rng: np.random.Generator, width_mm: float, length_mm: float) -> Any:
    """Sheets laid in rows along x, each row's ends staggered by half a sheet.

    At a seam the edges stand up a little, and one sheet stands proud of the other; the lip dies
    away within a hand's breadth, as it does on a sheet that has cupped.
    """
    long_mm, short_mm = SHEET_MM
    rows = math.ceil(length_mm / short_mm)
    ridge, lip = rng.uniform(0.2, 0.8, rows), rng.uniform(-0.6, 0.6, rows)
    ends = math.ceil(width_mm / long_mm) + 1
    end_ridge, end_lip = rng.uniform(0.2, 1.0, (rows, ends)), rng.uniform(-0.8, 0.8, (rows, ends))
    first = rng.uniform(0.3, 1.0) * long_mm

    def edge(distance: np.ndarray, up: Any, step: Any) -> Any:
        swelling = up * np.exp(-((distance / 25.0) ** 2))
        return swelling + step * np.tanh(distance / 6.0) * np.exp(-((distance / 70.0) ** 2))

    def shape(x: np.ndarray, y: np.ndarray) -> Any:
        z: Any = 0.0
        for row in range(1, rows):
            z = z + edge(y - row * short_mm, ridge[row], lip[row])
        for row in range(rows):
            inside = np.tanh((y - row * short_mm) / 20.0) - np.tanh((y - (row + 1) * short_mm) / 20)
            for end in range(ends):
                seam = first + (end - 0.5 * (row % 2)) * long_mm
                z = z + 0.5 * inside * edge(x - seam, end_ridge[row, end], end_lip[row, end])
        return z

    return shape


def _doorway_lip(rng: np.random.Generator, width_mm: float) -> Any:
    """Make the edge of the next room's floor, in a doorway in the wall along y = 0."""
    middle, up = rng.uniform(0.3, 0.7) * width_mm, rng.uniform(1.5, 3.5)

    def shape(x: np.ndarray, y: np.ndarray) -> Any:
        across = np.tanh((x - middle + 400.0) / 15.0) - np.tanh((x - middle - 400.0) / 15.0)
        return 0.5 * up * across * 0.5 * (1.0 - np.tanh((y - 60.0) / 15.0))

    return shape


def _roughness(rng: np.random.Generator, width_mm: float, length_mm: float) -> Any:
    """Fine roughness, 0.15 mm sd everywhere, correlated over some 30 mm.

    The heights of a fixed lattice, blended smoothly and divided by the root of the summed squares
    of the weights, so that the spread is the same on the lattice as between its points.
    """
    shape = (
        math.ceil(length_mm / ROUGHNESS_STEP_MM) + 8,
        math.ceil(width_mm / ROUGHNESS_STEP_MM) + 8,
    )
    lattice = rng.normal(0.0, ROUGHNESS_SD_MM, shape)

    def height(x: np.ndarray, y: np.ndarray) -> Any:
        u, v = x / ROUGHNESS_STEP_MM, y / ROUGHNESS_STEP_MM
        i, j = np.floor(u).astype(int), np.floor(v).astype(int)
        s, t = (w * w * (3 - 2 * w) for w in (u - i, v - j))
        total, squares = 0.0, 0.0
        for di, wx in ((0, 1 - s), (1, s)):
            for dj, wy in ((0, 1 - t), (1, t)):
                weight = wx * wy
                # Wrapped round: outside the room there is floor too, and it stays the same.
                total = total + weight * lattice[(j + dj) % shape[0], (i + di) % shape[1]]
                squares = squares + weight * weight
        return total / np.sqrt(squares)

    return height
