"""A price book, and what a job costs by it: decimals from end to end, never floats.

An amount is quantity times price, rounded to the book's `rounding` (a hundredth unless said),
halves away from zero. Margin and tax are shares of the lines before them; each is rounded once on
their sum, or, with `tax_rounding = "line"`, the tax of each line for itself.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from decimal import ROUND_HALF_UP, Decimal, InvalidOperation
from pathlib import Path
from typing import Any

from rig.errors import BadInput
from rig.language import join, numeral, say
from rig.record import Record
from rig.texts import name_of, read_toml, toml_string

UNITS = ("bag", "m2", "ft2", "m", "ft", "hour", "job")
_FT2, _FT = Decimal("0.09290304"), Decimal("0.3048")
_KEYS = ("currency", "tax", "margin", "rounding", "tax_rounding", "hours_per_m2", "line")
_LINE = ("item", "unit", "price")
QUANTITY = Decimal("0.01")
MOST_LINES = 200


@dataclass(frozen=True)
class Priced:
    """A line of a price book: what one `unit` of an item costs."""

    item: str
    unit: str
    price: Decimal


@dataclass(frozen=True)
class PriceBook:
    """What the user charges.

    Attributes
    ----------
    lines : tuple of Priced
    currency : str
        In the user's own letters; empty where none was said.
    tax, margin : Decimal or None
        Shares: 0.19 for 19 %.
    rounding : Decimal
        What amounts are rounded to.
    tax_by_line : bool
        Whether tax is rounded line by line, not once on the sum.
    hours_per_m2 : Decimal or None
    """

    lines: tuple[Priced, ...]
    currency: str = ""
    tax: Decimal | None = None
    margin: Decimal | None = None
    rounding: Decimal = Decimal("0.01")
    tax_by_line: bool = False
    hours_per_m2: Decimal | None = None


@dataclass(frozen=True)
class Quantities:
    """What a job takes, in the units that lines are priced by."""

    bags: int
    area_m2: float
    edge_m: float
    hours: float

    def of(self, unit: str) -> Decimal:
        """Return how many of a unit, to a hundredth."""
        area, edge = _exact(self.area_m2), _exact(self.edge_m)
        many = {
            "bag": Decimal(self.bags),
            "m2": area,
            "ft2": area / _FT2,
            "m": edge,
            "ft": edge / _FT,
            "hour": _exact(self.hours),
            "job": Decimal(1),
        }
        return many[unit].quantize(QUANTITY, ROUND_HALF_UP)


@dataclass(frozen=True, slots=True, kw_only=True)
class QuoteLine(Record):
    """A line of a quote; price and amount are decimal texts."""

    item: str
    quantity: float
    unit: str
    price: str
    amount: str


def read_prices(path: Path) -> PriceBook:
    """Read a price book.

    Raises
    ------
    BadInput
        Naming the key or the line that is missing or wrong.
    """
    return parse_prices(read_toml(path, say("a price book is a TOML file")), path.name)


def parse_prices(told: Mapping[str, Any], name: str) -> PriceBook:
    """Turn a price book's keys into a book; `name` is for the refusals."""
    unknown = sorted(set(told) - set(_KEYS))
    if unknown:
        raise BadInput(
            say(
                "{name} has the key {unknown!r}; the keys are {keys}.",
                name=name,
                unknown=unknown[0][:40],
                keys=join(", ", _KEYS),
            )
        )
    lines = told.get("line")
    if not isinstance(lines, list) or not lines:
        raise BadInput(
            say("{name} has no line: write [[line]] with item, unit and price.", name=name)
        )
    if len(lines) > MOST_LINES:
        raise BadInput(say("{name} has over {most_lines} lines.", name=name, most_lines=MOST_LINES))
    rounding = _money(told.get("rounding", "0.01"), say("{name}: rounding", name=name))
    if not Decimal("0.0001") <= rounding <= 100:
        raise BadInput(say('{name}: rounding must be from 0.0001 to 100, as "0.01".', name=name))
    by = told.get("tax_rounding", "sum")
    if by not in ("sum", "line"):
        raise BadInput(say('{name}: tax_rounding must be "sum" or "line".', name=name))
    currency = told.get("currency", "")
    if not isinstance(currency, str):
        raise BadInput(say('{name}: currency must be text in quotes, as "EUR".', name=name))
    hours = told.get("hours_per_m2")
    return PriceBook(
        lines=tuple(
            _line(one, say("{name}, line {n}", name=name, n=n)) for n, one in enumerate(lines, 1)
        ),
        currency=name_of(currency, say("{name}: currency", name=name)) if currency.strip() else "",
        tax=_share(told.get("tax"), say("{name}: tax", name=name)),
        margin=_share(told.get("margin"), say("{name}: margin", name=name)),
        rounding=rounding,
        tax_by_line=by == "line",
        hours_per_m2=None
        if hours is None
        else _money(hours, say("{name}: hours_per_m2", name=name)),
    )


def prices_text(told: Mapping[str, Any]) -> str:
    """Write a price book's keys as TOML, to be read by `read_prices`."""
    head = [f"{key} = {toml_string(str(value))}" for key, value in told.items() if key != "line"]
    lines = [
        "\n".join(["", "[[line]]", *(f"{key} = {toml_string(str(one[key]))}" for key in _LINE)])
        for one in told["line"]
    ]
    return "\n".join([*head, *lines, ""])


