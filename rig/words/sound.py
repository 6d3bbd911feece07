"""How what is written sounds when it is spoken: a prompt's few words, and any other sentence."""

import re

from rig.language import changed, current

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


def spoken(text: str) -> str:
    """Turn a prompt's text into words that sound right; any other text comes back as it is.

    >>> spoken("raise 3/16")
    'raise three sixteenths'
    >>> spoken("lower 1 1/4")
    'lower one and a quarter'
    >>> spoken("raise 4.5 mm")
    'raise four and a half millimetres'

    In another language it stays as it is written, which is how a voice of that language reads it.
    """
    return changed(text, _spoken)


def _spoken(text: str) -> str:
    if current().key != "en":
        return text
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

    In another language only labels are parted and commands to type left out.
    """
    return changed(text, _sounding)


def _sounding(text: str) -> str:
    text = _FOR_FINGERS.sub("", text)
    if current().key != "en":
        return _LABEL.sub(r"\1 \2", text)
    text = _FEET.sub(lambda m: _counted(int(m[1]), "foot", "feet"), text)
    text = _SOME_INCHES.sub(_inches, text)
    text = _METRIC.sub(_metric, text)
    text = _MINUTES.sub(lambda m: _counted(int(m[1]), "minute", "minutes"), text)
    return _LABEL.sub(r"\1 \2", text.replace("\u2212", "minus "))


def number_aloud(value: float) -> str:
    """Write a count as a voice says it: `twelve`, or `2.5` as it is.

    >>> number_aloud(12.0)
    'twelve'
    """
    return _number(int(value)) if value == int(value) else f"{value:g}"


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
