"""Turns litres of compound into whole bags to buy and water to mix them with.

What the user did not give from the bag's own sheet is assumed, and every assumption is said.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from rig.errors import BadInput
from rig.job.settings import Settings
from rig.language import both, numeral, say
from rig.units import KG_PER_LB, L_PER_FT3, L_PER_GAL, Units

# A 50 lb bag yields 0.45 ft³ with 5 quarts of water: common practice, no source.
USUAL_YIELD_L = 0.45 * L_PER_FT3
USUAL_MASS_KG = 50.0 * KG_PER_LB
USUAL_WATER_L = 5.0 * L_PER_GAL / 4.0
# Mixed compound weighs 1.7 to 2.2 kg a litre, foamed screed a third of that, its powder itself
# hardly 3: common practice, no source.
DENSEST_KG_L, LIGHTEST_KG_L = 3.2, 0.4
# What stays in buckets, hoses and on the mixer: common practice, no source.
USUAL_WASTE_SHARE = 0.05


@dataclass(frozen=True)
class BagSheet:
    """What one bag makes and takes; `assumptions` are sentences for people.

    `source` says in a few words who says so.
    """

    yield_l: float
    mass_kg: float
    water_l: float
    waste_share: float
    assumptions: tuple[str, ...] = ()
    source: str = say("the bag's sheet")

    @property
    def density_kg_m3(self) -> float:
        """Of the compound as poured, its water in it; cured it is lighter."""
        return 1000.0 * (self.mass_kg + self.water_l) / self.yield_l


@dataclass(frozen=True)
class Bags:
    """Whole bags to buy, waste included: at even odds, and to be 95 % sure.

    `waste` is how many of the `p95` bags are there for waste; `water_l` and `mass_kg` go with
    all of the `p95` bags.
    """

    p50: int
    p95: int
    waste: int
    waste_share: float
    water_per_bag_l: float
    water_l: float
    mass_kg: float


def bag_sheet(
    yield_l: float | None = None,
    mass_kg: float | None = None,
    water_l: float | None = None,
    waste_share: float | None = None,
    units: Units = Units(),  # noqa: B008
) -> BagSheet:
    """Fill in what the user left open, in proportion to what was given.

    Parameters
    ----------
    yield_l, mass_kg, water_l : float, optional
        Of one bag, from its sheet.
    waste_share : float, optional
        Extra compound as a share of the volume in place: 0.05 buys 5 % more.
    units : Units
        What is assumed is told in these.

    Raises
    ------
    BadInput
        A yield, mass or water that is not above 0, or a waste outside 0 to below 1.
    """
    _check(yield_l, mass_kg, water_l, waste_share)
    size = 1.0
    if yield_l is not None:
        size = yield_l / USUAL_YIELD_L
    elif mass_kg is not None:
        size = mass_kg / USUAL_MASS_KG
    left_open = []
    if yield_l is None:
        yield_l = size * USUAL_YIELD_L
        left_open.append(say("yields {yield_}", yield_=units.volume(yield_l)))
    if mass_kg is None:
        mass_kg = size * USUAL_MASS_KG
        left_open.append(say("weighs {mass}", mass=units.mass(mass_kg)))
    if water_l is None:
        water_l = size * USUAL_WATER_L
        left_open.append(say("takes {water} of water", water=units.volume(water_l, liquid=True)))
    assumptions = []
    if left_open:
        assumptions.append(
            say(
                "A bag {said} (common practice, no source: the bag's own sheet rules).",
                said=both(left_open),
            )
        )
    if waste_share is None:
        waste_share = USUAL_WASTE_SHARE
        assumptions.append(
            say(
                "{waste_share} % more for waste (common practice, no source).",
                waste_share=numeral(100 * waste_share, "g"),
            )
        )
    source = say("assumed, see the bag's own sheet") if left_open else say("the bag's sheet")
    return BagSheet(yield_l, mass_kg, water_l, waste_share, tuple(assumptions), source)


def _check(
    yield_l: float | None,
    mass_kg: float | None,
    water_l: float | None,
    waste_share: float | None,
) -> None:
    for name, value in (("yield", yield_l), ("mass", mass_kg), ("water", water_l)):
        if value is not None and not (math.isfinite(value) and value > 0):
            raise BadInput(
                say(
                    "A bag's {name} must be more than 0, not {value}; see its sheet.",
                    name=name,
                    value=numeral(value, "g"),
                )
            )
    if waste_share is not None and not 0.0 <= waste_share < 1.0:
        raise BadInput(
            say(
                "Waste must be 0 % to below 100 %, not {waste_share} %.",
                waste_share=numeral(100 * waste_share, "g"),
            )
        )


def sheet_of(settings: Settings) -> BagSheet:
    """Return the bag that a job is poured with; see `bag_sheet`."""
    return bag_sheet(
        settings.bag_yield_l,
        settings.bag_mass_kg,
        settings.bag_water_l,
        settings.waste_share,
        Units(settings.units),
    )


def refuse_impossible_bag(
    yield_l: float | None, mass_kg: float | None, water_l: float | None
) -> None:
    """Refuse a bag whose compound would be lighter or denser than any is; needs yield and mass.

    Raises
    ------
    BadInput
        With what a litre of it would weigh.
    """
    if not yield_l or not mass_kg:
        return
    kg_l = (mass_kg + (water_l or 0.0)) / yield_l
    if not LIGHTEST_KG_L <= kg_l <= DENSEST_KG_L:
        raise BadInput(
            say(
                "A litre of this compound would weigh {kg} kg; mixed compound weighs about 2 "
                "kg a litre. Look at the bag's sheet again: --bag-yield, --bag-mass, "
                "--bag-water.",
                kg=numeral(kg_l, ".2g"),
            )
        )


def bags_for(mean_l: float, p95_l: float, sheet: BagSheet) -> Bags:
    """Whole bags for a volume, rounded up after waste is added.

    Parameters
    ----------
    mean_l : float
        Volume in place at even odds.
    p95_l : float
        Volume that is not exceeded with 95 % probability.
    sheet : BagSheet
    """
    if not (math.isfinite(mean_l) and math.isfinite(p95_l) and 0.0 <= mean_l <= p95_l):
        raise BadInput(
            say(
                "A volume of {mean} l, at most {p95} l, cannot be bagged.",
                mean=numeral(mean_l, "g"),
                p95=numeral(p95_l, "g"),
            )
        )
    more = 1.0 + sheet.waste_share
    p95 = _whole(p95_l * more / sheet.yield_l)
    return Bags(
        _whole(mean_l * more / sheet.yield_l),
        p95,
        p95 - _whole(p95_l / sheet.yield_l),
        sheet.waste_share,
        sheet.water_l,
        p95 * sheet.water_l,
        p95 * sheet.mass_kg,
    )


def _whole(bags: float) -> int:
    # 3.0000000001 bags are three: the excess is rounding of the arithmetic.
    return math.ceil(bags - 1e-9)
