"""What a quote stands on, and what it is told by."""

from collections.abc import Mapping
from typing import Protocol

from rig.words import money, numeral, put, say, say_many


def depth_guessed() -> str:
    """Say how far a depth by eye is trusted."""
    return say(
        "The depth is a guess by eye: 9 times in 10 the floor takes from 0.6 to 1.6 times as much "
        "(our own figure, no source)."
    )


def depth_looked(readings: int) -> str:
    """Say what a quick look is worth."""
    return say(
        "The depth is from {count} of a quick look, by how far floors rise over their mean; a "
        "survey narrows it.",
        count=say_many("{count} reading", "{count} readings", readings),
    )


def walls_assumed() -> str:
    """Say where the length of walls is from."""
    return say("The walls are those of a room one and a half times as long as wide.")


def hours_given() -> str:
    """Say that the hours are as given."""
    return say("Hours as given; 9 times in 10 within a third of them (our own figure, no source).")


def hours_learnt(crew: str, floors: int) -> str:
    """Say whose floors the hours are from."""
    return say(
        "Hours as {crew} took on {count} before.",
        crew=crew,
        count=say_many("{count} floor", "{count} floors", floors),
    )


def hours_by_book(rate: float) -> str:
    """Say that the price book gives the hours."""
    return say("Hours by the price book: {rate} a m².", rate=numeral(rate, "g"))


def hours_usual(rate: float) -> str:
    """Say what is assumed of the hours."""
    return say(
        "Hours are assumed, {rate} a m² for all hands (our own figure, no source): give --hours, "
        "a crew that has floors behind it, or hours_per_m2 in the price book.",
        rate=numeral(rate, "g"),
    )


def rounding(step: str, taxed: bool, by_line: bool) -> str:
    """Say how amounts and tax are rounded."""
    amount = numeral(step)
    if not taxed:
        return say("Amounts are rounded to {step}, halves up.", step=amount)
    if by_line:
        return say(
            "Amounts are rounded to {step}, halves up; tax is rounded on each line.", step=amount
        )
    return say(
        "Amounts are rounded to {step}, halves up; tax is rounded once, on the sum.", step=amount
    )


UNITS: Mapping[str, str] = {
    "bag": say("bag"),
    "m2": "m²",
    "ft2": say("ft²"),
    "m": "m",
    "ft": say("ft"),
    "hour": say("hour"),
    "job": say("once for the job"),
}
"""What lines of a price book are priced by."""


class _Priced(Protocol):
    @property
    def quantity(self) -> float: ...
    @property
    def unit(self) -> str: ...
    @property
    def item(self) -> str: ...
    @property
    def price(self) -> str: ...
    @property
    def amount(self) -> str: ...


class _Hangs(Protocol):
    @property
    def what(self) -> str: ...
    @property
    def low(self) -> str: ...
    @property
    def high(self) -> str: ...


def amount_of(one: _Priced, currency: str) -> str:
    """Write how many of a unit at what price; nothing where it is one for the job."""
    if one.unit == "job":
        return ""
    return say("{many} at {price}", many=_many(one), price=money(one.price, currency))


def _many(one: _Priced) -> str:
    match one.unit:
        case "bag":
            return say_many("{count} bag", "{count} bags", one.quantity)
        case "hour":
            return say_many("{count} hour", "{count} hours", one.quantity)
        case "ft":
            return say("{n} ft", n=numeral(one.quantity, "g"))
    return put("{n} {unit}", n=numeral(one.quantity, "g"), unit=UNITS[one.unit])


def line(one: _Priced, currency: str) -> str:
    """Write a line of a quote."""
    amount = money(one.amount, currency)
    if one.unit == "job":
        return say("{item}: {amount}", item=one.item, amount=amount)
    return say(
        "{item}: {many} at {price}: {amount}",
        item=one.item,
        many=_many(one),
        price=money(one.price, currency),
        amount=amount,
    )


def total(low: str, likely: str, high: str, currency: str) -> str:
    """Write what a job costs."""
    return say(
        "Likely {likely}; 9 times in 10 between {low} and {high}.",
        likely=money(likely, currency),
        low=money(low, currency),
        high=money(high, currency),
    )


def hangs_on(one: _Hangs, currency: str) -> str:
    """Say what the difference hangs on."""
    names = {
        "depth": say("how deep the floor turns out"),
        "floor": say("what the shots leave open of the floor"),
        "labour": say("the hours"),
    }
    return say(
        "With {what} alone: {low} to {high}.",
        what=names[one.what],
        low=money(one.low, currency),
        high=money(one.high, currency),
    )


def came_true(quoted: int, low: int, high: int, used: float) -> str:
    """Hold a quote against what came true."""
    text = say("Quoted {quoted} ({low} to {high}), used {used}.")
    return say(
        text,
        quoted=say_many("{count} bag", "{count} bags", quoted),
        low=low,
        high=high,
        used=numeral(used, "g"),
    )
