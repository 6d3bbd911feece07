"""A rod, a hand and a screw for tests: scripts of readings with their own times."""

import math
import random
from collections.abc import Callable, Sequence
from typing import Any

from rig.devices.reading import Reading, Status
from rig.events import Event, Standing
from rig.guidance.setting import CheckSight, MarkerTarget, Setting
from rig.units import Units

RATE_HZ = 10.0

# ("reading", Reading) | ("act", name, time, argument) | ("lost" | "back", time)
Input = tuple[Any, ...]


def marker(n: int, target_mm: float = 1000.0) -> MarkerTarget:
    return MarkerTarget(f"M{n}", 1000.0 * n, 500.0, target_mm, f"{n} m from the door wall")


def machine(markers: Sequence[MarkerTarget] | int = 3, **changes: Any) -> Setting:
    if isinstance(markers, int):
        markers = [marker(n + 1) for n in range(markers)]
    options: dict[str, Any] = {
        "tolerance_mm": 1.0,
        "dwell_s": 1.0,
        "walk_s": 1.0,
        "still_mm": 0.5,
        "resolution_mm": 0.1,
        "foot_mm": 0.1,
        "units": Units("in", 32),
        "skip_check": changes.get("check") is None,
    }
    return Setting(markers, **(options | changes))


def sight(expected_mm: float = 1200.0, noise_mm: float = 0.3) -> CheckSight:
    return CheckSight("BM1", None, None, expected_mm, noise_mm, "")


class Script:
    """What happens to a rod, second after second."""

    def __init__(self, noise_mm: float = 0.0, seed: int = 0, rate_hz: float = RATE_HZ) -> None:
        self.inputs: list[Input] = []
        self.truth_mm: list[float] = []  # true reading, one for each valid one
        self.time_s = 0.0
        self._noise_mm = noise_mm
        self._random = random.Random(seed)
        self._step_s = 1.0 / rate_hz

    def stand(self, height_mm: float | Callable[[float], float], seconds: float) -> "Script":
        """Stay on one place, or on a screw that turns: height as a function of the seconds."""
        for n in range(round(seconds / self._step_s)):
            true = height_mm(n * self._step_s) if callable(height_mm) else height_mm
            noise = max(-2.0, min(2.0, self._random.gauss(0.0, 1.0))) * self._noise_mm
            self.truth_mm.append(true)
            self._add("valid", true + noise)
        return self

    def turn(self, start_mm: float, end_mm: float, seconds: float) -> "Script":
        """Turn the screw under the rod from one reading to another."""

        def height_mm(t: float) -> float:
            eased = (1.0 - math.cos(math.pi * t / seconds)) / 2.0  # a hand starts and ends slowly
            return start_mm + (end_mm - start_mm) * eased

        return self.stand(height_mm, seconds)

    def dark(self, seconds: float) -> "Script":
        """No beam."""
        for _ in range(round(seconds / self._step_s)):
            self._add("no_beam", None)
        return self

    def press(self, times: int = 1) -> "Script":
        """Press the rod's button; nothing else happens meanwhile."""
        for _ in range(times):
            self.inputs.append(("reading", Reading(self.time_s, 0.0, "", "button")))
            self.time_s += 0.2
        return self

    def wait(self, seconds: float) -> "Script":
        self.time_s += seconds
        return self

    def act(self, name: str, argument: str | None = None) -> "Script":
        self.inputs.append(("act", name, self.time_s, argument))
        return self

    def lose(self, seconds: float) -> "Script":
        self.inputs.append(("lost", self.time_s))
        self.time_s += seconds
        self.inputs.append(("back", self.time_s))
        return self

    def set_from(self, start_mm: float, end_mm: float = 1000.0) -> "Script":
        """Set a marker as it is done: stand on it, turn it, hold."""
        return self.stand(start_mm, 1.5).turn(start_mm, end_mm, 2.0).stand(end_mm, 1.5)

    def _add(self, status: Status, value_mm: float | None) -> None:
        self.inputs.append(("reading", Reading(self.time_s, 0.0, "", status, value_mm)))
        self.time_s += self._step_s


def feed(setting: Setting, item: Input) -> list[Event]:
    """What people are told of an input; how the rod stands is told beside it."""
    return [event for event in feed_all(setting, item) if not isinstance(event, Standing)]


def feed_all(setting: Setting, item: Input) -> list[Event]:
    match item:
        case ("reading", reading):
            return setting.reading(reading)
        case ("act", name, time_s, argument):
            return setting.act(name, time_s, argument)
        case ("lost", time_s):
            return setting.lost(time_s)
        case ("back", time_s):
            return setting.back(time_s)
    raise AssertionError(item)


def play(setting: Setting, script: Script, begin: bool = True) -> list[Event]:
    """Run a script from the start, or go on; a last tick lets deadlines act."""
    events = list(setting.start(0.0)) if begin else []
    for item in script.inputs:
        events += feed(setting, item)
    return events + list(setting.tick(script.time_s + 2.0))


def named(events: Sequence[Event], name: str) -> list[Any]:
    return [event for event in events if event.event == name]


def labels(events: Sequence[Event], name: str) -> list[str]:
    return [event.marker for event in named(events, name)]
