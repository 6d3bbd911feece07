"""What else to have on site, from rules that are stated, sourced and the user's to change.

A rule is an amount per square metre, per metre of edge, per bag or per job, or a measure that
others reckon with (a sheet's length). Rules kept in the job stand before those given here.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Literal

from rig.errors import BadInput
from rig.language import join, numeral, put, say, say_many
from rig.products import Used
from rig.quantities.bags import BagSheet
from rig.quantities.packs import Sold, in_packs, pieces, sold_in, up
from rig.record import OMITTED, Record
from rig.room import Outline
from rig.units import L_PER_GAL, MM_PER_IN, Units, parse_length, parse_volume

PRACTICE = say("common practice, no source")
SHEET = say("common practice, no source: the product's own sheet rules")


@dataclass(frozen=True)
class Rule:
    """One rule: `amount` of `unit` per `per`; `package` is what is sold as one."""

    key: str
    text: str
    source: str
    per: Literal["m2", "m", "bag", "job"]
    amount: float
    unit: str
    package: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Material(Record):
    """Something to have on site, as `rig plan --json` prints it.

    Attributes
    ----------
    item : str
    amount : float
    unit : str
    bags : int or None
        Of compound; so are the next two.
    mass_kg, water_per_bag_l : float or None
    packs : int or None
        Of what it is sold in.
    pack : str or None
        What that is called: jug, sheet, roll, box.
    leftover : float or None
        What is left of the last one, in the unit of `amount`.
    text : str
        For people.
    source : str
        Where its rule is from.
    """

    item: str
    amount: float
    unit: str
    packs: int | None = field(default=None, metadata=OMITTED)
    pack: str | None = field(default=None, metadata=OMITTED)
    leftover: float | None = field(default=None, metadata=OMITTED)
    bags: int | None = field(default=None, metadata=OMITTED)
    mass_kg: float | None = field(default=None, metadata=OMITTED)
    water_per_bag_l: float | None = field(default=None, metadata=OMITTED)
    text: str
    source: str


_IN = MM_PER_IN
# The package of a spacing is what a box of staples or screws holds.
RULES = (
    Rule("primer", say("primer ready to use on the floor"), SHEET, "m2", 0.15, "l", L_PER_GAL),
    Rule("primer_dilution", say("parts of water to one of primer"), SHEET, "job", 3.0, "part"),
    Rule("lath", say("layers of lath over the floor, 0 for none"), SHEET, "m2", 1.0, "part"),
    Rule("lath_width", say("width of a lath sheet"), PRACTICE, "job", 27.0 * _IN, "mm"),
    Rule("lath_length", say("length of a lath sheet"), PRACTICE, "job", 96.0 * _IN, "mm"),
    Rule("lath_overlap", say("least overlap of lath sheets"), PRACTICE, "job", 1.0 * _IN, "mm"),
    Rule(
        "staple_spacing", say("staples each way on lath"), PRACTICE, "job", 6.0 * _IN, "mm", 1000.0
    ),
    Rule("joist_spacing", say("joists, middle to middle"), PRACTICE, "job", 16.0 * _IN, "mm"),
    Rule(
        "screw_spacing",
        say("screws on joists and between"),
        PRACTICE,
        "job",
        6.0 * _IN,
        "mm",
        100.0,
    ),
    Rule("screws", say("1 to screw plywood down, 0 for no wood"), PRACTICE, "m2", 1.0, "part"),
    Rule("edge_strip", say("edge strip along walls and openings"), PRACTICE, "m", 1.0, "m", 15.24),
    Rule("panel_width", say("width of a floor panel"), PRACTICE, "job", 48.0 * _IN, "mm"),
    Rule("panel_length", say("length of a floor panel"), PRACTICE, "job", 96.0 * _IN, "mm"),
    Rule("seam_sealer", say("sealer in a metre of panel seam"), PRACTICE, "m", 0.03, "l", 0.3),
    Rule("wash_water", say("water to wash tools and hands with"), PRACTICE, "job", 20.0, "l"),
    Rule(
        "bucket",
        say("mixing buckets, one filled while one is poured"),
        PRACTICE,
        "job",
        3.0,
        "piece",
    ),
)
_BY_KEY = {rule.key: rule for rule in RULES}
# What is sold and measured where the job is in millimetres: no inches converted.
_METRIC_MM = {
    "lath_width": 700.0,
    "lath_length": 2400.0,
    "lath_overlap": 25.0,
    "staple_spacing": 150.0,
    "joist_spacing": 400.0,
    "screw_spacing": 150.0,
    "panel_width": 1200.0,
    "panel_length": 2400.0,
}
_METRIC_PACK = {"primer": 5.0, "edge_strip": 25.0}
WOOD = ("sheets", "boards")
SET_IN_JOB = say("as set in this job")
_SCREWS_MM = {"in": (50.8, 31.75, 28.575), "mm": (50.0, 32.0, 28.0)}
"""Screws along joists and between, and the plywood that the latter are for."""
_NOT_ZERO = {
    "lath_width",
    "lath_length",
    "staple_spacing",
    "joist_spacing",
    "screw_spacing",
    "panel_width",
    "panel_length",
}


def rules_of(units: Units) -> list[Rule]:
    """Return the rules given here: in a metric job with rounded metric lengths."""
    if not units.is_metric:
        return list(RULES)
    return [
        replace(
            rule,
            amount=_METRIC_MM.get(rule.key, rule.amount),
            package=_METRIC_PACK.get(rule.key, rule.package),
        )
        for rule in RULES
    ]


def rules_by(used: Used) -> list[Rule]:
    """Return the rules that a compound's primer and reinforcement bring with them."""
    found: dict[str, tuple[float | None, float | None]] = {}
    primer, lath = used.primer, used.reinforcement
    if primer is not None and primer.rate_l_m2 is not None:
        found["primer"] = primer.rate_l_m2 * (primer.coats or 1), primer.pack_l
        found["primer_dilution"] = primer.dilution or 0.0, None
    if lath is not None and lath.sheet_mm is not None:
        found["lath"] = 1.0, None
        found["lath_width"], found["lath_length"] = ((side, None) for side in lath.sheet_mm)
        found["lath_overlap"] = lath.overlap_mm, None
    names = {"primer": primer, "lath": lath}
    rules = []
    for key, (amount, package) in found.items():
        rule, thing = _BY_KEY[key], names[key.partition("_")[0]]
        if amount is not None and thing is not None:
            source = say("{name}, by its sheet", name=thing.name)
            rules.append(replace(rule, amount=amount, source=source, package=package))
    return rules


