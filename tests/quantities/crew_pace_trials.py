"""How well a crew's next pour is foretold by a company's pours: by the crew's few, and by all.

Crews have paces of their own and days of their own; every pour is simulated and tells its interval
alone, as a log does. What 95 % must hold is the interval of the next pour, by the pace of its day.

`python -m tests.quantities.crew_pace_trials 20` makes so many companies a row (a minute).
"""

import math
import sys
from dataclasses import dataclass, replace

import numpy as np

from rig.pour.crew import Roles, Times, work_of
from rig.pour.pace import HANDS_DOUBT, MIXING_DOUBT, UNKNOWN, Past, at_pace, hands_seen, interval_s
from rig.pour.simulation import draw, simulate
from rig.quantities.crew_pace import PaceHistory, Seen
from rig.quantities.expected import PaceExpected
from tests.kinds import Floats

DAY = 0.06
MEAN = 0.15  # crews of this company are slower than the figures, on the whole
MIX_S = {"hands rule": 60.0, "both rule": 110.0}
ROLES, BUCKETS = Roles(1, 1, 1), 3


@dataclass(frozen=True)
class Told:
    """Shares of next pours within the 95 %: their pace, their interval; errors of the log."""

    held: float
    interval_held: float
    error: float
    alone: float
    as_none: float


def _work(mix_s: float, bags: int) -> Past:
    work = work_of(Times(mix_s), [1.0] * bags, [6000.0] * bags, [1.2] * bags)
    return Past(draw(work, 30, np.random.default_rng(5), 0.3, 0.1), ROLES, BUCKETS, 1.0)


def _poured(
    mix_s: float, bags: int, paces: Floats, mixing: Floats, rng: np.random.Generator
) -> Floats:
    """Return the interval of a pour at each pace of hands and of mixing."""
    work = work_of(Times(mix_s), [1.0] * bags, [6000.0] * bags, [1.2] * bags)
    drawn = draw(work, len(paces), rng, 0.3, 0.1)
    return interval_s(simulate(at_pace(drawn, paces, mixing), ROLES, BUCKETS).poured_s)


def trial(crews: int, pours: int, crew_sd: float, mix_s: float, companies: int, seed: int) -> Told:
    rng = np.random.default_rng(seed)
    figures = _work(mix_s, 20)
    rows: list[tuple[float, ...]] = []
    for _ in range(companies):
        level = MEAN + rng.normal(0.0, crew_sd, crews)
        days = level[:, None] + rng.normal(0.0, DAY, (crews, pours + 1))
        mixing = np.repeat(np.exp(MIXING_DOUBT * rng.standard_normal(crews)), pours + 1)
        logged = _poured(mix_s, 20, np.exp(days.ravel()), mixing, rng).reshape(days.shape)
        seen = []
        for n in range(crews):
            for interval in logged[n, :pours]:
                told = hands_seen(replace(figures, interval_s=float(interval)))
                if told is not None:
                    seen.append(Seen(f"{n}", told.log_hands, told.sd, told.mixing_sd))
        history = PaceHistory(seen, HANDS_DOUBT)
        for n in range(crews):
            pace, true = history.expect(f"{n}"), float(days[n, -1])
            own = [one.log_hands for one in seen if one.crew == f"{n}"]
            alone = float(np.mean(own)) if own else 0.0
            within = _foretold(pace, mix_s, rng, float(logged[n, -1]))
            held = math.log(pace.low) <= true <= math.log(pace.high)
            error = math.log(pace.p50) - level[n]
            rows.append((held, within, error**2, (alone - level[n]) ** 2, level[n] ** 2))
    held, within, *errors = np.mean(np.array(rows, dtype=float), axis=0)
    return Told(float(held), float(within), *(math.sqrt(one) for one in errors))


def _foretold(pace: PaceExpected, mix_s: float, rng: np.random.Generator, true_s: float) -> bool:
    """Tell whether the interval lies in the central 95 % of what a plan simulates."""
    known = replace(UNKNOWN, hands=pace.p50, hands_sd=pace.doubt)
    hands, mixing = known.drawn(400, int(rng.integers(1 << 30)))
    low, high = np.quantile(_poured(mix_s, 20, hands, mixing, rng), (0.025, 0.975))
    return bool(low <= true_s <= high)


def main() -> None:
    companies = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    for what, mix_s in MIX_S.items():
        for crews, pours, crew_sd in ((30, 3, 0.2), (12, 2, 0.2), (12, 2, 0.05), (4, 2, 0.3)):
            told = trial(crews, pours, crew_sd, mix_s, companies, 3)
            print(
                f"{what:10} {crews:2} crews of {pours}, apart by {crew_sd:.2f}: pace held "
                f"{told.held:.1%}, interval {told.interval_held:.1%}; error {told.error:.3f}, "
                f"{told.error / told.alone:.2f} of each crew alone, "
                f"{told.error / told.as_none:.2f} of the plan's figures"
            )


if __name__ == "__main__":
    main()
