"""What a rod does between two decisions of the installer: the pose at any moment of it."""

import math
from collections.abc import Callable
from dataclasses import dataclass

from simulated_devices.rod import Pose


@dataclass(frozen=True)
class Spot:
    """Where a foot stands: a place, its height, and whether it is the screw of a marker."""

    label: str | None
    x_mm: float
    y_mm: float
    foot_mm: float
    marker: str | None = None


@dataclass(frozen=True)
class Rest:
    """The rod leans in a corner; no beam."""

    spot: Spot

    def pose(self, time_s: float) -> Pose:
        return Pose(self.spot.x_mm, self.spot.y_mm, self.spot.foot_mm, beam=False)


@dataclass(frozen=True)
class Carried:
    """The rod is carried from one spot to another: no beam at all, or readings that swing."""

    start: Spot
    end: Spot
    from_s: float
    to_s: float
    swings: bool
    phase: float = 0.0

    def pose(self, time_s: float) -> Pose:
        share = min(1.0, max(0.0, (time_s - self.from_s) / (self.to_s - self.from_s)))
        x, y, foot = (
            a + share * (b - a)
            for a, b in (
                (self.start.x_mm, self.end.x_mm),
                (self.start.y_mm, self.end.y_mm),
                (self.start.foot_mm, self.end.foot_mm),
            )
        )
        turn = 2 * math.pi * (time_s - self.from_s) + self.phase
        lift = 45.0 + 25.0 * math.sin(1.1 * turn) + 10.0 * math.sin(2.7 * turn)
        return Pose(x, y, foot + lift, tilt_deg=6.0 * math.sin(0.8 * turn), beam=self.swings)


@dataclass(frozen=True)
class Standing:
    """The rod stands on a spot; it bounces and leans at first, then only sways a little."""

    spot: Spot
    since_s: float
    bounce_mm: float = 0.0
    lean_deg: float = 0.0
    sway_deg: float = 0.2
    blocked: tuple[float, float] | None = None

    def pose(self, time_s: float) -> Pose:
        stood = time_s - self.since_s
        lean = self.lean_deg * math.exp(-stood / 0.25) * math.cos(8.0 * stood)
        bounce = self.bounce_mm * math.exp(-stood / 0.12) * abs(math.cos(25.0 * stood))
        sway = self.sway_deg * math.sin(1.9 * stood)
        beam = self.blocked is None or not self.blocked[0] <= time_s < self.blocked[1]
        return Pose(self.spot.x_mm, self.spot.y_mm, self.spot.foot_mm + bounce, lean + sway, beam)


@dataclass(frozen=True)
class Turning:
    """The screw under the standing rod is turned from one height to another."""

    spot: Spot
    from_s: float
    to_s: float
    to_foot_mm: float

    def pose(self, time_s: float) -> Pose:
        share = min(1.0, max(0.0, (time_s - self.from_s) / (self.to_s - self.from_s)))
        foot = self.spot.foot_mm + share * (self.to_foot_mm - self.spot.foot_mm)
        wobble = 0.8 * math.sin(12.0 * (time_s - self.from_s))
        return Pose(self.spot.x_mm, self.spot.y_mm, foot, tilt_deg=wobble)


@dataclass(frozen=True)
class Sliding:
    """The rod's foot slides over the floor from one spot to another, at a pace not quite even.

    `uneven` is how far from an even pace it is in the middle, as a share of the way; the rod leans
    this way and that by `lean_deg` at most.
    """

    spot: Spot
    end: Spot
    floor_mm: Callable[[float, float], float]
    from_s: float
    to_s: float
    uneven: float = 0.0
    lean_deg: float = 0.0
    phase: float = 0.0

    def pose(self, time_s: float) -> Pose:
        share = min(1.0, max(0.0, (time_s - self.from_s) / (self.to_s - self.from_s)))
        share += 4.0 * self.uneven * share * (1.0 - share)
        x = self.spot.x_mm + share * (self.end.x_mm - self.spot.x_mm)
        y = self.spot.y_mm + share * (self.end.y_mm - self.spot.y_mm)
        lean = self.lean_deg * math.sin(2.3 * (time_s - self.from_s) + self.phase)
        return Pose(x, y, self.floor_mm(x, y), lean if 0.0 < share < 1.0 else 0.0)


Motion = Rest | Carried | Standing | Turning | Sliding
