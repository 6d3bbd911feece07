"""The simulator's laser and rod, read as the checks read them; truth known, data invented."""

import math

from rig.survey.laser.cross import HEADINGS, Turn
from rig.survey.laser.two_peg import PegSight
from simulated_devices.laser import Laser, Wave
from simulated_devices.rod import Pose, Rod
from tests.kinds import there

NOISE_MM = 0.15
READINGS = 20


def sampled_mm(rod: Rod, laser: Laser, time_s: float, pose: Pose) -> float:
    """One reading at a place and a time."""
    return there(rod.sample(time_s, pose, laser.line_mm(pose.x_mm, pose.y_mm, time_s)).value_mm)


def rod(seed: int) -> Rod:
    return Rod(resolution_mm=0.01, noise_mm=NOISE_MM, seed=seed)


def read(
    laser: Laser,
    rod: Rod,
    x_mm: float,
    y_mm: float,
    foot_mm: float,
    at_s: float = 0.0,
    n: int = READINGS,
) -> float:
    """Mean of n readings half a second apart: their noise hardly correlates."""
    return math.fsum(
        sampled_mm(rod, laser, at_s + 0.5 * k, Pose(x_mm, y_mm, foot_mm))
        for k in range(n)
    ) / n  # fmt: skip


STDERR_MM = NOISE_MM / math.sqrt(READINGS) * 1.01  # their memory of 0.08 s adds a hair


def two_peg_sights(
    seed: int, cone: float, slope: tuple[float, float] = (0.0, 0.0), pegs_m: float = 10.0
) -> list[PegSight]:
    """Pegs on the x axis; the laser in the middle, then 1 m beyond B."""
    one, sights = rod(seed), []
    for x in (pegs_m * 500.0, pegs_m * 1000.0 + 1000.0):
        laser = Laser(x, 0.0, 1500.0, *slope, cone_mm_per_m=cone)
        a, b = read(laser, one, 0.0, 0.0, 0.0), read(laser, one, pegs_m * 1000.0, 0.0, 37.0)
        sights.append(PegSight(a, b, abs(x), abs(pegs_m * 1000.0 - x), STDERR_MM))
    return sights


def cross_turns(
    seed: int,
    slope: tuple[float, float],
    cone: float = 0.0,
    dist_m: float = 10.0,
    jolt_mm: float = 0.0,
) -> list[Turn]:
    """One target; turning the laser turns its slope with it."""
    one, turns = rod(seed), []
    for n, heading in enumerate(HEADINGS):
        turned = math.radians(heading)
        towards = slope[0] * math.cos(turned) + slope[1] * math.sin(turned)
        laser = Laser(0.0, 0.0, 1500.0, towards, 0.0, cone_mm_per_m=cone)
        if jolt_mm:
            laser.jolt(300.0, jolt_mm)
        reading = read(laser, one, dist_m * 1000.0, 0.0, 12.0, at_s=200.0 * n)
        turns.append(Turn(heading, reading, dist_m * 1000.0, STDERR_MM))
    return turns


def watch(
    seed: int,
    mm_per_h: float = 0.0,
    jolt_mm: float = 0.0,
    seconds: float = 600.0,
    rate_hz: float = 5.0,
) -> tuple[list[float], list[float]]:
    """A rod that stands 5 m off while the line climbs steadily."""
    # A wave so long that its start is a straight line.
    period = 3.6e7
    wave = Wave(mm_per_h / 3600.0 * period / (2 * math.pi), period, 0.0)
    laser = Laser(0.0, 0.0, 1500.0, drift=(wave,))
    if jolt_mm:
        laser.jolt(seconds / 2, jolt_mm)
    one = rod(seed)
    times = [k / rate_hz for k in range(int(seconds * rate_hz))]
    pose = Pose(5000.0, 0.0, 0.0)
    return times, [sampled_mm(one, laser, t, pose) for t in times]
