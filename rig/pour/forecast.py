"""Forecasts a pour: order, roles and clock for a crew, and how old the wet edge gets.

The edge is judged by its worst place: in each simulated pour the oldest seam counts, and the pour
is feasible where 95 in 100 pours close even that one within the working time.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from rig.errors import BadInput
from rig.language import say
from rig.pour.crew import Roles, Times, Work, assign, loads, work_of
from rig.pour.order import Floor, Order, order_of_pour
from rig.pour.pace import AS_PLANNED, Pace, at_pace
from rig.pour.simulation import Drawn, Run, draw, makespan, seam_ages, simulate

Floats = NDArray[np.float64]

RUNS = 2_000
SEED = 35
STRIPS_MM = (600.0, 450.0, 300.0)
"""Depths of a strip that are tried (common practice, no source): as far as a rake reaches, down to
the ribbon that a bucket is poured out in."""
RUNS_TO_CHOOSE = 400
NEARLY = 0.9
_NUMBER = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
MOST_BAYS = 8
MOST_BATCHES = 1_000


@dataclass(frozen=True)
class Ground:
    """What a pour stands on, whoever pours it.

    Attributes
    ----------
    floor : Floor
    exit_mm : (x, y)
    start_mm : (x, y) or None
    volume_l : float
        The plan's mean volume.
    bags : int
        The plan's bags at even odds, waste included.
    mix_way_mm : float
        From the mixers to the exit.
    """

    floor: Floor
    exit_mm: tuple[float, float]
    start_mm: tuple[float, float] | None
    volume_l: float
    bags: int
    mix_way_mm: float = 3000.0


@dataclass(frozen=True)
class Crew:
    """Who pours and with what.

    `strip_mm` None means that of `STRIPS_MM` which keeps the edge youngest; `buckets` None as many
    as do. `pace` is how the crew stands to `times`, and how well that is known.
    """

    people: int
    mixers: int
    times: Times
    working_s: float
    buckets: int | None = None
    bags_per_batch: int = 1
    strip_mm: float | None = None
    bays: int = 1
    pace: Pace = AS_PLANNED


@dataclass(frozen=True, eq=False)
class Forecast:
    """A pour as it will go, by its simulated runs."""

    crew: Crew
    order: Order
    strip_mm: float
    work: Work
    roles: Roles
    buckets: int
    run: Run

    @cached_property
    def seam_ages_s(self) -> Floats:
        """Age of each seam when it is closed, (seams, runs)."""
        return seam_ages(self.run, self.order.seams)

    @cached_property
    def oldest_s(self) -> Floats:
        """Age of the oldest seam of each run."""
        oldest: Floats = self.seam_ages_s.max(axis=0, initial=0.0)
        return oldest

    @property
    def age_p95_s(self) -> float:
        """What the oldest seam stays under in 95 of 100 pours."""
        return float(np.quantile(self.oldest_s, 0.95))

    @property
    def margin_s(self) -> float:
        """Working time less the 95th percentile of the edge's age."""
        return self.crew.working_s - self.age_p95_s

    @property
    def feasible(self) -> bool:
        """Whether the margin is not negative."""
        return self.margin_s >= 0.0

    @property
    def chance_edge_dies(self) -> float:
        """Share of pours in which some seam is older than the working time."""
        return float(np.mean(self.oldest_s > self.crew.working_s))

    @property
    def duration_s(self) -> Floats:
        """Length of each run."""
        return makespan(self.run)

    @property
    def bags_per_h(self) -> float:
        """Rate of a middling pour."""
        bags = sum(batch.bags for batch in self.order.batches)
        return 3600.0 * bags / max(float(np.median(self.duration_s)), 1e-9)

    @property
    def bucket_age_p95_s(self) -> float:
        """What the oldest bucket is when it is poured, in 95 of 100 pours."""
        return float(np.quantile((self.run.poured_s - self.run.wet_s).max(axis=0), 0.95))

    def edge_age_p95_s(self) -> list[float]:
        """Age that each batch's own edge stays under in 95 of 100 pours; 0 where none meets it."""
        ages = np.zeros((len(self.order.batches), self.oldest_s.size))
        for (earlier, _), age in zip(self.order.seams, self.seam_ages_s, strict=True):
            np.maximum(ages[earlier], age, out=ages[earlier])
        return [float(age) for age in np.quantile(ages, 0.95, axis=1)]

    def idle(self) -> dict[str, float]:
        """Share of the pour in which each role waits."""
        return {role: max(0.0, 1.0 - float(np.mean(b))) for role, b in self.run.busy.items()}


