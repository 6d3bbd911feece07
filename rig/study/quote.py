"""A quote: what a job will cost, low, likely and high, before the survey, during it, and after."""

import math
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import ndtri

from rig.errors import BadInput, CannotAnswer
from rig.products import Crew, Product
from rig.quantities.bags import BagSheet, bag_sheet, sheet_of
from rig.quantities.prices import (
    PriceBook,
    Quantities,
    QuoteLine,
    priced,
    rounded,
    total_of,
    with_compound,
)
from rig.quantities.quick_look import Depth, guessed, looked
from rig.quantities.safety import safety_stock
from rig.record import Record
from rig.study.acts import kept_in
from rig.study.house_plan import house_plan
from rig.study.picture import picture_of
from rig.study.plan_answer import USUAL_MIN_COVER_MM, plan_answer, stored_plan
from rig.study.plane import PlanWish
from rig.study.pour_log import pours_ended
from rig.study.room import outline_of
from rig.study.rooms import has_several
from rig.words import quote as words
from rig.words import say

if TYPE_CHECKING:
    from rig.job.store import Job

# Person-hours a m² with all that goes before and after, where neither crew nor price book says;
# and the doubt of hours where a crew's own floors don't show it: our own figures, no source.
USUAL_HOURS_M2, HOURS_SD_SHARE = 0.25, 0.2
# A room's walls for its area, where nobody gave its sides: those of one by one and a half.
EDGE_PER_ROOT = 2.0 * (1.5**0.5 + 1.5**-0.5)
EVENT = "quote"


@dataclass(frozen=True, slots=True, kw_only=True)
class Total(Record):
    """What a job costs, as decimal texts: the 5 %, the middle and the 95 % that are reckoned.

    Nobody has counted yet how often jobs that were done lie between them.
    """

    low: str
    likely: str
    high: str


@dataclass(frozen=True, slots=True, kw_only=True)
class HangsOn(Record):
    """What the totals are where one thing alone turns out low or high."""

    what: str
    low: str
    high: str


@dataclass(frozen=True, slots=True, kw_only=True)
class QuoteAnswer(Record):
    """A quote, as `rig quote --json` prints it.

    Attributes
    ----------
    product : str
    currency : str
    lines : tuple of QuoteLine
        Their amounts add up to `total.likely`.
    total : Total
    bags : mapping of str to int
        Low, likely, high.
    area_m2 : float
    hangs_on : tuple of HangsOn
        The most telling first.
    measured : bool
        Whether the floor's own shots say how deep it is.
    assumptions : tuple of str
    """

    product: str
    currency: str
    lines: tuple[QuoteLine, ...]
    total: Total
    bags: Mapping[str, int]
    area_m2: float
    hangs_on: tuple[HangsOn, ...]
    measured: bool
    assumptions: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CameTrue(Record):
    """A quote that was kept, held against what the pours took.

    Attributes
    ----------
    quoted : QuoteAnswer
    bags_used : float
    within : bool
        Whether the bags used lie in the range that was quoted.
    """

    quoted: QuoteAnswer
    bags_used: float
    within: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """A floor of a quote: its area, its walls, and how deep the compound will lie on it."""

    area_m2: float
    edge_m: float
    depth: Depth


@dataclass(frozen=True, slots=True, kw_only=True)
class QuoteWish:
    """What a quote is asked for.

    Attributes
    ----------
    book : PriceBook
    product : Product or None
        Else the job's own.
    crew : Crew or None
    hours : float or None
        Of all hands together; before what a crew took.
    waste_share : float or None
    """

    book: PriceBook
    product: Product | None = None
    crew: Crew | None = None
    hours: float | None = None
    waste_share: float | None = None


@dataclass(frozen=True, slots=True)
class _Range:
    low: float
    likely: float
    high: float


def part_of(area_m2: float, depth: Depth) -> Part:
    """Return a floor of which only the area is known."""
    return Part(area_m2=area_m2, edge_m=EDGE_PER_ROOT * math.sqrt(area_m2), depth=depth)


def quote_of(parts: Sequence[Part], wish: QuoteWish, notes: Sequence[str] = ()) -> QuoteAnswer:
    """Quote for floors that nobody has surveyed.

    Parameters
    ----------
    parts : sequence of Part
    wish : QuoteWish
        With a product.
    notes : sequence of str
        Of how the depths were come by.
    """
    product = wish.product
    assert product is not None
    sheet = bag_sheet(
        product.yield_l, product.bag_mass_kg, product.bag_water_l, wish.waste_share
    )  # fmt: skip
    litres = [(p.area_m2 * p.depth.likely_mm) for p in parts]
    # Floors are as deep as they are independently of each other: their doubts add in squares.
    down = math.hypot(*(p.area_m2 * (p.depth.likely_mm - p.depth.low_mm) for p in parts))
    up = math.hypot(*(p.area_m2 * (p.depth.high_mm - p.depth.likely_mm) for p in parts))
    likely_l = sum(litres)
    more = (1.0 + sheet.waste_share) / sheet.yield_l
    own = _own_doubt(likely_l, sum(p.area_m2 for p in parts), sheet)
    bags = _Range(
        max(likely_l * more - math.hypot(down * more, own), 0.0),
        likely_l * more,
        likely_l * more + math.hypot(up * more, own),
    )
    area, edge = sum(p.area_m2 for p in parts), sum(p.edge_m for p in parts)
    return _quote(wish, product.name, product.price, bags, (area, edge), False, sheet, notes)


