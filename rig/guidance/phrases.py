"""The few words that a prompt says, and how they sound when they are spoken.

A phrase says what to do with the marker, never what is wrong with it, and never which marker it
is: it must be read at two metres and heard over a mixer.
"""

import re
from collections.abc import Mapping
from typing import Any

from rig.events import Move
from rig.units import MM_PER_IN, format_amount

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
_FOR_FINGERS = re.compile(r"\s*\(rig [^)]*\)")  # a command to type is no use to an ear
_FEET = re.compile(r"(\d+) ft\b")
_SOME_INCHES = re.compile(
    r"(?<![\d/.])(?:(\d+) (\d+)/(\d+)|(\d+)/(\d+)|(\d+)) in\b(?! the| a| strip)"
)
_METRIC = re.compile(r"(-?)(\d+)(?:\.(\d+))? (mm|m)\b(?!/)")
_MINUTES = re.compile(r"(\d+) min\b")
_LABEL = re.compile(r"\b([A-Z]{1,3})(\d{1,4})\b")
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


def sounding(text: str) -> str:
    """Turn the lengths, times and labels in any text into words that sound right.

    >>> sounding("C4: 6 ft from the door wall, 4 ft 6 1/2 in from the left wall")
    'C 4: six feet from the door wall, four feet six and a half inches from the left wall'
    >>> sounding("1.85 m from wall 1")
    'one point eight five metres from wall 1'
    """
    text = _FOR_FINGERS.sub("", text)
    text = _FEET.sub(lambda m: _counted(int(m[1]), "foot", "feet"), text)
    text = _SOME_INCHES.sub(_inches, text)
    text = _METRIC.sub(_metric, text)
    text = _MINUTES.sub(lambda m: _counted(int(m[1]), "minute", "minutes"), text)
    return _LABEL.sub(r"\1 \2", text.replace("\u2212", "minus "))


def done_text(told: Mapping[str, Any]) -> str:
    """Say that a walk is done, and what was left out of it."""
    what, key = ("skipped", "skipped") if "skipped" in told else ("not set", "left")
    labels = told.get(key)
    return f"Done; {what}: {', '.join(labels)}." if labels else "Done."


def spoken_event(told: Mapping[str, Any]) -> str:
    """What a voice says of an event, nothing where the ear need not hear of it."""
    match told["event"]:
        case "prompt":
            return spoken(told["text"])
        case "set":
            return SET
        case "next":
            label = told.get("marker")
            return sounding(f"next, {label}: {told['text']}" if label else f"next, {told['text']}")
        case "shot":
            return sounding(f"{told['label']} taken")
        case "skipped" | "undone":
            return sounding(f"{told['label']} {told['event']}")
        case "unset":
            return sounding(f"{told['marker']} no longer set")
        case "check":
            where = f": {told['text']}" if told["text"] else ""
            return sounding(f"check the line on {told['label']}{where}")
        case "checked" | "ask" | "trouble" | "notice" | "doubtful" | "edge" | "dry" | "front":
            return sounding(str(told["text"]))
        case "estimate" if told["short_bags"]:
            return sounding(str(told["text"]))
        case "batch":
            bags = told["bags_left"]
            left = _counted(int(bags), "bag", "bags") if bags == int(bags) else f"{bags:g} bags"
            return f"batch {_number(told['n'])} poured, {left} left"
        case "lost":
            return "rod lost"
        case "back":
            return "rod back"
        case "done":
            return "done"
    return ""


def _counted(n: int, one: str, many: str) -> str:
    return f"{_number(n)} {one if n == 1 else many}"


def _inches(found: re.Match[str]) -> str:
    whole, above, below, plain_above, plain_below, plain = found.groups()
    if plain is not None:
        return _counted(int(plain), "inch", "inches")
    part = _part(int(above or plain_above), int(below or plain_below))
    if whole is None:
        return f"{part.removeprefix('a ')} an inch" if part == "a half" else f"{part} of an inch"
    return f"{_number(int(whole))} and {part} inches"


def _metric(found: re.Match[str]) -> str:
    minus, whole, decimals, unit = found.groups()
    sign = "minus " if minus else ""
    decimals = (decimals or "").rstrip("0")
    if unit == "mm":
        return sign + _millimetres(int(whole), decimals)
    if decimals:
        return f"{sign}{_number(int(whole))} point {_digits(decimals)} metres"
    return sign + _counted(int(whole), "metre", "metres")


def _digits(decimals: str) -> str:
    return " ".join(_ONES[int(digit)] for digit in decimals)


def _millimetres(whole: int, decimals: str) -> str:
    if decimals == "5":
        return f"{_number(whole)} and a half millimetres" if whole else "half a millimetre"
    if decimals:
        return f"{_number(whole)} point {_digits(decimals)} millimetres"
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