def batch_bags(bags: int, bags_per_batch: int) -> list[float]:
    """Split the bags into batches, the last with what is left."""
    if bags < 1:
        raise BadInput(say("There is nothing to pour: the plan takes no bag."))
    if bags_per_batch < 1:
        raise BadInput(say("A batch holds at least one bag."))
    whole, rest = divmod(bags, bags_per_batch)
    sizes = [float(bags_per_batch)] * whole + ([float(rest)] if rest else [])
    if len(sizes) > MOST_BATCHES:
        raise BadInput(
            say(
                "{sizes} batches are more than one pour can be ({most_batches}): split the "
                "floor into jobs, or mix more bags at once (--bags-per-batch).",
                sizes=len(sizes),
                most_batches=MOST_BATCHES,
            )
        )
    return sizes


def forecast(ground: Ground, crew: Crew, runs: int = RUNS, seed: int = SEED) -> Forecast:
    """Forecast a pour with what was left open chosen: depth of strips, buckets, roles.

    Of the choices that are nearly as fast as the fastest, the one whose edge stays youngest; where
    that is not feasible, the youngest of all. More buckets are not always better: a batch that
    waits in a bucket grows old there.
    """
    tried = [
        one
        for depth in (STRIPS_MM if crew.strip_mm is None else (crew.strip_mm,))
        for one in _choices(ground, crew, depth, min(runs, RUNS_TO_CHOOSE), seed)
    ]
    fast = NEARLY * max(one.bags_per_h for one in tried)
    best = max((one for one in tried if one.bags_per_h >= fast), key=lambda one: one.margin_s)
    if not best.feasible:
        best = max(tried, key=lambda one: one.margin_s)
    drawn = _drawn(best.work, crew, runs, seed)
    return replace(best, run=simulate(drawn, best.roles, best.buckets))


def _choices(
    ground: Ground, crew: Crew, strip_mm: float, runs: int, seed: int
) -> Iterator[Forecast]:
    order = order_of_pour(
        ground.floor,
        ground.exit_mm,
        ground.start_mm,
        batch_bags(ground.bags, crew.bags_per_batch),
        ground.volume_l,
        strip_mm,
        crew.bays,
    )
    batches = order.batches
    work = work_of(
        crew.times,
        [batch.bags for batch in batches],
        [batch.way_mm + ground.mix_way_mm for batch in batches],
        [batch.area_m2 for batch in batches],
    )
    drawn = _drawn(work, crew, runs, seed)
    for running in sorted({crew.mixers, (crew.mixers + 1) // 2, 1}):
        roles = assign(crew.people, running, work)
        several = {running + 1, 2 * running, 3 * running}
        for buckets in sorted(several) if crew.buckets is None else (crew.buckets,):
            run = simulate(drawn, roles, buckets)
            yield Forecast(crew, order, strip_mm, work, roles, buckets, run)


def _drawn(work: Work, crew: Crew, runs: int, seed: int) -> Drawn:
    rng, times = np.random.default_rng(seed), crew.times
    drawn = draw(work, runs, rng, times.spread_by_hand, times.spread_by_clock)
    return at_pace(drawn, *crew.pace.drawn(runs, seed))


def binding(made: Forecast, ground: Ground, runs: int = RUNS, seed: int = SEED) -> str:
    """Name what holds the pour up: buckets, mixers, or the people of a role."""
    crew = made.crew
    if crew.buckets is not None:
        more = replace(crew, buckets=None, strip_mm=made.strip_mm)
        if forecast(ground, more, runs, seed).bags_per_h > 1.05 * made.bags_per_h:
            return "buckets"
    needed = loads(made.roles, made.work)
    slowest = max(needed, key=lambda role: needed[role])
    if slowest == "mixing" and made.roles.mixing == crew.mixers:
        return "mixers"
    return slowest


def changes(crew: Crew) -> Iterator[tuple[str, Crew]]:
    """Name the changes that may make a pour safe, the cheapest first (our own ranking)."""

    def more(mixers: int = 0, people: int = 0, bays: int = 0) -> Crew:
        buckets = None if crew.buckets is None else crew.buckets + 2 * mixers
        return replace(
            crew,
            mixers=crew.mixers + mixers,
            people=crew.people + people,
            buckets=buckets,
            bays=crew.bays + bays,
        )

    if crew.buckets is not None:
        yield say("one more bucket"), replace(crew, buckets=crew.buckets + 1)
    yield say("one more mixer"), more(mixers=1)
    yield say("one more hand"), more(people=1)
    yield say("one more mixer and one more hand"), more(mixers=1, people=1)
    yield say("{number} bays with a stop between", number=_NUMBER[crew.bays + 1]), more(bays=1)
    yield say("two more mixers and two more hands"), more(mixers=2, people=2)
    yield say("{number} bays with stops between", number=_NUMBER[crew.bays + 2]), more(bays=2)
    yield (
        say("{number} bays, one more mixer and one more hand", number=_NUMBER[crew.bays + 1]),
        more(mixers=1, people=1, bays=1),
    )