def quote_for(job: "Job", wish: QuoteWish, parts: Sequence[Part] = ()) -> QuoteAnswer:
    """Quote for a job at any stage; the range shrinks as the survey goes on.

    Parameters
    ----------
    job : Job
    wish : QuoteWish
    parts : sequence of Part
        A quick look at it, for as long as it can't be told from its shots.

    Raises
    ------
    CannotAnswer
        Too few shots, and no quick look either.
    """
    settings, outline = job.settings, outline_of(job)
    if wish.waste_share is not None:
        settings = replace(settings, waste_share=wish.waste_share)
    product = wish.product or settings.compound
    size = (
        outline.area_m2,
        _edge_m(outline.edge_mm, [door.width_mm for door in outline.doors]),
    )
    try:
        planned = _planned(job)
    except CannotAnswer as error:
        if not parts:
            raise CannotAnswer(
                say("{error} Before that, give a quick look: --depth 1/2in.", error=error)
            ) from None
        if product is None:
            sheet = sheet_of(settings)
            product = Product(name="compound", bag_yield_l=sheet.yield_l)
        (part,) = parts
        part = replace(part, area_m2=size[0], edge_m=size[1])
        wish = replace(wish, product=product, waste_share=settings.waste_share)
        return quote_of([part], wish)
    sheet = sheet_of(settings)
    if wish.product is not None:
        one, waste = wish.product, sheet.waste_share
        sheet = bag_sheet(one.yield_l, one.bag_mass_kg, one.bag_water_l, waste)
    likely = planned.mean_l * (1.0 + sheet.waste_share)
    high = likely + float(ndtri(0.95)) * planned.sd_l
    bags = _Range(
        max(min(planned.low_l * (1.0 + sheet.waste_share), likely - (high - likely)), 0.0)
        / sheet.yield_l,
        likely / sheet.yield_l,
        high / sheet.yield_l,
    )
    name, price = ("compound", None) if product is None else (product.name, product.price)
    return _quote(wish, name, price, bags, size, True, sheet, ())


def keep(job: "Job", answer: QuoteAnswer) -> None:
    """Keep a quote in the job, to hold it against what came true."""
    job.log_event(None, None, time.time(), EVENT, answer.as_json())
    job.flush()


def came_true(job: "Job") -> CameTrue:
    """Hold the job's last kept quote against the bags that its pours took.

    Raises
    ------
    CannotAnswer
        No quote was kept, or no pour was logged to its end.
    """
    kept = job.events([EVENT])
    if not kept:
        raise CannotAnswer(say("The job keeps no quote: rig quote --keep does, before the work."))
    ended = pours_ended(job)
    if not ended:
        raise CannotAnswer(say("No pour of this job was logged to its end yet: rig pour run."))
    quoted = kept_in(kept[-1], QuoteAnswer, "quote")
    used = sum(end.bags_used for _, end in ended)
    low, high = quoted.bags["low"], quoted.bags["high"]
    return CameTrue(quoted=quoted, bags_used=used, within=low <= used <= high)


@dataclass(frozen=True, slots=True)
class _Planned:
    """Litres in place; the doubt of the need, waste included; litres where the floor is kind."""

    mean_l: float
    sd_l: float
    low_l: float


def _planned(job: "Job") -> _Planned:
    """Return what the job takes as its shots have it now, all its rooms together."""
    if has_several(job):
        house = house_plan(job)
        sd = house.safety.stock_l / float(ndtri(house.confidence))
        return _Planned(house.volume_l.mean, sd, house.volume_l.mean)
    kept = stored_plan(job)
    wish = PlanWish() if kept is None else kept.wish
    picture = picture_of(job, outline_of(job), wish.confidence)
    answer = plan_answer(job, picture, wish, warned=False)
    mean_l = answer.volume_l.mean
    area = picture.cells.share * picture.cells.step_mm**2
    area_m2 = float(area.sum()) * 1e-6
    sd = safety_stock(mean_l, answer.volume_l.sd_l, area_m2, sheet_of(job.settings)).sd_l
    if wish.max_slope is not None or wish.holds or wish.grind_cost is not None:
        return _Planned(mean_l, sd, mean_l)
    # More shots bring a level plane down to where the highest place turns out to be.
    tops = picture.extremes.highest_mm.max(axis=1).astype(float)
    means = picture.extremes.smooth_mm @ area / area.sum()
    over = tops - means + answer.min_cover_mm
    return _Planned(mean_l, sd, float(np.quantile(over, 0.05)) * area_m2)