def with_compound(book: PriceBook, product: str, price: str | None) -> PriceBook:
    """Return a book that prices the compound: by a line of its own, else by the product's price.

    A line a bag prices the compound where its item says compound or bags or is the product's name
    or, where the product has no price, in any case.

    Raises
    ------
    BadInput
        Where neither says what a bag costs.
    """

    def prices_it(line: Priced) -> bool:
        item = line.item.casefold()
        return line.unit == "bag" and (
            "compound" in item or item in ("bag", "bags", product.casefold())
        )

    by_bag = any(line.unit == "bag" for line in book.lines)
    if any(map(prices_it, book.lines)) or (price is None and by_bag):
        return book
    if price is None:
        raise BadInput(
            say(
                'The price book has no line with unit = "bag", and the product has no price: '
                "add the line, or rig product edit --price 18.50."
            )
        )
    compound = Priced(say("compound"), "bag", Decimal(price))
    return replace(book, lines=(compound, *book.lines))


def priced(book: PriceBook, takes: Quantities) -> tuple[QuoteLine, ...]:
    """Return the lines of a quote; their amounts add up to its total."""
    found, amounts = [], []
    for line in book.lines:
        many = takes.of(line.unit)
        amount = rounded(many * line.price, book.rounding)
        amounts.append(amount)
        found.append(_quoted(line.item, many, line.unit, line.price, amount))
    if book.margin is not None:
        margin = rounded(sum(amounts, Decimal(0)) * book.margin, book.rounding)
        amounts.append(margin)
        found.append(
            _quoted(
                say("margin {percent}", percent=_percent(book.margin)),
                Decimal(1),
                "job",
                margin,
                margin,
            )
        )
    if book.tax is not None:
        if book.tax_by_line:
            tax = sum((rounded(one * book.tax, book.rounding) for one in amounts), Decimal(0))
        else:
            tax = rounded(sum(amounts, Decimal(0)) * book.tax, book.rounding)
        found.append(
            _quoted(say("tax {percent}", percent=_percent(book.tax)), Decimal(1), "job", tax, tax)
        )
    return tuple(found)


def total_of(lines: Iterable[QuoteLine]) -> Decimal:
    """Return what lines add up to."""
    return sum((Decimal(line.amount) for line in lines), Decimal(0))


def _quoted(item: str, many: Decimal, unit: str, price: Decimal, amount: Decimal) -> QuoteLine:
    return QuoteLine(
        item=item, quantity=float(many), unit=unit, price=f"{price:f}", amount=f"{amount:f}"
    )


def rounded(amount: Decimal, step: Decimal) -> Decimal:
    """Round to a multiple of a step, halves away from zero."""
    return (amount / step).quantize(Decimal(1), ROUND_HALF_UP) * step


def _exact(value: float) -> Decimal:
    return Decimal(repr(float(value)))


def _percent(share: Decimal) -> str:
    return say("{n}%", n=numeral(f"{(100 * share).normalize():f}"))


def _line(told: object, what: str) -> Priced:
    if not isinstance(told, dict):
        raise BadInput(say("{what}: write [[line]] with item, unit and price.", what=what))
    unknown = sorted(set(told) - set(_LINE))
    if unknown:
        raise BadInput(
            say(
                "{what} has the key {unknown!r}; it takes item, unit and price.",
                what=what,
                unknown=unknown[0][:40],
            )
        )
    for key in _LINE:
        if key not in told:
            raise BadInput(
                say("{what} has no {key}: each line has item, unit and price.", what=what, key=key)
            )
    item, unit = told["item"], told["unit"]
    if not isinstance(item, str):
        raise BadInput(say("{what}: item must be text in quotes.", what=what))
    if unit not in UNITS:
        raise BadInput(
            say(
                "{what}: unit {unit!r} is none of {units}.",
                what=what,
                unit=str(unit)[:40],
                units=join(", ", UNITS),
            )
        )
    return Priced(
        name_of(item, say("{what}: item", what=what)),
        unit,
        _money(told["price"], say("{what}: price", what=what)),
    )


def _money(told: object, what: str) -> Decimal:
    # A bare 18.50 in TOML is a float already: what was written is lost.
    if not isinstance(told, str):
        raise BadInput(
            say('{what} is {told}: write it in quotes, as "18.50".', what=what, told=str(told)[:40])
        )
    text = told.strip()
    try:
        value = Decimal(text) if len(text) <= 15 else Decimal("NaN")
    except InvalidOperation:
        value = Decimal("NaN")
    if not value.is_finite() or value < 0 or "e" in text.lower():
        raise BadInput(
            say(
                '{what} {text!r} is no sum of money; write it as "18.50".',
                what=what,
                text=text[:40],
            )
        )
    return value


def _share(told: object, what: str) -> Decimal | None:
    if told is None:
        return None
    if not isinstance(told, str) or not told.strip().endswith("%"):
        raise BadInput(say('{what} must be a percentage in quotes, as "19%".', what=what))
    value = _money(told.strip()[:-1], what)
    if value > 1000:
        raise BadInput(say("{what} {told!r} is over 1000 %.", what=what, told=told[:40]))
    return value / 100
