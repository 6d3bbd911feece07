"""The rod: where its foot and the line are, turned into one sample of what it would send."""

import math
import random
from dataclasses import dataclass, field
from typing import Literal

Status = Literal["V", "N", "B", "L"]  # valid, no beam, button, low battery


@dataclass(frozen=True, slots=True)
class Sample:
    """One message of the rod before it is written down; `value_mm` is None without a beam."""

    time_s: float
    seq: int
    value_mm: float | None
    status: Status = "V"
    clock_s: float = 0.0  # of the rod's own clock


@dataclass(frozen=True, slots=True)
class Pose:
    """How the rod is held.

    Attributes
    ----------
    x_mm, y_mm : float
        Where the foot is, or hangs over.
    foot_mm : float
        Height of the foot above the floor's datum.
    tilt_deg : float
        Lean from plumb; the rod then reads a longer distance.
    beam : bool
        False where something is in the way or the receiver is turned off the line.
    """

    x_mm: float
    y_mm: float
    foot_mm: float
    tilt_deg: float = 0.0
    beam: bool = True


@dataclass
class Rod:
    """A rod with its noise, its resolution and its count of messages.

    `noise_mm` is the standard deviation of one reading; what remains of one reading's error in the
    next falls off with `noise_memory_s`. Below `shortest_mm` and above `longest_mm` there is no
    beam on the receiver.
    """

    resolution_mm: float = 0.1
    noise_mm: float = 0.15
    noise_memory_s: float = 0.08
    shortest_mm: float = 2.0
    longest_mm: float = 3000.0
    seed: int = 1
    seq: int = 0
    _rng: random.Random = field(init=False, repr=False)
    _stand: str = field(init=False, default="", repr=False)
    _noise: float = field(init=False, default=0.0, repr=False)
    _noise_s: float = field(init=False, default=-math.inf, repr=False)

    def __post_init__(self) -> None:
        self._rng = random.Random(f"rod {self.seed}")

    def sample(
        self, time_s: float, pose: Pose, line_mm: float, pressed: bool = False, stand: str = ""
    ) -> Sample:
        """Read the line once; `pressed` tags the message as a press of the button.

        Each `stand` has its own noise, the same again whenever it begins.
        """
        if stand != self._stand:
            self._stand = stand
            self._rng = random.Random(f"rod {self.seed} {stand}")
        value = reading_mm(pose, line_mm) + self._noise_at(time_s)
        seen = pose.beam and self.shortest_mm <= value <= self.longest_mm
        shown = quantised(value, self.resolution_mm) if seen else None
        seq, self.seq = self.seq, (self.seq + 1) % 65536
        return Sample(time_s, seq, shown, "B" if pressed else "V" if seen else "N", time_s)

    def _noise_at(self, time_s: float) -> float:
        keep = math.exp(-max(0.0, time_s - self._noise_s) / self.noise_memory_s)
        fresh = self._rng.gauss(0.0, 1.0) * math.sqrt(1.0 - keep * keep)
        self._noise, self._noise_s = keep * self._noise + fresh, time_s
        return self.noise_mm * self._noise


def reading_mm(pose: Pose, line_mm: float) -> float:
    """How far along the rod the line is above the foot, mm, without noise."""
    return (line_mm - pose.foot_mm) / math.cos(math.radians(pose.tilt_deg))


def quantised(value_mm: float, resolution_mm: float) -> float:
    """Round to the nearest step of the display."""
    return round(value_mm / resolution_mm) * resolution_mm if resolution_mm else value_mm