def _own_doubt(likely_l: float, area_m2: float, sheet: BagSheet) -> float:
    """Return the doubt in bags, as a 95 %, that no survey takes away: yield, waste, the plane."""
    safety = safety_stock(likely_l, 0.0, area_m2, sheet)
    return safety.stock_l / sheet.yield_l


def _edge_m(length_mm: float, doors_mm: Sequence[float]) -> float:
    return max(length_mm - sum(doors_mm), 0.0) / 1000.0


def _quote(
    wish: QuoteWish,
    name: str,
    price: str | None,
    bags: _Range,
    size: tuple[float, float],
    measured: bool,
    sheet: BagSheet,
    notes: Sequence[str],
) -> QuoteAnswer:
    area_m2, edge_m = size
    book = with_compound(wish.book, name, price)
    hours, said = _hours(wish, area_m2)
    whole = _Range(*(_up(one) for one in (bags.low, bags.likely, bags.high)))

    def at(many: float, work_h: float) -> tuple[QuoteLine, ...]:
        return priced(book, Quantities(int(many), area_m2, edge_m, work_h))

    def total(many: float, work_h: float) -> str:
        return f"{total_of(at(many, work_h)):f}"

    lines = at(whole.likely, hours.likely)
    by_hours = any(line.unit == "hour" for line in book.lines)
    hangs = [
        HangsOn(
            what="depth" if not measured else "floor",
            low=total(whole.low, hours.likely),
            high=total(whole.high, hours.likely),
        )
    ]
    if by_hours:
        hangs.append(
            HangsOn(
                what="labour",
                low=total(whole.likely, hours.low),
                high=total(whole.likely, hours.high),
            )
        )
    hangs.sort(key=lambda one: float(one.low) - float(one.high))
    walls = [] if measured else [words.walls_assumed()]
    return QuoteAnswer(
        product=name,
        currency=book.currency,
        lines=lines,
        total=_total(total_of(lines), hangs, book.rounding),
        bags={"low": int(whole.low), "likely": int(whole.likely), "high": int(whole.high)},
        area_m2=area_m2,
        hangs_on=tuple(hangs),
        measured=measured,
        assumptions=(
            *notes,
            *(walls if any(line.unit in ("m", "ft") for line in book.lines) else ()),
            *sheet.assumptions,
            *([said] if by_hours else []),
            words.rounding(f"{book.rounding:f}", book.tax is not None, book.tax_by_line),
        ),
    )


def _total(likely: Decimal, hangs: Sequence[HangsOn], step: Decimal) -> Total:
    """Join what the total hangs on: independent of each other, they add in squares."""
    down = sum(((likely - Decimal(one.low)) ** 2 for one in hangs), Decimal(0)).sqrt()
    up = sum(((Decimal(one.high) - likely) ** 2 for one in hangs), Decimal(0)).sqrt()
    low, high = (rounded(max(one, Decimal(0)), step) for one in (likely - down, likely + up))
    return Total(low=f"{low:f}", likely=f"{likely:f}", high=f"{high:f}")


def _hours(wish: QuoteWish, area_m2: float) -> tuple[_Range, str]:
    """Hours of all hands together, and what that stands on."""
    crew = wish.crew
    if wish.hours is not None:
        return _spread(wish.hours, HOURS_SD_SHARE), words.hours_given()
    if crew is not None and crew.took:
        people = crew.people or 1
        rates = [people * one.time_s / 3600.0 / one.area_m2 for one in crew.took]
        total = people * sum(one.time_s for one in crew.took) / 3600.0
        rate = total / sum(one.area_m2 for one in crew.took)
        share = float(np.std(rates, ddof=1)) / rate if len(rates) > 1 else HOURS_SD_SHARE
        return _spread(rate * area_m2, share), words.hours_learnt(crew.name, len(rates))
    if wish.book.hours_per_m2 is not None:
        rate = float(wish.book.hours_per_m2)
        return _spread(rate * area_m2, HOURS_SD_SHARE), words.hours_by_book(rate)
    return _spread(USUAL_HOURS_M2 * area_m2, HOURS_SD_SHARE), words.hours_usual(USUAL_HOURS_M2)


def _spread(hours: float, sd_share: float) -> _Range:
    wide = float(ndtri(0.95)) * sd_share
    return _Range(hours * max(1.0 - wide, 0.0), hours, hours * (1.0 + wide))


def _up(bags: float) -> int:
    return math.ceil(bags - 1e-9)


def depth_of(
    depth_mm: float | None, readings_mm: Sequence[float], area_m2: float, product: Product | None
) -> tuple[Depth, str]:
    """Return how deep a floor will be, by a guess or by a quick look, and what that stands on.

    Raises
    ------
    BadInput
        Neither, both, or too few readings.
    """
    if (depth_mm is None) == (not readings_mm):
        raise BadInput(
            say("Say how deep: --depth 1/2in by eye, or five --reading of a quick look.")
        )
    if depth_mm is not None:
        return guessed(depth_mm), words.depth_guessed()
    least = None if product is None else product.min_cover_mm
    least_mm = USUAL_MIN_COVER_MM if least is None else least
    return looked(readings_mm, area_m2, least_mm), words.depth_looked(len(readings_mm))
