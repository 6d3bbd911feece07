"""Simulated stands of a rod in quick hands, judged by the setting and by the rule before.

`python -m tests.guidance.quick_hands 2000` plays that many stands twice: as the setting judges
them now, and as it did when only a rod at rest for a whole dwell counted as out of height. M1 is
set; then the rod goes to M2 and its screw is turned as soon as the first prompt is heard, or it
comes to M2 which is at height already, or it never leaves M1, M2's twin, for good.
"""

import math
import random
import sys
from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

from rig.devices.reading import Reading, Status
from rig.events import AskMarker, Event, MarkerSet, Prompt
from rig.guidance.setting import Setting
from simulated_devices.motion import Carried, Motion, Spot, Standing, Turning
from simulated_devices.rod import Pose, Rod
from tests.guidance.rods import machine

LINE_MM = 1000.0
RATES_HZ = (50.0, 50.0, 25.0, 10.0)


@dataclass
class Lowered:
    """The rod is let down on a spot slowly, as onto a small screw head, in a hand that trembles."""

    spot: Spot
    from_s: float
    from_mm: float
    speed_mm_s: float
    tremble_mm: float

    def pose(self, time_s: float) -> Pose:
        t = time_s - self.from_s
        above = max(0.0, self.from_mm - self.speed_mm_s * t)
        tremble = self.tremble_mm * math.sin(19.0 * t) * (above > 0.0)
        return Pose(self.spot.x_mm, self.spot.y_mm, self.spot.foot_mm + above + tremble)


@dataclass
class Hop:
    """The rod is lifted over from one place to another beside it."""

    start: Spot
    end: Spot
    from_s: float
    seconds: float
    clear_mm: float

    def pose(self, time_s: float) -> Pose:
        share = min(1.0, (time_s - self.from_s) / self.seconds)
        top = max(self.start.foot_mm, self.end.foot_mm) + self.clear_mm
        begin, goal = (self.start.foot_mm, top) if share < 0.5 else (top, self.end.foot_mm)
        eased = (1.0 - math.cos(math.pi * ((share * 2.0) % 1.0 if share < 1.0 else 1.0))) / 2.0
        return Pose(0.0, 0.0, begin + (goal - begin) * eased)


@dataclass
class Hands:
    """Feeds a setting with what a rod does, and notes what it says."""

    setting: Setting
    rng: random.Random
    rate_hz: float
    rod: Rod
    before: bool
    time_s: float = 0.0
    events: list[Event] = field(default_factory=list)

    def play(self, motion: Motion | Lowered | Hop, seconds: float) -> None:
        """Let a motion go on for so long."""
        for _ in range(max(1, round(seconds * self.rate_hz))):
            self._read(motion.pose(self.time_s))

    def play_until(self, motion: Motion, told: type, seconds: float) -> bool:
        """Let a motion go on until something is told; return whether it was in time."""
        end_s = self.time_s + seconds
        while self.time_s < end_s:
            if any(isinstance(event, told) for event in self._read(motion.pose(self.time_s))):
                return True
        return False

    def _read(self, pose: Pose) -> list[Event]:
        sample = self.rod.sample(self.time_s, pose, LINE_MM)
        status: Status = "no_beam" if sample.value_mm is None else "valid"
        reading = Reading(self.time_s, self.time_s, "", status, sample.value_mm)
        told = self.setting.reading(reading)
        self.events += told
        self.time_s += 1.0 / self.rate_hz
        return told

    def told(self, label: str, kind: type[MarkerSet] | type[AskMarker]) -> bool:
        """Whether something of a kind was told of a marker."""
        return any(isinstance(event, kind) and event.marker == label for event in self.events)


def _spot(top_mm: float) -> Spot:
    return Spot(None, 0.0, 0.0, top_mm)


def _landed(hands: Hands, spot: Spot) -> Standing:
    rng = hands.rng
    return Standing(spot, hands.time_s, rng.uniform(0.0, 8.0), rng.uniform(-4.0, 4.0), 0.2)


def _walk(hands: Hands, start: Spot, end: Spot, shortest_s: float = 1.1) -> None:
    seconds, swings = hands.rng.uniform(shortest_s, 3.0), hands.rng.random() < 0.5
    phase = hands.rng.uniform(0.0, 6.0)
    hands.play(Carried(start, end, hands.time_s, hands.time_s + seconds, swings, phase), seconds)


def _set_first(hands: Hands) -> Spot:
    """Set M1; return it."""
    low = _spot(-hands.rng.uniform(4.0, 12.0))
    hands.play(_landed(hands, low), 2.0)
    at = _spot(hands.rng.uniform(-0.3, 0.3))
    hands.play(Turning(low, hands.time_s, hands.time_s + 1.5, at.foot_mm), 1.5)
    hands.play_until(Standing(at, hands.time_s, 0.3, 0.5), MarkerSet, 6.0)
    hands.play(Standing(at, hands.time_s), hands.rng.uniform(0.3, 1.5))
    if hands.before:
        looks = hands.setting._looks
        looks.see = looks.lift = lambda *_: None  # type: ignore[method-assign, assignment]
    return at


def quick(hands: Hands) -> None:
    """M2 is out of height; the hand turns 0.35 s after the first prompt with the rod at rest."""
    first = _set_first(hands)
    off = hands.rng.uniform(3.0, 12.0) * hands.rng.choice([-1.0, 1.0])
    second = _spot(off)
    _walk(hands, first, second)
    standing = Standing(second, hands.time_s, 0.0, 0.0)
    hands.play_until(standing, Prompt, 3.0)
    hands.play(standing, 0.35)
    seconds = hands.rng.uniform(0.6, 1.5)
    end = hands.rng.uniform(-0.4, 0.4)
    hands.play(Turning(second, hands.time_s, hands.time_s + seconds, end), seconds)
    hands.play(Standing(_spot(end), hands.time_s, 0.3, 0.5), 4.0)