def rules_with(kept: Iterable[Mapping[str, Any]], units: Units) -> list[Rule]:
    """All rules, those kept in a job (rows of its table) in place of those given here."""
    mine = {rule.key: rule for rule in (Rule(**row) for row in kept)}
    return [
        replace(rule, text=own.text, source=own.source, amount=float(own.amount),
                package=own.package)
        if (own := mine.get(rule.key)) is not None
        else rule
        for rule in rules_of(units)
    ]  # fmt: skip


def changed_rule(text: str) -> Rule:
    """Read `KEY=VALUE`, as in `primer=0.2l`, `lath=0` or `lath_overlap=50mm`.

    Raises
    ------
    BadInput
        An unknown key (the known ones are named), or a value that its rule cannot take.
    """
    key, equals, value = text.partition("=")
    key, value = key.strip().replace("-", "_"), value.strip()
    rule = _BY_KEY.get(key)
    if rule is None or not equals:
        raise BadInput(
            say(
                "“{text}” changes no rule. Write KEY=VALUE; keys: {by_key}.",
                text=text,
                by_key=join(", ", _BY_KEY),
            )
        )
    what = say("--material {key}", key=key)
    if rule.unit == "mm":
        amount = parse_length(value, what=what, least=0.0)
    elif rule.unit == "l":
        amount = parse_volume(value, what=what)
    else:
        try:
            amount = float(value)
        except ValueError:
            amount = math.nan
        if not (math.isfinite(amount) and 0 <= amount <= 1000):
            raise BadInput(
                say(
                    "{what} “{value}” must be a number from 0 up: {rule}.",
                    what=what,
                    value=value,
                    rule=rule.text,
                )
            )
    if key in _NOT_ZERO and amount < 1.0:
        raise BadInput(say("{what} must be more than 0: {rule}.", what=what, rule=rule.text))
    return replace(rule, amount=amount, source=SET_IN_JOB)


