"""A made-up installer: scripts of readings with their times, and the machine's answers."""

import random
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from rig.devices.reading import Reading, Status
from rig.events import Event, ShotTaken, Standing
from rig.survey.capture import Capture, Stand

STANDS = [Stand(f"A{n}", 100.0 * n, 50.0, f"{n} ft from the door wall") for n in range(1, 6)]


@dataclass
class Walker:
    """Feeds a machine at a steady rate and keeps all that it says."""

    machine: Capture
    rate_hz: float = 10.0
    noise_mm: float = 0.05
    digit_mm: float = 0.0
    seed: int = 1
    time_s: float = 0.0
    said: list[Event] = field(default_factory=list)
    stood: list[Standing] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.random = random.Random(self.seed)
        self.hear(self.machine.start(self.time_s))

    def send(self, status: Status, value_mm: float | None = None) -> list[Any]:
        self.time_s += 1.0 / self.rate_hz
        events = self.machine.reading(Reading(self.time_s, self.time_s, "", status, value_mm))
        return self.hear(events)

    def hear(self, events: Sequence[Event]) -> list[Any]:
        """Keep what people are told, and apart from it how the rod stood."""
        self.stood += [event for event in events if isinstance(event, Standing)]
        told: list[Any] = [event for event in events if not isinstance(event, Standing)]
        self.said += told
        return told

    def read(self, height_mm: float, status: Status = "valid") -> list[Any]:
        value = height_mm + self.random.gauss(0.0, self.noise_mm)
        if self.digit_mm:
            value = round(value / self.digit_mm) * self.digit_mm
        return self.send(status, value)

    def stand(self, height_mm: float, seconds: float) -> "Walker":
        for _ in range(round(seconds * self.rate_hz)):
            self.read(height_mm)
        return self

    def walk(self, seconds: float = 2.0) -> "Walker":
        for _ in range(round(seconds * self.rate_hz)):
            self.send("no_beam")
        return self

    def carry(self, seconds: float = 2.0) -> "Walker":
        for _ in range(round(seconds * self.rate_hz)):
            self.send("valid", 1000.0 + self.random.uniform(-150.0, -20.0))
        return self

    def press(self, times: int = 1) -> "Walker":
        for _ in range(times):
            self.send("button")
        return self

    def act(self, name: str, argument: str | None = None) -> "Walker":
        self.hear(self.machine.act(name, self.time_s, argument))
        return self

    @property
    def shots(self) -> list[ShotTaken]:
        return [event for event in self.said if isinstance(event, ShotTaken)]

    @property
    def labels(self) -> list[str]:
        return [shot.label for shot in self.shots]

    def heard(self, name: str) -> list[Event]:
        return [event for event in self.said if event.event == name]

    def reasons(self) -> list[str]:
        return [event.as_json()["reason"] for event in self.heard("trouble")]


def capture(stands: Iterable[Stand] = STANDS, **changes: object) -> Capture:
    settings: dict[str, object] = {"resolution_mm": 0.1, "foot_mm": 0.1} | changes
    make: Callable[..., Capture] = Capture
    return make(list(stands), **settings)
