"""An invented pour: compound over an invented floor, with the marks that real pours keep.

`python -m simulated_devices.pour --floor FILE --plane A[,B,C] --out FILE` reads a floor (a truth
file does), pours to a plane given in that file's own heights, and writes the cured surface as a
floor file, which `python -m simulated_devices serial --floor` serves.
"""

import argparse
import json
import math
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from simulated_devices import Refused
from simulated_devices.floor import Floor, floor_from_file

STEP_MM = 25.0
# Compound heals itself level over such a length and no shorter (invented, as all else here).
HEALS_OVER_MM = 600.0
TEXTURE_SD_MM = 0.12
TEXTURE_LENGTH_MM = 120.0
RIDGE_MM = (0.3, 0.9)
RIDGE_WIDTH_MM = 18.0
BATCH_STRIP_MM = (700.0, 1100.0)
SHRINKS = 0.004
"""Of the thickness, as the compound cures."""

BOXED_MM = 60.0
"""Radius of what is boxed out: more than the diagonal of a cell of the file that is written."""

_LEVELNESS_MM = 0.25


def pour(
    floor: Floor,
    plane_mm: tuple[float, float, float],
    seed: int,
    *,
    fresh: float = 1.0,
    keep: Sequence[tuple[float, float]] = (),
) -> Floor:
    """Pour compound over a floor up to a plane z = a + b·x + c·y and let it cure.

    Parameters
    ----------
    floor : Floor
    plane_mm : tuple of float
        In the floor's own heights. Where the floor stands above it, it comes through.
    seed : int
    fresh : float
        1 where every batch met the last one wet. Above it batches set before the next came:
        ridges and steps where they meet grow in proportion; 0 leaves no marks at all.
    keep : sequence of (x_mm, y_mm)
        Places boxed out, that no compound comes to: a benchmark on the floor.

    Returns
    -------
    Floor
        The cured surface: level within a quarter of a millimetre over a room, a texture that does
        not heal, a ridge where two batches met, and shrinkage that follows the depth.
    """
    if not (math.isfinite(fresh) and fresh >= 0):
        raise Refused(f"How fresh the batches were is 0 or more, not {fresh:g}.")
    a, b, c = plane_mm
    rng = np.random.default_rng([seed, 7])
    marks = [_waves(rng, floor), _texture(rng), _ridges(rng, floor)]

    def height_mm(x: Any, y: Any) -> Any:
        x, y = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
        under = floor.height_mm(x, y)
        top = a + b * x + c * y
        depth = np.maximum(top - under, 0.0)
        cured = top - SHRINKS * depth + fresh * sum(mark(x, y) for mark in marks)
        done = np.maximum(cured, under)
        for kept_x, kept_y in keep:
            done = np.where(np.hypot(x - kept_x, y - kept_y) < BOXED_MM, under, done)
        return done

    return Floor(floor.width_mm, floor.length_mm, height_mm)


def write_floor(path: Path, floor: Floor, step_mm: float = STEP_MM) -> None:
    """Write a floor as a file that `floor_from_file` reads back."""
    z = floor.raster(step_mm)
    data = {
        "note": "simulated, invented",
        "room_mm": [floor.width_mm, floor.length_mm],
        "floor": {
            "x0_mm": 0.0,
            "y0_mm": 0.0,
            "step_mm": step_mm,
            "nx": z.shape[1],
            "ny": z.shape[0],
            "z_mm": [[round(float(value), 4) for value in row] for row in z],
        },
    }
    try:
        path.write_text(json.dumps(data), encoding="utf-8")
    except OSError as error:
        raise Refused(f"The floor {path} cannot be written: {error.strerror}.") from None


