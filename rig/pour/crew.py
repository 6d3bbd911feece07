"""Who does what in a pour, and how long each step takes.

The steps of a batch: measure water, add the powder with the mixer running, mix, let it slake,
carry, pour, spread, take the air out, bring the bucket back and rinse it.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass, fields
from typing import Generic, NamedTuple, TypeVar

from rig.errors import BadInput
from rig.units import Units
from rig.words import join, numeral, say
from rig.words import pour as words

T = TypeVar("T")

MOST_PEOPLE = 50
MOST_MIXERS = 20
MOST_BUCKETS = 100
MOST_BAGS, MANY_BAGS = 20, 6
"""In a batch: more nobody mixes; more than the second is odd (common practice, no source)."""
LEAST_STRIP_MM, MOST_STRIP_MM = 100.0, 3000.0
NARROW_STRIP_MM, WIDE_STRIP_MM = 200.0, 1200.0
"""Outside of the first two nobody can pour a strip, outside of these it is odd (no source)."""
HELPER_WORTH = 0.85
"""Someone for the water alone must quicken the line to this part of its time, or more."""


@dataclass(frozen=True)
class Times:
    """Mean seconds of each step, and how they spread.

    The defaults are working figures of our own, no source: time your own crew. `mix_s` and
    `slake_s` come from the product's sheet.

    Attributes
    ----------
    mix_s, slake_s : float
        A batch.
    water_s, powder_s : float
        A bag.
    load_s, pour_s, rinse_s : float
        A batch.
    walk_mm_s : float
        Carrying a bucket, and back.
    spread_s_m2, deair_s_m2 : float
        A square metre.
    spread_by_hand, spread_by_clock : float
        Coefficient of variation of what hands do, and of the timed mixing.
    """

    mix_s: float
    slake_s: float = 0.0
    water_s: float = 15.0
    powder_s: float = 30.0
    load_s: float = 10.0
    walk_mm_s: float = 900.0
    pour_s: float = 20.0
    spread_s_m2: float = 25.0
    deair_s_m2: float = 15.0
    rinse_s: float = 10.0
    spread_by_hand: float = 0.3
    spread_by_clock: float = 0.1

    def __post_init__(self) -> None:
        for field in fields(self):
            value = getattr(self, field.name)
            zero_is_fine = field.name not in ("mix_s", "walk_mm_s")
            if not (math.isfinite(value) and (value > 0 or (zero_is_fine and value == 0))):
                raise BadInput(
                    say(
                        "The time {name} is {value}: it must be 0 or more."
                        if zero_is_fine
                        else "The time {name} is {value}: it must be more than 0.",
                        name=field.name,
                        value=numeral(value, "g"),
                    )
                )

    def assumption(self, units: Units) -> str:
        """Say what is assumed and may be timed instead."""
        return words.times(
            units,
            water_s=self.water_s,
            powder_s=self.powder_s,
            load_s=self.load_s,
            pour_s=self.pour_s,
            rinse_s=self.rinse_s,
            walk_mm_s=self.walk_mm_s,
            spread_s_m2=self.spread_s_m2,
            deair_s_m2=self.deair_s_m2,
            by_hand=self.spread_by_hand,
            by_clock=self.spread_by_clock,
        )


@dataclass(frozen=True)
class Roles:
    """How many people do what.

    `helpers` measure water (else those at the mixers do); `mixing` stand at a mixer each;
    `carrying` carry and pour; `spreading` spread and take out air (else those who carry do).
    Where `alone`, one person does everything.
    """

    mixing: int
    carrying: int
    spreading: int = 0
    helpers: int = 0
    alone: bool = False

    @property
    def people(self) -> int:
        """How many there are."""
        return 1 if self.alone else self.mixing + self.carrying + self.spreading + self.helpers

    def text(self) -> str:
        """Say who does what."""
        if self.alone:
            return say("one person does everything")
        said = [say("{helpers} measuring water", helpers=self.helpers)] if self.helpers else []
        said.append(say("{mixing} mixing", mixing=self.mixing))
        if self.spreading:
            said += [
                say("{carrying} carrying and pouring", carrying=self.carrying),
                say("{spreading} spreading", spreading=self.spreading),
            ]
        else:
            said.append(say("{carrying} carrying, pouring and spreading", carrying=self.carrying))
        return join(", ", said)


class Steps(NamedTuple, Generic[T]):
    """Something of each step of a batch, in the order in which they follow each other."""

    water: T
    powder: T
    mix: T
    slake: T
    carry: T
    pour: T
    spread: T
    deair: T
    back: T


Work = Steps[list[float]]
"""Mean seconds of each step of every batch; lists of the same length."""


def work_of(times: Times, bags: list[float], ways_mm: list[float], areas_m2: list[float]) -> Work:
    """Turn times into seconds of each step of every batch.

    Parameters
    ----------
    times : Times
    bags : list of float
    ways_mm : list of float
        From the mixers to each place.
    areas_m2 : list of float
    """
    walks = [way / times.walk_mm_s for way in ways_mm]
    return Steps(
        water=[times.water_s * n for n in bags],
        powder=[times.powder_s * n for n in bags],
        mix=[times.mix_s] * len(bags),
        slake=[times.slake_s] * len(bags),
        carry=[times.load_s + walk for walk in walks],
        pour=[times.pour_s] * len(bags),
        spread=[times.spread_s_m2 * area for area in areas_m2],
        deair=[times.deair_s_m2 * area for area in areas_m2],
        back=[times.rinse_s + walk for walk in walks],
    )


def assign(people: int, mixers: int, work: Work) -> Roles:
    """Share roles out so that the slowest step of the line is as quick as it can be.

    Of equally quick shares the one with the least waiting elsewhere is taken.

    Raises
    ------
    BadInput
        Where nobody is there, or no mixer, or more of either than a floor has room for.
    """
    check_crew(people, mixers)
    if people == 1:
        return Roles(1, 0, alone=True)

    def cycles(roles: Roles) -> tuple[float, ...]:
        needed = sorted(loads(roles, work).values(), reverse=True)
        worth = HELPER_WORTH if roles.helpers else 1.0
        return (needed[0] / worth, *needed[1:])

    return min(_shares(people, mixers), key=cycles)


def loads(roles: Roles, work: Work) -> dict[str, float]:
    """Mean seconds that each role needs a batch, shared by those who have it."""
    mean = Steps(*(math.fsum(seconds) / len(seconds) for seconds in work))
    if roles.alone:
        return {"crew": math.fsum(mean)}
    mixing = mean.powder + mean.mix
    carrying = mean.carry + mean.pour + mean.back
    spreading = mean.spread + mean.deair
    told: dict[str, float] = {}
    if roles.helpers:
        told["helpers"] = mean.water / roles.helpers
    else:
        mixing += mean.water
    told["mixing"] = mixing / roles.mixing
    if roles.spreading:
        told["spreading"] = spreading / roles.spreading
    else:
        carrying += spreading
    told["carrying"] = carrying / roles.carrying
    return told


def check_crew(people: int, mixers: int) -> None:
    """Refuse a crew that cannot be."""
    if not 1 <= people <= MOST_PEOPLE:
        raise BadInput(
            say(
                "A crew of {people} cannot pour: give 1 to {most_people} people.",
                people=people,
                most_people=MOST_PEOPLE,
            )
        )
    if not 1 <= mixers <= MOST_MIXERS:
        raise BadInput(
            say(
                "{mixers} mixers cannot be: give 1 to {most_mixers}.",
                mixers=mixers,
                most_mixers=MOST_MIXERS,
            )
        )


def check_gear(
    bags_per_batch: int, buckets: int | None, strip_mm: float | None, units: Units
) -> list[str]:
    """Refuse batches, buckets and strips that nobody pours with, and return what is odd of them.

    Parameters
    ----------
    bags_per_batch : int
    buckets : int or None
    strip_mm : float or None
        None where the best is chosen.
    units : Units
        Of the job, for what is said.
    """
    odd = []
    if not 1 <= bags_per_batch <= MOST_BAGS:
        raise BadInput(
            say(
                "--bags-per-batch {bags_per_batch}: nobody mixes that many bags at once. Give "
                "what one filling of your mixer takes, 1 to {most_bags}.",
                bags_per_batch=bags_per_batch,
                most_bags=MOST_BAGS,
            )
        )
    if bags_per_batch > MANY_BAGS:
        odd.append(words.many_bags(bags_per_batch))
    if buckets is not None and not 1 <= buckets <= MOST_BUCKETS:
        raise BadInput(
            say(
                "--buckets {buckets}: no crew has that many on the way at once. Give 1 to "
                "{most_buckets}, or leave it out for as many as keep the edge youngest.",
                buckets=buckets,
                most_buckets=MOST_BUCKETS,
            )
        )
    if strip_mm is None:
        return odd
    if not LEAST_STRIP_MM <= strip_mm <= MOST_STRIP_MM:
        how = say("narrow to pour") if strip_mm < LEAST_STRIP_MM else say("deep to spread")
        shown = units.place(strip_mm)
        if strip_mm < LEAST_STRIP_MM:
            shown = units.off(strip_mm)
        raise BadInput(
            say(
                "--strip: a strip of {shown} is too {how}. Give {least_strip_mm} to "
                "{most_strip_mm}, or leave it out for the depth that keeps the edge youngest.",
                shown=shown,
                how=how,
                least_strip_mm=units.place(LEAST_STRIP_MM),
                most_strip_mm=units.place(MOST_STRIP_MM),
            )
        )
    if not NARROW_STRIP_MM <= strip_mm <= WIDE_STRIP_MM:
        odd.append(words.odd_strip(strip_mm, NARROW_STRIP_MM, WIDE_STRIP_MM, units))
    return odd


def _shares(people: int, mixers: int) -> Iterator[Roles]:
    for mixing in range(1, min(mixers, people - 1) + 1):
        rest = people - mixing
        for helpers in range(rest):
            for spreading in range(rest - helpers):
                yield Roles(mixing, rest - helpers - spreading, spreading, helpers)
