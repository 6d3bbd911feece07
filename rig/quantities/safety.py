r"""Turns doubt into bags: how much to buy over the mean, from what, and what being wrong costs.

The parts of the doubt are independent and add up in squares (JCGM 100:2008, 5.1.2).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from scipy.special import ndtr, ndtri

from rig.errors import BadInput
from rig.language import numeral, say
from rig.quantities.bags import BagSheet
from rig.quantities.expected import Expectation

# How far the poured surface as a whole comes to lie from the plane that was chosen, and how much
# the yield of a delivery differs from its sheet's: common practice, no source.
PLANE_SD_MM = 0.5
YIELD_SD_SHARE = 0.02
# Waste is taken to lie within all and double of what is allowed for it, nearly always.
WASTE_SD_SHARE = 1.0 / 3.0
PARTS = ("surface", "plane", "yield", "waste")


@dataclass(frozen=True)
class Safety:
    """Compound to have over the mean need, at a confidence.

    `mean_l` is the mean need, waste included; `sd_l` its doubt; `stock_l` what to have over the
    mean. `shares` says how much of the stock each part of the doubt is there for; they add up
    to 1 (0 each where there is no doubt).
    """

    confidence: float
    mean_l: float
    sd_l: float
    stock_l: float
    shares: dict[str, float]

    def need_l(self, confidence: float) -> float:
        """Need that is not exceeded with a confidence, waste included."""
        return max(self.mean_l + float(ndtri(confidence)) * self.sd_l, 0.0)


@dataclass(frozen=True)
class Purchase:
    """Bags to buy at given prices: expected cost of running short and of bags left over."""

    bags: int
    chance_short: float
    expected_cost: float


@dataclass(frozen=True)
class Floor:
    """A room of an order: mean volume in place, its doubt of its own, that it shares, its area.

    The shared doubt (laser, lines of set-ups) moves all rooms the same way.
    """

    mean_l: float
    own_sd_l: float
    shared_sd_l: float
    area_m2: float


def safety_stock(
    mean_l: float,
    surface_sd_l: float,
    area_m2: float,
    sheet: BagSheet,
    confidence: float = 0.95,
) -> Safety:
    """Budget of what may make the need differ from its mean.

    Parameters
    ----------
    mean_l, surface_sd_l : float
        Volume in place and its doubt from the floor's surface.
    area_m2 : float
        A plane that comes out 1 mm higher takes a litre a square metre.
    sheet : BagSheet
    confidence : float
    """
    if not all(math.isfinite(v) and v >= 0 for v in (mean_l, surface_sd_l, area_m2)):
        raise BadInput(
            say(
                "A volume of {mean} l ± {surface_sd} l cannot be bought for.",
                mean=numeral(mean_l, "g"),
                surface_sd=numeral(surface_sd_l, "g"),
            )
        )
    return joint_stock([Floor(mean_l, surface_sd_l, 0.0, area_m2)], sheet, confidence)


def joint_stock(floors: Sequence[Floor], sheet: BagSheet, confidence: float = 0.95) -> Safety:
    """Budget of one order for several rooms: at most their sum, for not all turn out bad at once.

    Surfaces and poured planes are each room's own and add in squares; the laser, the yield of the
    delivery and the waste of the crew are common to all and add up (JCGM 100:2008, 5.2.2).

    Parameters
    ----------
    floors : sequence of Floor
    sheet : BagSheet
    confidence : float
    """
    more, mean = 1.0 + sheet.waste_share, sum(one.mean_l for one in floors)
    own = math.hypot(*(one.own_sd_l for one in floors))
    parts = {
        "surface": more * math.hypot(own, sum(one.shared_sd_l for one in floors)),
        "plane": more * PLANE_SD_MM * math.hypot(*(one.area_m2 for one in floors)),
        "yield": more * mean * YIELD_SD_SHARE,
        "waste": mean * sheet.waste_share * WASTE_SD_SHARE,
    }
    variance = sum(sd**2 for sd in parts.values())
    sd = math.sqrt(variance)
    shares = {name: part**2 / variance if variance > 0 else 0.0 for name, part in parts.items()}
    return Safety(confidence, more * mean, sd, max(float(ndtri(confidence)) * sd, 0.0), shares)


def with_history(safety: Safety, past: Expectation) -> Safety:
    """Return a budget as the past of this crew and this product has it, with a part for each.

    All is more or less by the same factor; what is still not known of the crew and the product is
    independent of the rest.
    """
    mean = past.factor.p50 * safety.mean_l
    variance = (past.factor.p50 * safety.sd_l) ** 2
    parts = {name: share * variance for name, share in safety.shares.items()}
    parts |= {"crew": (mean * past.doubt.crew) ** 2, "product": (mean * past.doubt.product) ** 2}
    whole = sum(parts.values())
    sd = math.sqrt(whole)
    return Safety(
        safety.confidence,
        mean,
        sd,
        max(float(ndtri(safety.confidence)) * sd, 0.0),
        {name: part / whole if whole > 0 else 0.0 for name, part in parts.items()},
    )


def best_purchase(
    safety: Safety, sheet: BagSheet, short_cost: float, spare_cost: float
) -> Purchase:
    r"""Whole bags at which the expected cost of being wrong is least.

    The newsvendor's rule: short with chance :math:`s/(s + r)` at most, for a price :math:`r` of a
    bag that is missing and :math:`s` of one left over (Arrow, Harris and Marschak, Econometrica 19
    (1951) 250–272).

    Raises
    ------
    BadInput
        A price that is not above 0.
    """
    for name, cost in ((say("running a bag short"), short_cost), (say("a spare bag"), spare_cost)):
        if not (math.isfinite(cost) and cost > 0):
            raise BadInput(
                say(
                    "The price of {name} must be more than 0, not {cost}.",
                    name=name,
                    cost=numeral(cost, "g"),
                )
            )
    mean, sd = safety.mean_l / sheet.yield_l, safety.sd_l / sheet.yield_l

    def cost_of(bags: int) -> float:
        if sd <= 0:
            short = max(mean - bags, 0.0)
        else:
            t = (bags - mean) / sd
            short = sd * (math.exp(-0.5 * t * t) / math.sqrt(2.0 * math.pi) - t * float(ndtr(-t)))
        return short_cost * short + spare_cost * (bags - mean + short)

    ratio = short_cost / (short_cost + spare_cost)
    near = safety.need_l(ratio) / sheet.yield_l if sd > 0 else mean
    bags = min((max(math.floor(near), 0), math.ceil(near - 1e-9)), key=cost_of)
    chance = float(ndtr((mean - bags) / sd)) if sd > 0 else float(bags < mean - 1e-9)
    return Purchase(bags, chance, cost_of(bags))
