"""What three logged pours teach of a crew's pace, and whether its edges then die as often as told.

`python -m tests.pour.pace_trials 200` prints the table of that many crews a row (a minute for 50).
The crews are not drawn from what the tool believes of crews: each row has one pace of hands and of
mixing, and every pour a day of its own. They pour by the simulation that plans, so that what it
leaves out of a real crew shows in no row.
"""

import sys
from dataclasses import dataclass, replace

import numpy as np

from rig.pour.crew import Times
from rig.pour.forecast import Crew, Forecast, Ground, forecast
from rig.pour.order import floor_of
from rig.pour.pace import UNKNOWN, Past, at_pace, interval_s, learn
from rig.pour.simulation import draw, seam_ages, simulate
from rig.room import raster_of, room, with_door
from tests.kinds import Floats

DAY = 0.05
CREWS = {"by the book": (1.0, 1.0), "quick": (0.7, 1.0), "slow hands": (1.8, 1.0),
         "very slow hands": (2.5, 1.0), "mixes longer": (1.0, 1.15)}  # fmt: skip
GEAR = {"mixing rules": (4, 1, 240.0), "hands rule": (3, 2, 60.0)}


def ground(bags: int = 20) -> Ground:
    outline = with_door(room(3600.0, 4500.0), 1000.0, 0.0, 900.0)
    cells = raster_of(outline, 1000)
    floor = floor_of(outline, cells, 12.0 + 3.0 * np.sin(cells.x_mm / 900.0))
    return Ground(floor, outline.doors[0].middle, None, 12.0 * bags, bags)


@dataclass(frozen=True)
class Result:
    """Of a row: how far the interval was off before and is after, and edges told 5 % that died."""

    before: float
    off: float
    died: float


def pours(
    made: Forecast, hands: float, mixing: float, count: int, seed: int
) -> tuple[Floats, Floats]:
    """Pour by a plan; intervals and oldest edges of so many pours, a day each."""
    rng, times = np.random.default_rng(seed), made.crew.times
    drawn = draw(made.work, count, rng, times.spread_by_hand, times.spread_by_clock)
    day = np.exp(DAY * rng.standard_normal(count))
    run = simulate(at_pace(drawn, hands * day, mixing), made.roles, made.buckets)
    return interval_s(run.poured_s), seam_ages(run, made.order.seams).max(axis=0)


def trial(gear: str, crew: str, crews: int, seed: int) -> Result:
    """Let each of so many crews of a kind pour three times, plan anew, and pour by that plan."""
    people, mixers, mix_s = GEAR[gear]
    hands, mixing = CREWS[crew]
    on = ground()
    who = Crew(people, mixers, Times(mix_s), 1200.0, buckets=mixers + 1, strip_mm=450.0,
               pace=UNKNOWN)  # fmt: skip
    first = forecast(on, who, 100, seed)
    luck = np.random.default_rng(9)
    figures = draw(first.work, 100, luck, who.times.spread_by_hand, who.times.spread_by_clock)
    logged, _ = pours(first, hands, mixing, 3 * crews, seed)
    rows = []
    for n in range(crews):
        seen = [
            Past(figures, first.roles, first.buckets, float(one))
            for one in logged[3 * n : 3 * n + 3]
        ]
        then = forecast(on, replace(who, pace=learn(seen)), 400, seed + n)
        intervals, oldest = pours(then, hands, mixing, 200, seed + 1000 + n)
        before, planned = (float(np.median(interval_s(one.run.poured_s))) for one in (first, then))
        true = float(np.median(intervals))
        # A product that keeps just as long as the plan says that 95 of 100 pours need.
        died = float(np.mean(oldest > then.age_p95_s))
        rows.append((before / true - 1.0, abs(planned / true - 1.0), died))
    before_off, off, died_of = np.array(rows).T
    return Result(float(np.mean(before_off)), float(np.mean(off)), float(np.mean(died_of)))


def main() -> None:
    crews = int(sys.argv[1]) if len(sys.argv) > 1 else 50
    print("gear          crew             before  after 3 pours  edges told 5 % dead")
    for gear in GEAR:
        for crew in CREWS:
            got = trial(gear, crew, crews, 1)
            print(f"{gear:13} {crew:16} {got.before:6.0%} {got.off:14.1%} {got.died:20.1%}")


if __name__ == "__main__":
    main()