def materials_for(
    outline: Outline,
    bags: int,
    sheet: BagSheet,
    rules: Iterable[Rule],
    units: Units,
    floor: str | None = "sheets",
) -> list[Material]:
    """What the room takes beside compound, each with the rule it stands on.

    Screws and lath are for wood; elsewhere, and where nobody said what the floor is made of, they
    are there only where the job or its compound's sheet asks for them.

    Parameters
    ----------
    outline : Outline
    bags : int
        To mix.
    sheet : BagSheet
        For the mixing water.
    rules : iterable of Rule
        As `rules_with` gives them.
    units : Units
        Of the texts.
    floor : {"concrete", "sheets", "screed", "boards", "unknown"}, optional
        What the floor is made of.
    """
    need = _Need(outline, {rule.key: rule for rule in rules}, units)
    wood = floor in WOOD
    return [
        *_primer(need),
        *(_lath(need) if wood or need.asked("lath") else ()),
        *(_screws(need) if wood or need.asked("screws") else ()),
        *_edge_strip(need),
        *(_seam_sealer(need) if floor == "sheets" or need.asked("seam_sealer") else ()),
        _water(need, bags, sheet),
        *_buckets(need),
    ]


@dataclass(frozen=True)
class _Need:
    """A room with the rules that its materials are reckoned by."""

    outline: Outline
    rule: Mapping[str, Rule]
    units: Units

    def amount(self, key: str) -> float:
        return self.rule[key].amount

    def source(self, *keys: str) -> str:
        # A job keeps its rules as plain text, of which these are sentences.
        ours = {PRACTICE: PRACTICE, SHEET: SHEET}
        told = dict.fromkeys(ours.get(one, one) for one in (self.rule[key].source for key in keys))
        if SHEET in told:
            told.pop(PRACTICE, None)  # it says as much
        return join("; ", told)

    def length(self, key: str) -> str:
        return self.units.length(self.amount(key))

    def liquid(self, litres: float) -> str:
        return self.units.volume(litres, liquid=True)

    def asked(self, key: str) -> bool:
        """Whether the job or its compound's sheet says so, not a rule given here."""
        return self.rule[key].source not in (SHEET, PRACTICE)

    def sold(self, key: str, amount: float, name: str) -> Sold:
        """Reckon an amount in what it is sold in."""
        package = self.rule[key].package
        return sold_in(package, amount, name) if package else Sold()


def _primer(need: _Need) -> list[Material]:
    ready_l = need.outline.area_m2 * need.amount("primer")
    if ready_l <= 0:
        return []
    parts = need.amount("primer_dilution")
    pure_l = ready_l / (1.0 + parts)
    text = say(
        "{liquid} and {liquid_2} of water ({parts} to 1)",
        liquid=need.liquid(pure_l),
        liquid_2=need.liquid(ready_l - pure_l),
        parts=numeral(parts, "g"),
    )
    if not parts:
        text = say("{liquid}, as it comes", liquid=need.liquid(pure_l))
    sold = need.sold("primer", pure_l, "jug")
    text += in_packs(sold, need.liquid)
    source = need.source("primer", "primer_dilution")
    return [Material(item=say("primer"), amount=pure_l, unit="l", text=text, source=source, **sold)]


def _lath(need: _Need) -> list[Material]:
    layers = need.amount("lath")
    if layers <= 0:
        return []
    wide, long, lap = (need.amount(f"lath_{of}") for of in ("width", "length", "overlap"))
    if lap >= min(wide, long):
        raise BadInput(say("The lath's overlap is as wide as its sheet; mend the rule."))
    area_mm2 = layers * need.outline.area_m2 * 1e6
    sheets = up(area_mm2 / ((wide - lap) * (long - lap)))
    staples = up(area_mm2 / need.amount("staple_spacing") ** 2)
    boxes = need.sold("staple_spacing", staples, "box")
    return [
        Material(
            item=say("lath"),
            amount=sheets,
            unit="piece",
            text=say(
                "{sheets} of {length} by {length_2}, overlapping by {length_3} (where the "
                "compound's sheet asks for it; --material lath=0 leaves it out)",
                sheets=say_many("{count} sheet", "{count} sheets", sheets),
                length=need.length("lath_width"),
                length_2=need.length("lath_length"),
                length_3=need.length("lath_overlap"),
            ),
            source=need.source("lath", "lath_width", "lath_length", "lath_overlap"),
        ),
        Material(
            item=say("staples"),
            amount=staples,
            unit="piece",
            text=say(
                "{staples}, every {length} each way",
                staples=staples,
                length=need.length("staple_spacing"),
            )
            + in_packs(boxes, pieces),
            source=need.source("staple_spacing"),
            **boxes,
        ),
    ]


