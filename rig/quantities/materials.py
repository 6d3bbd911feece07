"""What else to have on site, from rules that are stated, sourced and the user's to change.

A rule is an amount per square metre, per metre of edge, per bag or per job, or a measure that
others reckon with (a sheet's length). Rules kept in the job stand before those given here.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal

from rig.errors import BadInput
from rig.quantities.bags import BagSheet
from rig.room import Outline
from rig.units import (
    counted,
    format_length,
    format_place,
    format_volume,
    parse_length,
    parse_volume,
)

PRACTICE = "common practice, no source"
SHEET = "common practice, no source: the product's own sheet rules"


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


@dataclass(frozen=True)
class Material:
    """Something to have on site; `text` is for people, `source` says where its rule is from."""

    item: str
    amount: float
    unit: str
    text: str
    source: str

    def as_dict(self) -> dict[str, Any]:
        """As `rig plan --json` prints it."""
        return {
            "item": self.item,
            "amount": self.amount,
            "unit": self.unit,
            "text": self.text,
            "source": self.source,
        }


_IN = 25.4
RULES = (
    Rule("primer", "primer ready to use on the floor", SHEET, "m2", 0.15, "l"),
    Rule("primer_dilution", "parts of water to one of primer", SHEET, "job", 3.0, "part"),
    Rule("lath", "layers of lath over the floor, 0 for none", SHEET, "m2", 1.0, "part"),
    Rule("lath_width", "width of a lath sheet", PRACTICE, "job", 27.0 * _IN, "mm"),
    Rule("lath_length", "length of a lath sheet", PRACTICE, "job", 96.0 * _IN, "mm"),
    Rule("lath_overlap", "least overlap of lath sheets", PRACTICE, "job", 1.0 * _IN, "mm"),
    Rule("staple_spacing", "staples each way on lath", PRACTICE, "job", 6.0 * _IN, "mm"),
    Rule("joist_spacing", "joists, middle to middle", PRACTICE, "job", 16.0 * _IN, "mm"),
    Rule("screw_spacing", "screws along joists and between", PRACTICE, "job", 6.0 * _IN, "mm"),
    Rule("screws", "1 to screw plywood down, 0 for no wood", PRACTICE, "m2", 1.0, "part"),
    Rule("edge_strip", "edge strip along walls and openings", PRACTICE, "m", 1.0, "m", 15.24),
    Rule("panel_width", "width of a floor panel", PRACTICE, "job", 48.0 * _IN, "mm"),
    Rule("panel_length", "length of a floor panel", PRACTICE, "job", 96.0 * _IN, "mm"),
    Rule("seam_sealer", "sealer in a metre of panel seam", PRACTICE, "m", 0.03, "l", 0.3),
    Rule("wash_water", "water to wash tools and hands with", PRACTICE, "job", 20.0, "l"),
    Rule("bucket", "mixing buckets, one filled while one is poured", PRACTICE, "job", 3.0, "piece"),
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


def rules_of(units: str) -> list[Rule]:
    """Return the rules given here: in a metric job with rounded metric lengths."""
    metric = _METRIC_MM if units == "mm" else {}
    return [replace(rule, amount=metric.get(rule.key, rule.amount)) for rule in RULES]


def rules_with(kept: Iterable[Mapping[str, Any]], units: str = "in") -> list[Rule]:
    """All rules, those kept in a job (rows of its table) in place of those given here."""
    mine = {row["key"]: row for row in kept}
    return [
        replace(
            rule,
            text=mine[rule.key]["text"],
            source=mine[rule.key]["source"],
            amount=float(mine[rule.key]["amount"]),
            package=mine[rule.key]["package"],
        )
        if rule.key in mine
        else rule
        for rule in rules_of(units)
    ]


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
        raise BadInput(f"“{text}” changes no rule. Write KEY=VALUE; keys: {', '.join(_BY_KEY)}.")
    what = f"--material {key}"
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
            raise BadInput(f"{what} “{value}” must be a number from 0 up: {rule.text}.")
    if key in _NOT_ZERO and amount < 1.0:
        raise BadInput(f"{what} must be more than 0: {rule.text}.")
    return replace(rule, amount=amount, source="as set in this job")


def materials_for(
    outline: Outline, bags: int, sheet: BagSheet, rules: Iterable[Rule], units: str
) -> list[Material]:
    """What the room takes beside compound, each with the rule it stands on.

    Parameters
    ----------
    outline : Outline
    bags : int
        To mix.
    sheet : BagSheet
        For the mixing water.
    rules : iterable of Rule
        As `rules_with` gives them.
    units : {'in', 'mm'}
        Of the texts.
    """
    rule = {one.key: one for one in rules}

    def amount(key: str) -> float:
        return rule[key].amount

    def source(*keys: str) -> str:
        told = dict.fromkeys(rule[key].source for key in keys)
        if SHEET in told:
            told.pop(PRACTICE, None)  # it says as much
        return "; ".join(told)

    def length(mm: float) -> str:
        return format_length(mm, units)

    area = outline.area_m2
    doors_mm = sum(door.width_mm for door in outline.doors)
    edge_mm = max(outline.polygon.length - doors_mm, 0.0)
    found = []

    ready = area * amount("primer")
    if ready > 0:
        pure = ready / (1.0 + amount("primer_dilution"))
        found.append(
            Material(
                "primer",
                pure,
                "l",
                f"{format_volume(pure, units, liquid=True)} and "
                f"{format_volume(ready - pure, units, liquid=True)} of water "
                f"({amount('primer_dilution'):g} to 1)",
                source("primer", "primer_dilution"),
            )
        )
    if amount("lath") > 0:
        width, long = amount("lath_width"), amount("lath_length")
        lap = amount("lath_overlap")
        if lap >= min(width, long):
            raise BadInput("The lath's overlap is as wide as its sheet; mend the rule.")
        sheets = _up(amount("lath") * area * 1e6 / ((width - lap) * (long - lap)))
        staples = _up(amount("lath") * area * 1e6 / amount("staple_spacing") ** 2)
        found += [
            Material(
                "lath",
                sheets,
                "piece",
                f"{counted(sheets, 'sheet')} of {length(width)} by {length(long)}, overlapping by "
                f"{length(lap)} (where the compound's sheet asks for it; --material lath=0 leaves "
                "it out)",
                source("lath", "lath_width", "lath_length", "lath_overlap"),
            ),
            Material(
                "staples",
                staples,
                "piece",
                f"{staples}, every {length(amount('staple_spacing'))} each way",
                source("staple_spacing"),
            ),
        ]
    if amount("screws") > 0:
        pitch = amount("joist_spacing") * amount("screw_spacing")
        count = _up(amount("screws") * area * 1e6 / pitch)
        every = length(amount("screw_spacing"))
        along_mm, between_mm, plywood_mm = _SCREWS_MM[units]
        found += [
            Material(
                "screws along joists",
                count,
                "piece",
                f"{count} of {length(along_mm)}, every {every} (plywood; --material screws=0 for "
                "none)",
                source("screws", "joist_spacing", "screw_spacing"),
            ),
            Material(
                "screws between joists",
                count,
                "piece",
                f"{count} of {length(between_mm)}, every {every} along the middle, "
                f"for plywood of {length(plywood_mm)} in all",
                source("screws", "joist_spacing", "screw_spacing"),
            ),
        ]
    strip = edge_mm / 1000.0 * amount("edge_strip")
    if strip > 0:
        found.append(
            Material(
                "edge strip",
                strip,
                "m",
                f"{format_place(strip * 1000.0, units)} along walls and openings less doorways"
                + _packages(strip, rule["edge_strip"], "roll"),
                source("edge_strip"),
            )
        )
    if amount("seam_sealer") > 0 and amount("screws") > 0:
        # Each panel has half its rim, the rest is its neighbours'.
        wide, long = amount("panel_width"), amount("panel_length")
        seams_m = area * 1e6 * (wide + long) / (wide * long) / 1000.0
        sealer = seams_m * amount("seam_sealer")
        found.append(
            Material(
                "seam sealer",
                sealer,
                "l",
                f"{format_volume(sealer, units, liquid=True)} for "
                f"{format_place(seams_m * 1000.0, units)} of panel seams"
                + _packages(sealer, rule["seam_sealer"], "cartridge"),
                source("panel_width", "panel_length", "seam_sealer"),
            )
        )
    wash = amount("wash_water")
    found.append(
        Material(
            "water",
            bags * sheet.water_l + wash,
            "l",
            f"{format_volume(sheet.water_l, units, liquid=True)} a bag, "
            f"{format_volume(bags * sheet.water_l, units, liquid=True)} to mix all, "
            f"{format_volume(wash, units, liquid=True)} to wash",
            f"{sheet.source}; {source('wash_water')}",
        )
    )
    buckets = _up(amount("bucket"))
    if buckets:
        found.append(
            Material(
                "mixing buckets",
                buckets,
                "piece",
                f"{buckets}, each to hold a bag's worth with room to mix",
                source("bucket"),
            )
        )
    return found


def _packages(amount: float, rule: Rule, name: str) -> str:
    if not rule.package:
        return ""
    return f": {counted(_up(amount / rule.package), name)}"


def _up(amount: float) -> int:
    return math.ceil(amount - 1e-9)