def landing(hands: Hands) -> None:
    """As `quick`, with a rod that bounces as it is put down, and a hand a little slower."""
    first = _set_first(hands)
    second = _spot(hands.rng.uniform(3.0, 12.0) * hands.rng.choice([-1.0, 1.0]))
    _walk(hands, first, second)
    hands.play(_landed(hands, second), hands.rng.uniform(0.5, 0.9))
    end = hands.rng.uniform(-0.4, 0.4)
    seconds = hands.rng.uniform(0.6, 1.5)
    hands.play(Turning(second, hands.time_s, hands.time_s + seconds, end), seconds)
    hands.play(Standing(_spot(end), hands.time_s, 0.3, 0.5), 4.0)


def at_height(hands: Hands) -> None:
    """M2 is at height already."""
    first = _set_first(hands)
    second = _spot(hands.rng.uniform(-0.5, 0.5))
    _walk(hands, first, second)
    _come(hands, second)


def twin(hands: Hands) -> None:
    """The rod comes back to M1, which reads as M2 at height would."""
    first = _set_first(hands)
    _walk(hands, first, first, hands.rng.uniform(0.5, 1.5))
    _come(hands, first)


def twin_by_floor(hands: Hands) -> None:
    """The rod rests for a moment on the floor beside M1, and comes back."""
    first = _set_first(hands)
    floor = _spot(-hands.rng.uniform(4.0, 40.0))
    seconds = hands.rng.uniform(0.4, 1.2)
    hands.play(Hop(first, floor, hands.time_s, seconds, hands.rng.uniform(3.0, 15.0)), seconds)
    hands.play(_landed(hands, floor), hands.rng.uniform(0.3, 1.8))
    seconds = hands.rng.uniform(0.4, 1.2)
    hands.play(Hop(floor, first, hands.time_s, seconds, hands.rng.uniform(3.0, 15.0)), seconds)
    hands.play(_landed(hands, first), 4.0)


def twin_turned(hands: Hands) -> None:
    """The hand goes on at M1's screw after it was set, out of height and back."""
    first = _set_first(hands)
    if hands.rng.random() < 0.5:
        hands.play(Carried(first, first, hands.time_s, hands.time_s + 0.5, False), 0.5)
        hands.play(_landed(hands, first), hands.rng.uniform(0.3, 1.5))
    out = _spot(hands.rng.uniform(2.0, 6.0) * hands.rng.choice([-1.0, 1.0]))
    seconds = hands.rng.uniform(0.4, 1.5)
    hands.play(Turning(first, hands.time_s, hands.time_s + seconds, out.foot_mm), seconds)
    hands.play(Standing(out, hands.time_s, 0.3, 0.5), hands.rng.uniform(0.1, 1.2))
    seconds = hands.rng.uniform(0.4, 1.5)
    hands.play(Turning(out, hands.time_s, hands.time_s + seconds, first.foot_mm), seconds)
    hands.play(Standing(first, hands.time_s, 0.3, 0.5), 4.0)


def _come(hands: Hands, spot: Spot) -> None:
    """Put the rod down, as it comes or slowly."""
    rng = hands.rng
    if rng.random() < 0.5:
        from_mm, speed = rng.uniform(5.0, 40.0), rng.uniform(8.0, 80.0)
        tremble = rng.uniform(0.0, 1.5)
        hands.play(Lowered(spot, hands.time_s, from_mm, speed, tremble), from_mm / speed)
    hands.play(_landed(hands, spot), 4.0)


HANDS = (quick, landing)
TWINS = (at_height, twin, twin_by_floor, twin_turned)


def tally(stands: int, scenes: Iterable[Callable[[Hands], None]], *, before: bool) -> Counter[str]:
    """Play so many stands of each scene and count what M2 got.

    Parameters
    ----------
    stands : int
    scenes : iterable of callable
    before : bool
        By the rule before: a moment's rest out of height shows nothing.

    Returns
    -------
    Counter
        `NAME taken`: M2 was taken unasked; `NAME asked`: it was asked about.
    """
    counts: Counter[str] = Counter()
    for scene in scenes:
        for seed in range(stands):
            rng = random.Random(f"{scene.__name__} {seed}")
            setting = machine(2)
            rod = Rod(noise_mm=rng.uniform(0.05, 0.3), seed=seed)
            hands = Hands(setting, rng, rng.choice(RATES_HZ), rod, before)
            setting.start(0.0)
            scene(hands)
            name = scene.__name__
            counts[f"{name} taken"] += hands.told("M2", MarkerSet)
            counts[f"{name} asked"] += hands.told("M2", AskMarker)
            counts[f"{name} first"] += hands.told("M1", MarkerSet)
    return counts


def main() -> None:
    stands = int(sys.argv[1]) if len(sys.argv) > 1 else 2000
    print(f"{stands} stands of each    taken before, now    asked before, now")
    for scene in (*HANDS, *TWINS):
        then = tally(stands, [scene], before=True)
        now = tally(stands, [scene], before=False)
        name = scene.__name__
        print(
            f"{name:20} {then[name + ' taken']:10} {now[name + ' taken']:10}"
            f"{then[name + ' asked']:13} {now[name + ' asked']:8}   (M1 set {now[name + ' first']})"
        )


if __name__ == "__main__":
    main()