def _screws(need: _Need) -> list[Material]:
    layers = need.amount("screws")
    if layers <= 0:
        return []
    pitch_mm2 = need.amount("joist_spacing") * need.amount("screw_spacing")
    count = up(layers * need.outline.area_m2 * 1e6 / pitch_mm2)
    every = need.length("screw_spacing")
    along, between, plywood = map(need.units.length, _SCREWS_MM[need.units.system])
    source = need.source("screws", "joist_spacing", "screw_spacing")
    sold = need.sold("screw_spacing", count, "box")
    boxes = in_packs(sold, pieces)
    return [
        Material(
            item=say("screws along joists"),
            amount=count,
            unit="piece",
            text=say(
                "{count} of {along}, every {every} (--material screws=0 for none){boxes}",
                count=count,
                along=along,
                every=every,
                boxes=boxes,
            ),
            source=source,
            **sold,
        ),
        Material(
            item=say("screws between joists"),
            amount=count,
            unit="piece",
            text=say(
                "{count} of {between}, every {every} along the middle, for plywood of {plywood} in "
                "all{boxes}",
                count=count,
                between=between,
                every=every,
                plywood=plywood,
                boxes=boxes,
            ),
            source=source,
            **sold,
        ),
    ]


def _edge_strip(need: _Need) -> list[Material]:
    doors_mm = sum(door.width_mm for door in need.outline.doors)
    edge_mm = max(need.outline.edge_mm - doors_mm, 0.0)
    strip_m = edge_mm / 1000.0 * need.amount("edge_strip")
    if strip_m <= 0:
        return []
    text = say(
        "{strip_m} along walls and openings less doorways",
        strip_m=need.units.place(strip_m * 1000.0),
    )
    sold = need.sold("edge_strip", strip_m, "roll")
    text += in_packs(sold, lambda left_m: need.units.place(left_m * 1000.0))
    source = need.source("edge_strip")
    return [
        Material(item=say("edge strip"), amount=strip_m, unit="m", text=text, source=source, **sold)
    ]


def _seam_sealer(need: _Need) -> list[Material]:
    if need.amount("seam_sealer") <= 0 or need.amount("screws") <= 0:
        return []
    # Each panel has half its rim, the rest is its neighbours'.
    wide, long = need.amount("panel_width"), need.amount("panel_length")
    seams_m = need.outline.area_m2 * 1e6 * (wide + long) / (wide * long) / 1000.0
    sealer_l = seams_m * need.amount("seam_sealer")
    text = say(
        "{liquid} for {seams_m} of panel seams",
        liquid=need.liquid(sealer_l),
        seams_m=need.units.place(seams_m * 1000.0),
    )
    sold = need.sold("seam_sealer", sealer_l, "cartridge")
    text += in_packs(sold, need.liquid)
    source = need.source("panel_width", "panel_length", "seam_sealer")
    return [
        Material(
            item=say("seam sealer"), amount=sealer_l, unit="l", text=text, source=source, **sold
        )
    ]


def _water(need: _Need, bags: int, sheet: BagSheet) -> Material:
    wash_l = need.amount("wash_water")
    return Material(
        item=say("water"),
        amount=bags * sheet.water_l + wash_l,
        unit="l",
        text=say(
            "{liquid} a bag, {liquid_2} to mix all, {liquid_3} to wash",
            liquid=need.liquid(sheet.water_l),
            liquid_2=need.liquid(bags * sheet.water_l),
            liquid_3=need.liquid(wash_l),
        ),
        source=put("{sheet}; {wash}", sheet=sheet.source, wash=need.source("wash_water")),
    )


def _buckets(need: _Need) -> list[Material]:
    buckets = up(need.amount("bucket"))
    if not buckets:
        return []
    text = say("{buckets}, each to hold a bag's worth with room to mix", buckets=buckets)
    item, source = say("mixing buckets"), need.source("bucket")
    return [Material(item=item, amount=buckets, unit="piece", text=text, source=source)]