def _waves(rng: np.random.Generator, floor: Floor) -> Callable[[Any, Any], Any]:
    """What self-levelling leaves of level over metres: long, shallow waves."""
    size = math.sqrt(floor.width_mm * floor.length_mm)
    wave = rng.normal(0.0, 1.0, (6, 2)) * 2.0 / size
    phase = rng.uniform(0.0, 2 * math.pi, 6)

    def shape(x: Any, y: Any) -> Any:
        z: Any = 0.0
        for (u, v), p in zip(wave, phase, strict=True):
            z = z + np.cos(u * x + v * y + p)
        return _LEVELNESS_MM * z / math.sqrt(3.0)

    return shape


def _texture(rng: np.random.Generator) -> Callable[[Any, Any], Any]:
    """Drag of rake and spiked roller, too short to heal."""
    count = 80
    wave = rng.normal(0.0, 1.0 / TEXTURE_LENGTH_MM, (count, 2))
    phase = rng.uniform(0.0, 2 * math.pi, count)

    def shape(x: Any, y: Any) -> Any:
        z: Any = 0.0
        for (u, v), p in zip(wave, phase, strict=True):
            z = z + np.cos(u * x + v * y + p)
        return TEXTURE_SD_MM * z * math.sqrt(2.0 / count)

    return shape


def _ridges(rng: np.random.Generator, floor: Floor) -> Callable[[Any, Any], Any]:
    """Seams between batches poured in strips along the longer side: low ridges, a little bent."""
    along_x = floor.width_mm >= floor.length_mm
    across_mm = floor.length_mm if along_x else floor.width_mm
    seams = []
    at = rng.uniform(*BATCH_STRIP_MM)
    while at < across_mm - 200.0:
        seams.append((at, rng.uniform(*RIDGE_MM), rng.uniform(0, 2 * math.pi), rng.uniform(10, 60)))
        at += rng.uniform(*BATCH_STRIP_MM)

    def shape(x: Any, y: Any) -> Any:
        along, across = (x, y) if along_x else (y, x)
        z: Any = np.zeros(np.shape(x))
        for middle, up, phase, sway in seams:
            off = across - middle - sway * np.sin(along / HEALS_OVER_MM + phase)
            z = z + up * np.exp(-((off / RIDGE_WIDTH_MM) ** 2))
        return z

    return shape


def _place(text: str) -> tuple[float, float]:
    try:
        x, y = (float(word) for word in text.split(","))
    except ValueError:
        raise Refused(f"--keep takes a place as X,Y in mm, not {text!r}.") from None
    return x, y


def main(words: list[str] | None = None) -> int:
    """Run the command line; return the exit code: 0 done, 2 refused."""
    parser = argparse.ArgumentParser(
        prog="simulated_devices.pour",
        description="Pour invented compound over an invented floor. Nothing of it was measured.",
    )
    parser.add_argument("--floor", type=Path, required=True, help="a floor or truth file")
    parser.add_argument(
        "--plane", required=True, metavar="A[,B,C]", help="z = a + b x + c y, mm; write --plane=-40"
    )
    parser.add_argument("--out", type=Path, required=True, help="the cured floor's file")
    parser.add_argument(
        "--keep", action="append", default=[], metavar="X,Y", help="a place boxed out; repeatable"
    )
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--fresh", type=float, default=1.0, help="0 no marks, 1 usual, 5 botched")
    given = parser.parse_args(words)
    try:
        plane = [float(part) for part in given.plane.split(",")]
        if len(plane) not in (1, 3) or not all(map(math.isfinite, plane)):
            raise ValueError
    except ValueError:
        print("simulated_devices.pour: --plane takes one or three numbers.", file=sys.stderr)
        return 2
    a, b, c = (*plane, 0.0, 0.0)[:3]
    try:
        floor = floor_from_file(given.floor)
        keep = [_place(text) for text in given.keep]
        write_floor(given.out, pour(floor, (a, b, c), given.seed, fresh=given.fresh, keep=keep))
    except Refused as refusal:
        print(f"simulated_devices.pour: {refusal}", file=sys.stderr)
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(main())
