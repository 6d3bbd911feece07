"""What is remembered of each kind of thing, as records in mm, l, kg and s."""

import re
from dataclasses import dataclass, field
from decimal import Decimal
from functools import partial

from rig.errors import BadInput
from rig.language import numeral, say
from rig.record import OMITTED, Record

_SAID = partial(field, default=None, metadata=OMITTED)
# How far what a bag makes may lie from its mass over the use stated: sheets round both
# (our own figure, no source).
ROUNDED_SHARE = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class Product(Record):
    """A compound, by its data sheet; None is what was not said.

    Attributes
    ----------
    name : str
        The user's own.
    edition : str or None
        Which sheet it is from.
    use_kg_l : float or None
        Powder for a litre in place: a kg/m² at a mm is as much.
    bag_yield_l, bag_mass_kg, bag_water_l : float or None
    min_cover_mm, max_cover_mm : float or None
        In one lift.
    working_time_at : tuple of (celsius, seconds) or None
        Coldest first.
    walk_on_s, cover_after_s : float or None
    max_moisture_cm : float or None
        Of the screed by the carbide method, in %CM.
    max_slab_rh : float or None
        Relative humidity in the slab after ASTM F2170, in %.
    max_emission : float or None
        Moisture emission after ASTM F1869, in lb/1000 ft² in 24 h.
    primer, reinforcement : str or None
        Names of those that go with it.
    price : str or None
        Of a bag, as a decimal.
    """

    name: str
    edition: str | None = _SAID()
    use_kg_l: float | None = _SAID()
    bag_yield_l: float | None = _SAID()
    bag_mass_kg: float | None = _SAID()
    bag_water_l: float | None = _SAID()
    min_cover_mm: float | None = _SAID()
    max_cover_mm: float | None = _SAID()
    mix_time_s: float | None = _SAID()
    slake_time_s: float | None = _SAID()
    working_time_s: float | None = _SAID()
    working_time_at: tuple[tuple[float, float], ...] | None = _SAID()
    min_temperature_c: float | None = _SAID()
    max_temperature_c: float | None = _SAID()
    max_air_rh: float | None = _SAID()
    walk_on_s: float | None = _SAID()
    cover_after_s: float | None = _SAID()
    max_moisture_cm: float | None = _SAID()
    max_slab_rh: float | None = _SAID()
    max_emission: float | None = _SAID()
    primer: str | None = _SAID()
    reinforcement: str | None = _SAID()
    price: str | None = _SAID()

    @property
    def yield_l(self) -> float:
        """What a bag makes, from its mass where the sheet states the use."""
        if self.bag_yield_l is not None:
            return self.bag_yield_l
        assert self.bag_mass_kg is not None
        assert self.use_kg_l is not None
        return self.bag_mass_kg / self.use_kg_l

    def check(self) -> None:
        """Refuse a compound that nothing can be reckoned with, or that contradicts itself."""
        if self.bag_yield_l is None and self.use_kg_l is None:
            raise BadInput(
                say(
                    "{name} says neither what a bag makes nor what a floor takes: give "
                    "--bag-yield 0.45ft3, or --use 1.7kg/m2/mm with --bag-mass.",
                    name=self.name,
                )
            )
        if self.bag_yield_l is None and self.bag_mass_kg is None:
            raise BadInput(
                say(
                    "{name} has a use, and no mass of a bag to go with it: give --bag-mass 25kg.",
                    name=self.name,
                )
            )
        if self.bag_yield_l is not None and self.use_kg_l is not None and self.bag_mass_kg:
            by_use = self.bag_mass_kg / self.use_kg_l
            if abs(by_use / self.bag_yield_l - 1.0) > ROUNDED_SHARE:
                raise BadInput(
                    say(
                        "{name} contradicts itself: by its use a bag makes {by_use} l, by "
                        "--bag-yield {bag_yield} l. Look at the sheet again.",
                        name=self.name,
                        by_use=numeral(by_use, ".3g"),
                        bag_yield=numeral(self.bag_yield_l, ".3g"),
                    )
                )
        _in_order(self.name, "cover", self.min_cover_mm, self.max_cover_mm)
        _in_order(self.name, "temperature", self.min_temperature_c, self.max_temperature_c)


@dataclass(frozen=True, slots=True, kw_only=True)
class Primer(Record):
    """A primer: what a m² takes of it ready to use, how it is thinned, what it is sold in."""

    name: str
    edition: str | None = _SAID()
    rate_l_m2: float | None = _SAID()
    dilution: float | None = _SAID()
    coats: int | None = _SAID()
    dry_s: float | None = _SAID()
    pack_l: float | None = _SAID()
    price: str | None = _SAID()

    def check(self) -> None:
        """Refuse a primer of which nothing is known."""
        if self.rate_l_m2 is None:
            raise BadInput(
                say("{name} does not say what a floor takes: give --rate 0.15l/m2.", name=self.name)
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Reinforcement(Record):
    """Lath or mesh, by its sheets."""

    name: str
    edition: str | None = _SAID()
    sheet_mm: tuple[float, float] | None = _SAID()
    overlap_mm: float | None = _SAID()
    price: str | None = _SAID()

    def check(self) -> None:
        """Refuse sheets without a size, or that overlap by all of it."""
        if self.sheet_mm is None:
            raise BadInput(
                say("{name} has no size of a sheet: give --sheet 27in,96in.", name=self.name)
            )
        if self.overlap_mm is not None and self.overlap_mm >= min(self.sheet_mm):
            raise BadInput(say("{name}: the overlap is as wide as a sheet.", name=self.name))


@dataclass(frozen=True, slots=True, kw_only=True)
class Took(Record):
    """A floor that a crew has done: its area, and the time on site."""

    area_m2: float
    time_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Crew(Record):
    """People that pour together, their mixers, and what they took before."""

    name: str
    people: int | None = _SAID()
    mixers: int | None = _SAID()
    took: tuple[Took, ...] = ()

    def check(self) -> None:
        """Refuse a crew of nobody."""
        if self.people is None:
            raise BadInput(
                say("{name} does not say how many they are: give --people 2.", name=self.name)
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Mixer(Record):
    """A mixer: how many bags it takes at once, and how long a batch is mixed in it."""

    name: str
    bags_per_batch: int | None = _SAID()
    mix_time_s: float | None = _SAID()

    def check(self) -> None:
        """Refuse a mixer that says nothing."""
        if self.bags_per_batch is None and self.mix_time_s is None:
            raise BadInput(
                say(
                    "{name} says nothing: give --bags-per-batch 2 or --mix-time 2min.",
                    name=self.name,
                )
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Used(Record):
    """The copy that a job keeps of a compound and what goes with it."""

    compound: Product
    primer: Primer | None = field(default=None, metadata=OMITTED)
    reinforcement: Reinforcement | None = field(default=None, metadata=OMITTED)


def price_of(text: str, what: str) -> str:
    """Read a price as a decimal text, as `18.50`; the currency is the price book's.

    Raises
    ------
    BadInput
        No sum of money, negative, or with more than four decimals.
    """
    told = text.strip()
    if re.fullmatch(r"[0-9]{1,9}(\.[0-9]{1,4})?", told) is None:
        raise BadInput(
            say(
                "{what} {text!r} is no sum of money; write a number such as 18.50.",
                what=what,
                text=text[:40],
            )
        )
    return f"{Decimal(told)}"


def _in_order(name: str, what: str, least: float | None, most: float | None) -> None:
    if least is not None and most is not None and least > most:
        raise BadInput(
            say(
                "{name}: the least {what} is above the greatest; look at the sheet again.",
                name=name,
                what=what,
            )
        )
