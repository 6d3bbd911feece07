"""The laser's line: a nearly level plane with its own errors, and how it wanders in time."""

import math
import random
from dataclasses import dataclass, field
from typing import Any

import numpy as np

WORST_DRIFT_MM_PER_H = 0.3


@dataclass(frozen=True)
class Wave:
    """One part of the drift: `swing_mm * (sin(2 pi t / period_s + phase_rad) - sin(phase_rad))`."""

    swing_mm: float
    period_s: float
    phase_rad: float

    def at(self, time_s: float) -> float:
        turn = 2 * math.pi * time_s / self.period_s
        return self.swing_mm * (math.sin(turn + self.phase_rad) - math.sin(self.phase_rad))


@dataclass(frozen=True)
class Jolt:
    """A knock against the stand: from then on the line is elsewhere."""

    time_s: float
    up_mm: float
    slope_x_mm_per_m: float = 0.0
    slope_y_mm_per_m: float = 0.0


@dataclass
class Laser:
    """A laser that stands at a place and makes a line.

    Its slope and cone count from its own place, so a laser in the middle of the room errs by
    opposite amounts on opposite sides. `height_mm` is the line's height above the floor's datum at
    the laser's place at time 0.
    """

    x_mm: float
    y_mm: float
    height_mm: float
    slope_x_mm_per_m: float = 0.0
    slope_y_mm_per_m: float = 0.0
    cone_mm_per_m: float = 0.0
    drift: tuple[Wave, ...] = ()
    jolts: list[Jolt] = field(default_factory=list)

    def line_mm(self, x_mm: Any, y_mm: Any, time_s: float) -> Any:
        """Height of the line above the floor's datum over a point (numbers or arrays), mm."""
        east, north = (x_mm - self.x_mm) / 1000.0, (y_mm - self.y_mm) / 1000.0
        slope_x, slope_y = self.slope_x_mm_per_m, self.slope_y_mm_per_m
        up = self.height_mm + sum(wave.at(time_s) for wave in self.drift)
        for jolt in self.jolts:
            if time_s >= jolt.time_s:
                up += jolt.up_mm
                slope_x += jolt.slope_x_mm_per_m
                slope_y += jolt.slope_y_mm_per_m
        line = up + slope_x * east + slope_y * north
        if self.cone_mm_per_m:
            line = line + self.cone_mm_per_m * np.hypot(east, north)
        return line

    def jolt(
        self,
        time_s: float,
        up_mm: float,
        slope_x_mm_per_m: float = 0.0,
        slope_y_mm_per_m: float = 0.0,
    ) -> None:
        """Knock the stand at `time_s`."""
        self.jolts.append(Jolt(time_s, up_mm, slope_x_mm_per_m, slope_y_mm_per_m))


def random_slope(seed: int, worst_mm_per_m: float = 0.05) -> tuple[float, float]:
    """Invent slope errors along x and y, within `worst_mm_per_m` either way."""
    rng = random.Random(f"slope {seed}")
    return (
        rng.uniform(-worst_mm_per_m, worst_mm_per_m),
        rng.uniform(-worst_mm_per_m, worst_mm_per_m),
    )


def random_drift(seed: int, worst_mm_per_h: float = WORST_DRIFT_MM_PER_H) -> tuple[Wave, ...]:
    """Invent a slow walk with the temperature, never faster than `worst_mm_per_h`."""
    rng = random.Random(f"drift {seed}")
    periods = [rng.uniform(low, 2 * low) for low in (1500.0, 3000.0, 6000.0)]
    shares = [rng.uniform(0.2, 1.0) for _ in periods]
    return tuple(
        Wave(
            swing_mm=worst_mm_per_h / 3600.0 * share / sum(shares) * period / (2 * math.pi),
            period_s=period,
            phase_rad=rng.uniform(0, 2 * math.pi),
        )
        for period, share in zip(periods, shares, strict=True)
    )
