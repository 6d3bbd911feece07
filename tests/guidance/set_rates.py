"""How often a marker that is told "set" is out of its tolerance, and what its stated error holds.

`python -m tests.guidance.set_rates 200` plays that many rounds of ten markers over each kind of
noise (about a minute for ten). A hand turns each screw by what the prompt says, with an error of
its own, and waits; and one marker a round is left 1.2 mm out for a minute, with a tolerance of 1.
Slow noise is of the family by which `rig/survey/memory.py` learns, with memories that it does not
try; the swing of the line is of none. All of it is simulated: no rod's own noise is here.
"""

import math
import random
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from rig.devices.reading import Reading
from rig.events import AskMarker, Event, MarkerSet, Prompt
from tests.guidance.rods import machine, marker

TARGET_MM, TOLERANCE_MM, OUT_MM = 1000.0, 1.0, 1.2
HANDS_MM = 0.5
PATIENCE_S, LEFT_S, MOST_S = 6.0, 60.0, 60.0
Noise = Callable[[random.Random, float], Iterator[float]]


def white(rng: random.Random, step_s: float) -> Iterator[float]:
    while True:
        yield rng.gauss(0.0, 0.3)


def slow(sd_mm: float, memory_s: float, white_mm: float) -> Noise:
    def noise(rng: random.Random, step_s: float) -> Iterator[float]:
        kept, at = math.exp(-step_s / memory_s), rng.gauss(0.0, sd_mm)
        while True:
            at = kept * at + math.sqrt(1.0 - kept**2) * rng.gauss(0.0, sd_mm)
            yield at + rng.gauss(0.0, white_mm)

    return noise


def drifting(rng: random.Random, step_s: float) -> Iterator[float]:
    """A slow swing of the line of 0.2 mm either way, as of a mast in the sun, and white noise."""
    period_s, phase, t = rng.uniform(8.0, 40.0), rng.uniform(0.0, 6.28), 0.0
    while True:
        t += step_s
        yield 0.2 * math.sin(6.283 * t / period_s + phase) + rng.gauss(0.0, 0.1)


KINDS: dict[str, tuple[Noise, float]] = {
    "white 0.3": (white, 0.0),
    "half a second": (slow(0.3, 0.5, 0.05), 0.0),
    "correlated 1.3 s": (slow(0.3, 1.3, 0.05), 0.0),
    "correlated 5 s": (slow(0.25, 5.0, 0.1), 0.0),
    "drifting": (drifting, 0.0),
    "foot 0.3": (slow(0.1, 0.5, 0.1), 0.3),
}
"""Each with one standard deviation of where the foot comes to stand, which the profile states."""


@dataclass
class Counts:
    """Of a kind of noise."""

    stood: int = 0
    set: int = 0
    wrong: int = 0
    held: int = 0
    seconds: float = 0.0
    left: int = 0
    left_set: int = 0
    stated: list[float] = field(default_factory=list)


class Round:
    """One session of a rod on one marker after the other."""

    def __init__(self, kind: str, seed: int, markers: int, rate_hz: float) -> None:
        noise, self._foot_mm = KINDS[kind]
        self._rng = random.Random(f"{kind} {seed}")
        self._step_s = 1.0 / rate_hz
        self._noise = noise(self._rng, self._step_s)
        self._setting = machine(
            [marker(n + 1) for n in range(markers)], foot_mm=max(self._foot_mm, 0.1)
        )
        self._setting.start(0.0)
        self._now_s = 0.0

    def play(self, counts: Counts, leave: bool) -> None:
        """Set one marker, or leave it out and wait."""
        rng, foot = self._rng, self._rng.gauss(0.0, self._foot_mm)
        self._walk()
        off, begun = rng.choice([-1.0, 1.0]) * rng.uniform(4.0, 9.0), self._now_s
        self._stand(off + foot, 1.6)
        goal = OUT_MM * rng.choice([-1.0, 1.0]) if leave else rng.gauss(0.0, HANDS_MM)
        self._turn(off + foot, goal + foot)
        if leave:
            counts.left += 1
            taken, _ = self._stand(goal + foot, LEFT_S)
            counts.left_set += taken is not None
            if taken is None:
                self._setting.act("skip", self._now_s)
            return
        counts.stood += 1
        while self._now_s - begun < MOST_S:
            taken, prompt = self._stand(goal + foot, PATIENCE_S)
            if taken is not None:
                counts.set += 1
                counts.wrong += abs(goal) > TOLERANCE_MM
                counts.held += abs(taken.residual_mm - goal) <= 1.96 * taken.stderr_mm
                counts.stated.append(taken.stderr_mm)
                counts.seconds += self._now_s - begun
                return
            if prompt is not None and prompt.move != "hold":
                turned = goal - prompt.residual_mm + rng.gauss(0.0, 0.3)
                self._turn(goal + foot, turned + foot)
                goal = turned
        self._setting.act("skip", self._now_s)

    def _walk(self) -> None:
        for _ in range(round(1.6 / self._step_s)):
            self._tell(None)

    def _turn(self, start: float, end: float) -> None:
        steps = round(1.5 / self._step_s)
        for n in range(steps):
            self._tell(start + (end - start) * (1.0 - math.cos(math.pi * n / steps)) / 2.0)

    def _stand(self, top_mm: float, seconds: float) -> tuple[MarkerSet | None, Prompt | None]:
        prompt = None
        for _ in range(round(seconds / self._step_s)):
            told = self._tell(top_mm)
            if any(isinstance(event, AskMarker) for event in told):
                told += self._setting.act("accept", self._now_s)
            for event in told:
                if isinstance(event, MarkerSet):
                    return event, prompt
                if isinstance(event, Prompt):
                    prompt = event
        return None, prompt

    def _tell(self, top_mm: float | None) -> list[Event]:
        self._now_s += self._step_s
        noise = next(self._noise)
        if top_mm is None:
            return list(self._setting.reading(Reading(self._now_s, 0.0, "", "no_beam", None)))
        value = TARGET_MM - top_mm + noise  # a larger reading is lower
        return list(self._setting.reading(Reading(self._now_s, 0.0, "", "valid", value)))


def tally(kind: str, rounds: int, markers: int = 10, rate_hz: float = 10.0) -> Counts:
    """Play so many rounds over a kind of noise; in each the second marker is left out of height."""
    counts = Counts()
    for seed in range(rounds):
        one = Round(kind, seed, markers, rate_hz)
        for n in range(markers):
            one.play(counts, leave=n == 1)
    return counts


def main() -> None:
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    print("noise              Hz   set   wrong  95 % held   stated  seconds  left 1.2 out: set")
    for rate_hz in (10.0, 50.0):
        for kind in KINDS:
            got = tally(kind, max(1, round(rounds * 10.0 / rate_hz)), rate_hz=rate_hz)
            done = max(got.set, 1)
            print(
                f"{kind:17}{rate_hz:4.0f}{got.set / got.stood:6.0%}{got.wrong / done:8.1%}"
                f"{got.held / done:11.1%}{math.fsum(got.stated) / done:9.2f}"
                f"{got.seconds / done:9.1f}{got.left_set / max(got.left, 1):14.1%}",
                flush=True,
            )


if __name__ == "__main__":
    main()
