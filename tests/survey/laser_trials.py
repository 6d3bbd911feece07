"""Does each check find the simulated error within its doubt, and cry wolf as seldom as said?

`run(n)` makes n invented lasers for each row; `python -m tests.survey.laser_trials 200` prints a
table. "inside" counts results within twice their stated error (95.4 % if the doubt is right, more
where it is on the safe side), "found" errors that were told by the right name, "false" sound lasers
that were called faulty. Beside each stands the stated rate, and `ok` says whether the count is one
that chance leaves open (0.1 % of the binomial). Truth is the simulator's; nothing of it reaches the
checks but the rod's readings.
"""

import math
import random
import sys
from dataclasses import dataclass
from typing import Any

from scipy.stats import binom

from rig.devices.reading import Reading, Status
from rig.survey.capture import Capture, Stand
from rig.survey.laser.cross import Turn, cross
from rig.survey.laser.drift import CLEAR, drift
from rig.survey.laser.line_watch import Known
from rig.survey.laser.two_peg import two_peg
from rig.survey.laser.verdict import SIGMAS
from simulated_devices.laser import Laser, Wave, random_drift
from simulated_devices.rod import Pose, Rod
from tests.survey.laser import field

TWO_SIGMA = 0.9545
THREE_SIGMA = 0.0027  # two-sided, normal law
CERTAIN = 0.001
MARK = (-2000.0, 500.0, 40.0)
PLACES = [(800.0 * (n % 3), 900.0 * (n // 3)) for n in range(6)]


@dataclass(frozen=True)
class Row:
    """How often it happened, of how many; `least` and `most` are shares that chance must allow."""

    what: str
    count: int
    of: int
    least: float
    most: float

    @property
    def ok(self) -> bool:
        low = binom.ppf(CERTAIN, self.of, self.least) if self.least > 0 else 0
        high = binom.isf(CERTAIN, self.of, self.most) if self.most < 1 else self.of
        return bool(low <= self.count <= high)


def slope(n: int) -> list[Row]:
    """A tilted line, by the cross."""
    inside = closes = knocked = 0
    for seed in range(n):
        rng = random.Random(f"slope {seed}")
        true = (rng.uniform(-0.2, 0.2), rng.uniform(-0.2, 0.2))
        found = cross(field.cross_turns(seed, true))
        allowed = 2.0 * found.stderr_mm_per_m
        inside += sum(abs(a - b) <= allowed for a, b in zip(found.tilt_mm_per_m, true, strict=True))
        closes += not found.closes
        # Knocked between the first and the second heading by more than the closure needs.
        jolted = field.cross_turns(seed, true)
        bad = [jolted[0], *(_shifted(turn, 1.5) for turn in jolted[1:])]
        knocked += not cross(bad).closes
    return [
        Row("slope by cross: inside", inside, 2 * n, TWO_SIGMA, TWO_SIGMA),
        Row("slope by cross: closure, false", closes, n, 0.0, THREE_SIGMA),
        Row("knock of 1.5 mm in the cross: found", knocked, n, 0.99, 1.0),
    ]


def _shifted(turn: Turn, mm: float) -> Turn:
    return type(turn)(turn.heading_deg, turn.reading_mm + mm, turn.dist_mm, turn.stderr_mm)


def cone(n: int) -> list[Row]:
    """A line that climbs with distance, by the two-peg test."""
    inside = false = found_steep = 0
    for seed in range(n):
        true = random.Random(f"cone {seed}").uniform(-0.2, 0.2)
        found = two_peg(field.two_peg_sights(seed, true))
        inside += abs(found.error_mm_per_m - true) <= 2.0 * found.stderr_mm_per_m
        still = two_peg(field.two_peg_sights(seed + n, 0.0))
        false += abs(still.error_mm_per_m) > SIGMAS * still.stderr_mm_per_m
        steep = two_peg(field.two_peg_sights(seed + 2 * n, 0.1))
        found_steep += steep.error_mm_per_m > SIGMAS * steep.stderr_mm_per_m
    return [
        Row("cone by two-peg: inside", inside, n, TWO_SIGMA, TWO_SIGMA),
        Row("no cone by two-peg: false", false, n, 0.0, THREE_SIGMA),
        Row("cone of 0.1 mm/m by two-peg: found", found_steep, n, 0.99, 1.0),
    ]


def watched(n: int) -> list[Row]:
    """A line that wanders or is knocked while a rod watches it for ten minutes."""
    inside = false = jolts = 0
    for seed in range(n):
        true = random.Random(f"watch {seed}").uniform(-3.0, 3.0)
        found = drift(*field.watch(seed, true))
        # Twice the error of so many degrees of freedom would be Student's t; 28 are near enough.
        inside += abs(found.rate_mm_per_h - true) <= 2.05 * found.rate_stderr_mm_per_h
        false += drift(*field.watch(seed + n)).change_mm != 0.0
        jolts += abs(drift(*field.watch(seed, jolt_mm=1.0)).change_mm) > 0.5
    return [
        Row("drift by watching: inside", inside, n, 0.93, 0.96),
        Row("rest by watching: false", false, n, 0.0, 4 * CLEAR),  # 1 % a test, curves are tried
        Row("jolt of 1 mm by watching: found", jolts, n, 0.99, 1.0),
    ]


class Walk:
    """A survey of six points and its benchmark on a simulated laser and rod."""

    def __init__(self, seed: int, laser: Laser, pause_s: float = 0.0) -> None:
        self.laser, self.pause_s = laser, pause_s
        self.rod = Rod(seed=seed, noise_mm=0.15)
        self.time_s = 0.0
        self.events: list[dict[str, Any]] = []
        before = Capture([Stand("BM1")], kind="benchmark", resolution_mm=0.1, foot_mm=0.05)
        shot = self._shoot(before, before.start(0.0), MARK)[-2].as_json()
        self.since_s = self.time_s
        known = Known("BM1", shot["reading_mm"], shot["stderr_mm"], checked_s=shot["time_s"])
        stands = [Stand(f"P{n}", *place) for n, place in enumerate(PLACES)]
        self.machine = Capture(stands, resolution_mm=0.1, foot_mm=0.05, line=known, checks=True)

    def go(self) -> "Walk":
        events = list(self.machine.start(self.time_s))
        self.events += [e.as_json() for e in events]
        while not self.machine.finished:
            asked = [e for e in self.events if e["event"] in ("next", "check")][-1]
            place = MARK
            if asked["event"] == "next":
                place = (*PLACES[int(asked["label"][1:])], 7.0)
            self._walk(3.0 + (self.pause_s if asked["event"] == "next" else 0.0))
            told = self._shoot(self.machine, [], place)
            self.events += [e.as_json() for e in told]
        return self

    def _read(
        self, machine: Capture, place: tuple[float, float, float], beam: bool = True
    ) -> list[Any]:
        self.time_s += 0.1
        x, y, foot = place
        line = float(self.laser.line_mm(x, y, self.time_s))
        value = self.rod.sample(self.time_s, Pose(x, y, foot), line).value_mm if beam else None
        status: Status = "valid" if beam else "no_beam"
        return list(machine.reading(Reading(self.time_s, self.time_s, "", status, value)))

    def _shoot(
        self, machine: Capture, events: list[Any], place: tuple[float, float, float]
    ) -> list[Any]:
        """Stand until a shot or a sight was taken, or asked about."""
        events = list(events)
        for _ in range(60):
            events += self._read(machine, place)
            if machine.finished or {"shot", "checked", "ask"} & {e.event for e in events}:
                break
        return events

    def _walk(self, seconds: float) -> None:
        for _ in range(20):
            self.events += [e.as_json() for e in self._read(self.machine, MARK, beam=False)]
        self.time_s += max(seconds - 2.0, 0.0)

    def named(self, name: str) -> list[dict[str, Any]]:
        return [e for e in self.events if e["event"] == name]

    def shots(self) -> dict[str, Any]:
        """Reading and error of each point as it stands at the end."""
        told = {}
        for event in self.events:
            if event["event"] == "shot":
                told[event["label"]] = event
            elif event["event"] == "drift":
                told |= {shot["label"]: shot for shot in event["shots"]}
        return told


def surveyed(n: int) -> list[Row]:
    """A survey that goes back to its benchmark: a quiet line, a kick, a wandering line."""
    looks = false = jolts = said = good = drifts = other = inside = points = 0
    for seed in range(n):
        quiet = Walk(seed, Laser(0.0, 0.0, 1500.0, drift=random_drift(seed))).go()
        first = next(e for e in quiet.events if e["event"] in ("ask", "checked"))
        looks += first["event"] == "ask"
        false += bool(quiet.named("jolt") or quiet.named("drift"))

        rng = random.Random(f"kick {seed}")
        by = rng.choice((-1, 1)) * rng.uniform(1.0, 6.0)
        laser = Laser(0.0, 0.0, 1500.0)
        laser.jolt(rng.uniform(3.0, 25.0), by)
        kicked = Walk(seed, laser).go()
        found = kicked.named("jolt")
        jolts += len(found) == 1
        if found:
            said += abs(found[0]["change_mm"] - by) <= 2.0 * found[0]["stderr_mm"]
            off = [
                (s["reading_mm"] - (1500.0 - 7.0)) / s["stderr_mm"] for s in kicked.shots().values()
            ]
            good += max(map(abs, off)) < 4.0

        rate = rng.choice((-1, 1)) * rng.uniform(1.5, 2.5)
        period = 3.6e7
        wave = Wave(rate / 3600.0 * period / (2.0 * math.pi), period, 0.0)
        slow = Walk(seed, Laser(0.0, 0.0, 1500.0, drift=(wave,)), pause_s=540.0).go()
        drifts += bool(slow.named("drift"))
        other += bool(slow.named("jolt"))
        start = 1500.0 + rate * slow.since_s / 3600.0
        for shot in slow.shots().values():
            inside += abs(shot["reading_mm"] - (start - 7.0)) <= 2.0 * shot["stderr_mm"]
            points += 1
    return [
        Row("quiet survey: looked at twice", looks, n, 0.0, THREE_SIGMA),
        Row("quiet survey: false", false, n, 0.0, THREE_SIGMA),
        Row("kick of 1 to 6 mm in a survey: found", jolts, n, 0.99, 1.0),
        Row("its size: inside", said, jolts, TWO_SIGMA, 1.0),
        Row("all shots sound after it", good, jolts, 0.99, 1.0),
        Row("drift of 1.5 to 2.5 mm/h in a survey: found", drifts, n, 0.97, 1.0),
        Row("... and called a jolt", other, n, 0.0, 0.01),
        Row("shots it was spread over: inside", inside, points, TWO_SIGMA, 1.0),
    ]


def run(n: int) -> list[Row]:
    """All rows for n seeds each."""
    return [*slope(n), *cone(n), *watched(n), *surveyed(n)]


if __name__ == "__main__":
    rows = run(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
    for row in rows:
        share = row.count / row.of if row.of else math.nan
        expected = f"{row.least:.2%} to {row.most:.2%}"
        flag = "" if row.ok else "  <-- not so"
        print(f"{row.what:<46} {row.count:>5} of {row.of:<5} {share:7.2%}  {expected}{flag}")
    sys.exit(not all(row.ok for row in rows))
