"""The few words that a prompt says, and how they sound when they are spoken.

A phrase says what to do with the marker, never what is wrong with it, and never which marker it
is: it must be read at two metres and heard over a mixer.
"""

import re
from typing import Literal

from rig.units import MM_PER_IN, format_amount

Move = Literal["raise", "lower", "hold"]

SET = "set"
SHOWN_STEP_MM = 0.5
"""Metric amounts are shown in half millimetres."""

# fmt: off
_ONES = [
    "zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten",
    "eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen",
    "nineteen",
]
_TENS = ["", "", "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"]
# fmt: on
_PARTS = {
    2: ("a half", "halves"),
    4: ("a quarter", "quarters"),
    8: ("an eighth", "eighths"),
    10: ("a tenth", "tenths"),
    16: ("a sixteenth", "sixteenths"),
    32: ("a thirty-second", "thirty-seconds"),
    64: ("a sixty-fourth", "sixty-fourths"),
}
_INCHES = re.compile(r"(raise|lower) (?:(\d+) )?(?:(\d+)/(\d+))?$|(raise|lower) (\d+)$")
_MILLIMETRES = re.compile(r"(raise|lower) (\d+)(?:\.(\d+))? mm$")


def move(residual_mm: float, tolerance_mm: float) -> Move:
    """Say what to do with a marker whose top stands `residual_mm` too high (negative: too low)."""
    if abs(residual_mm) <= tolerance_mm:
        return "hold"
    return "lower" if residual_mm > 0 else "raise"


def shown_step_mm(units: str, denominator: int) -> float:
    """Return the smallest amount that a prompt can show, in mm."""
    return MM_PER_IN / denominator if units == "in" else SHOWN_STEP_MM


def prompt(what: Move, by_mm: float, units: str, denominator: int) -> str:
    """Put a move into words: "raise 3/16", "lower 4.5 mm", "hold".

    Parameters
    ----------
    what : {"raise", "lower", "hold"}
        The move.
    by_mm : float
        Its unsigned amount; anything that would be shown as nothing is shown as the smallest
        step, because a marker out of tolerance has to move.
    units : {"in", "mm"}
        The job's units.
    denominator : int
        Inches are shown to the nearest 1/denominator.
    """
    if what == "hold":
        return what
    step = shown_step_mm(units, denominator)
    return f"{what} {format_amount(by_mm if round(by_mm / step) else step, units, denominator)}"


def spoken(text: str) -> str:
    """Turn a prompt's text into words that sound right; any other text comes back as it is.

    >>> spoken("raise 3/16")
    'raise three sixteenths'
    >>> spoken("lower 1 1/4")
    'lower one and a quarter'
    >>> spoken("raise 4.5 mm")
    'raise four and a half millimetres'
    """
    if match := _MILLIMETRES.match(text):
        what, whole, decimals = match.groups()
        return f"{what} {_millimetres(int(whole), (decimals or '').rstrip('0'))}"
    if match := _INCHES.match(text):
        what, whole, above, below, plain_what, plain = match.groups()
        if plain is not None:
            return f"{plain_what} {_number(int(plain))} {'inch' if int(plain) == 1 else 'inches'}"
        if above is not None:
            part = _part(int(above), int(below))
            return f"{what} {_number(int(whole))} and {part}" if whole else f"{what} {part}"
    return text


def _millimetres(whole: int, decimals: str) -> str:
    if decimals == "5":
        return f"{_number(whole)} and a half millimetres" if whole else "half a millimetre"
    if decimals:
        digits = " ".join(_ONES[int(digit)] for digit in decimals)
        return f"{_number(whole)} point {digits} millimetres"
    return f"{_number(whole)} {'millimetre' if whole == 1 else 'millimetres'}"


def _part(above: int, below: int) -> str:
    if below not in _PARTS:
        return f"{_number(above)} over {_number(below)}"
    one, many = _PARTS[below]
    return one if above == 1 else f"{_number(above)} {many}"


def _number(n: int) -> str:
    if n < 20:
        return _ONES[n]
    if n < 100:
        return _TENS[n // 10] + (f"-{_ONES[n % 10]}" if n % 10 else "")
    if n < 1000:
        rest = f" and {_number(n % 100)}" if n % 100 else ""
        return f"{_ONES[n // 100]} hundred{rest}"
    rest = f" {_number(n % 1000)}" if n % 1000 else ""
    return f"{_number(n // 1000)} thousand{rest}"
