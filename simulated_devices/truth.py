"""What was really so, written to a JSON file: the floor, the line, each shot and each marker.

Heights are relative to the laser's line at the laser's place at time 0, so a floor's height is
minus the reading that a perfect rod would give there under a perfect line.
"""

import contextlib
import json
import os
from dataclasses import asdict
from pathlib import Path
from typing import Any

from simulated_devices import Refused
from simulated_devices.points_walk import PointsWalk
from simulated_devices.world import World

LARGEST_RASTER = 40_000


def floor_raster(world: World) -> dict[str, Any]:
    """Sample the floor on a square grid from the room's corner, rows along x."""
    floor = world.site.floor
    step = 25.0
    while (floor.width_mm / step + 2) * (floor.length_mm / step + 2) > LARGEST_RASTER:
        step *= 2
    z = floor.raster(step) - world.laser.height_mm
    return {
        "x0_mm": 0.0,
        "y0_mm": 0.0,
        "step_mm": step,
        "nx": z.shape[1],
        "ny": z.shape[0],
        "z_mm": [[round(float(value), 3) for value in row] for row in z],
    }


def truth(world: World) -> dict[str, Any]:
    """Everything but the floor's raster, ready for JSON."""
    laser, floor = world.laser, world.site.floor
    datum = laser.height_mm

    def shot(label: str, x: float, y: float, foot: float, line: float) -> dict[str, Any]:
        return {
            "label": label,
            "x_mm": round(x, 2),
            "y_mm": round(y, 2),
            "floor_mm": round(foot - datum, 4),
            "line_mm": round(line - datum, 4),
            "true_reading_mm": round(line - foot, 4),
        }

    told: dict[str, Any] = {
        "note": "simulated, invented",
        "seed": world.seed,
        "room_mm": [floor.width_mm, floor.length_mm],
        "datum": "heights relative to the laser's line at the laser's place at time 0",
        "faults": {name: list(values) for name, values in world.chosen.items()},
        "line": {
            "laser_x_mm": laser.x_mm,
            "laser_y_mm": laser.y_mm,
            "slope_x_mm_per_m": laser.slope_x_mm_per_m,
            "slope_y_mm_per_m": laser.slope_y_mm_per_m,
            "cone_mm_per_m": laser.cone_mm_per_m,
            "drift": [asdict(wave) for wave in laser.drift],
            "drift_formula": "sum of swing_mm (sin(2 pi t/period_s + phase_rad) - sin(phase_rad))",
            "jolts": [asdict(jolt) for jolt in laser.jolts],
        },
        "time_s": round(world.time_s, 3),
        "shots": [
            shot(row.label, row.x_mm, row.y_mm, row.floor_mm, row.line_mm)
            | {"time_s": round(row.time_s, 3), "undone": row.undone}
            for row in world.shots
        ],
        "markers": [
            {
                "label": row.label,
                "x_mm": round(row.x_mm, 2),
                "y_mm": round(row.y_mm, 2),
                "top_mm": round(row.top_mm - datum, 4),
                "line_mm": round(row.line_mm - datum, 4),
                "time_s": round(row.time_s, 3),
                "top_now_mm": round(world.site.markers[row.label].top_mm - datum, 4),
                "unset": row.unset,
            }
            for row in world.markers
        ],
    }
    if isinstance(world.mover, PointsWalk):
        told["stands"] = [
            shot(
                spot.label or "",
                spot.x_mm,
                spot.y_mm,
                spot.foot_mm,
                float(laser.line_mm(spot.x_mm, spot.y_mm, time_s)),
            )
            | {"time_s": round(time_s, 3)}
            for time_s, spot in world.mover.stands
        ]
    return told


class TruthFile:
    """A truth file that is rewritten whole whenever something has changed, never half-written."""

    def __init__(self, path: str | Path, world: World) -> None:
        self._path = Path(path)
        self._world = world
        self._floor = json.dumps(floor_raster(world))  # the large part never changes
        self._written: object = None
        self.update(at_end=True)

    def update(self, *, at_end: bool = False) -> None:
        """Rewrite the file if there is something new; at the end in any case."""
        mover = self._world.mover
        state = (self._world.changes, len(mover.stands) if isinstance(mover, PointsWalk) else 0)
        if state == self._written and not at_end:
            return
        rest = json.dumps(truth(self._world), allow_nan=False)
        text = f'{rest[:-1]}, "floor": {self._floor}}}\n'
        beside = self._path.with_name(f".{self._path.name}.{os.getpid()}")
        try:
            beside.write_text(text, encoding="utf-8")
            beside.replace(self._path)
        except OSError as error:
            with contextlib.suppress(OSError):
                beside.unlink(missing_ok=True)
            raise Refused(
                f"The truth file {self._path} cannot be written: {error.strerror}."
            ) from None
        self._written = state
