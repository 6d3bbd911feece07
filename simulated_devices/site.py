"""The place of work: the floor, the grid points that were named, and the markers' screws in it."""

import random
from dataclasses import dataclass, field

from simulated_devices.floor import Floor

PLACEMENT_MM = 8.0
STICK_OUT_MM = (5.0, 40.0)


@dataclass
class Marker:
    """A screw in the floor; its head is what the rod stands on."""

    label: str
    x_mm: float
    y_mm: float
    top_mm: float


@dataclass
class Site:
    """A floor and what stands on it.

    `places` are the points named so far, each `label: (x_mm, y_mm)`; markers come into being when
    the installer first needs one, always the same for the same seed and place.
    """

    floor: Floor
    seed: int
    places: dict[str, tuple[float, float]] = field(default_factory=dict)
    marks: set[str] = field(default_factory=set)  # benchmarks: fixed points, found exactly
    markers: dict[str, Marker] = field(default_factory=dict)

    def floor_mm(self, x_mm: float, y_mm: float) -> float:
        return float(self.floor.height_mm(x_mm, y_mm))

    @property
    def middle(self) -> tuple[float, float]:
        return (self.floor.width_mm / 2, self.floor.length_mm / 2)

    def benchmark(self, label: str) -> tuple[float, float]:
        """Pick a place by the wall for a label that was told without one, always the same."""
        self.marks.add(label)
        if label not in self.places:
            share = random.Random(f"benchmark {self.seed} {label}").uniform(0.1, 0.9)
            self.places[label] = (60.0, share * self.floor.length_mm)
        return self.places[label]

    def marker(self, label: str, x_mm: float, y_mm: float) -> Marker:
        """Return the screw of a label; driven in near the told place where there is none yet."""
        if label not in self.markers:
            rng = random.Random(f"marker {self.seed} {label}")
            x, y = rng.gauss(x_mm, PLACEMENT_MM), rng.gauss(y_mm, PLACEMENT_MM)
            top = self.floor_mm(x, y) + rng.uniform(*STICK_OUT_MM)
            self.markers[label] = Marker(label, x, y, top)
        return self.markers[label]
