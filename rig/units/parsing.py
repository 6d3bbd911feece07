"""Lengths and quantities as people write them: text into mm, l, kg and s.

Everything is computed with exact fractions and rounded once, so that `2 1/4 in` comes out of a
printed length as it was written.
"""

import functools
import re
from collections.abc import Callable, Mapping
from fractions import Fraction

from rig.errors import BadInput
from rig.language import join, numeral, say

LENGTH_FORMS = say("2 1/4in, 1' 3 5/8\", 57mm, 5.7cm or 0.188ft")
METRIC_FORMS, INCH_FORMS = say("57mm, 5.7cm or 0.057m"), "2 1/4in, 1' 3 5/8\" or 0.188ft"
VOLUME_FORMS = "12l, 500ml, 0.45ft3 or 2 1/2gal"
MASS_FORMS = "25kg, 500g or 50lb"
DURATION_FORMS = "90s, 20min, 1.5h or 1h 30min"
PERCENT_FORMS = "5% or 0.5%"
SLOPE_FORMS = say("5mm/m, 1/8in/ft or 0.5%")

_LARGEST = 1e7  # 10 km, 10 000 m3, 10 000 t, 115 days: more is a slip, not a floor
_LONGEST_TEXT = 60

INCH, FOOT = Fraction("25.4"), Fraction("304.8")


def _table(**words: tuple[Fraction, str]) -> dict[str, Fraction]:
    return {word: size for size, names in words.values() for word in names.split()}


_LENGTHS = _table(
    mm=(Fraction(1), say("mm millimetre millimetres millimeter millimeters")),
    cm=(Fraction(10), say("cm centimetre centimetres centimeter centimeters")),
    m=(Fraction(1000), say("m metre metres meter meters")),
    inch=(INCH, say('in inch inches "')),
    ft=(FOOT, say("ft foot feet '")),
)
_VOLUMES = _table(
    l=(Fraction(1), say("l litre litres liter liters")),
    ml=(Fraction(1, 1000), say("ml millilitre millilitres milliliter milliliters")),
    gal=(Fraction("3.785411784"), say("gal gals gallon gallons")),
    qt=(Fraction("3.785411784") / 4, say("qt qts quart quarts")),
    ft3=(Fraction("28.316846592"), "ft3 ft^3 cuft"),
    m3=(Fraction(1000), "m3 m^3"),
)
_MASSES = _table(
    kg=(Fraction(1), say("kg kilogram kilograms")),
    g=(Fraction(1, 1000), say("g gram grams")),
    lb=(Fraction("0.45359237"), say("lb lbs pound pounds")),
)
_DURATIONS = _table(
    s=(Fraction(1), say("s sec secs second seconds")),
    min=(Fraction(60), say("min mins minute minutes")),
    h=(Fraction(3600), say("h hr hrs hour hours")),
)
_PERCENTS = _table(percent=(Fraction(1, 100), "% percent"))
_METRIC = frozenset({Fraction(1), Fraction(10), Fraction(1000)})

_COMMA = re.compile(r"\s*[+-]?([0-9]+),([0-9]+) ?([a-zA-Z%]+(?:\^?3|/m)?)?\s*")
_WITH_COMMA = frozenset(
    [word for word, size in _LENGTHS.items() if size in _METRIC]
    + ["l", "litre", "litres", "liter", "liters", "ml", "m3", "m^3", "kg", "g", "%", "mm/m", "cm/m"]
)

_NUMBER = r"[0-9.](?:[0-9./ -]*[0-9.])?"
_DECIMAL = re.compile(r"[0-9]+\.?[0-9]*|\.[0-9]+")
INCH_DENOMINATORS = (2, 4, 8, 16, 32, 64, 128)
_FRACTION = re.compile(r"(?:([0-9]+)[ -])?([0-9]+) ?/ ?([0-9]+)")
_SIDE_BY_SIDE = re.compile(r"[0-9.]+ [0-9.]+")
_VULGAR = {"¼": "1/4", "½": "1/2", "¾": "3/4", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8"}
_PLAIN = str.maketrans(
    {
        **dict.fromkeys("′’‘ʹ´`", "'"),
        **dict.fromkeys("″”“ʺ„", '"'),
        **dict.fromkeys("−–‐‑", "-"),
        "⁄": "/",
        "³": "3",
        "²": "2",
        **_VULGAR,
    }
)
_BARE = re.compile(r"([-+]?[0-9]{1,12})(?:\.([0-9]{1,12}))?")
_BEFORE_VULGAR = re.compile(rf"(?<=[0-9])(?=[{''.join(_VULGAR)}])")


def parse_length(
    text: str,
    *,
    unit: str | None = None,
    what: str = "length",
    above: float | None = None,
    least: float | None = None,
    forms: str = LENGTH_FORMS,
) -> float:
    """
    Read a length as people write it.

    Parameters
    ----------
    text : str
        `2 1/4"`, `2-1/4in`, `2.25 in`, `1' 3 5/8"`, `1ft 3in`, `57mm`, `5.7 cm`, `1.2m`,
        `0.188 ft`, with a leading sign where wanted.
    unit : {'mm', 'cm', 'm', 'in', 'ft'}, optional
        What a bare number is taken as. Without it a bare number is refused.
    what : str
        Name of the thing in the refusal ("--spacing", "line 4: reading").
    above, least : float, optional
        The length must be more than `above`, or no less than `least` (mm).
    forms : str
        What a refusal says may be written.

    Returns
    -------
    float
        Millimetres, rounded once from the exact value.

    Raises
    ------
    BadInput
        Where the text is ambiguous or no length; the accepted forms are named.
    """
    if unit is not None and unit not in ("mm", "cm", "m", "in", "ft"):
        raise BadInput(
            say("“{unit}” is not a unit for lengths; use mm, cm, m, in or ft.", unit=quotable(unit))
        )
    if unit is not None and above is None and least is None:
        bare_mm = _bare_decimal(text, _LENGTHS[unit])
        if bare_mm is not None:
            return bare_mm
    sign, parts = _split(text, what, _LENGTHS, forms)

    def refused(reason: str) -> BadInput:
        return _refusal(what, text, reason, forms)

    number, word = parts[-1]
    if len(parts) == 1:
        if not word and unit is None:
            raise refused(
                say("the unit is missing, and the number could be inches, feet or millimetres")
            )
        size = _LENGTHS[word or str(unit)]
        if size in _METRIC and "/" in number:
            raise refused(say("fractions go with inches and feet, metric lengths are decimal"))
        if size == INCH:
            _refuse_odd_fraction(number, refused)
        value = _exact(number, what, text, forms) * size
    else:
        value = _feet_and_inches(parts, what, text, refused)
    return _checked(sign * value, what, text, forms, above, least, "mm")


def _bare_decimal(text: str, size: Fraction) -> float | None:
    """Return a plain decimal times a unit's size, or None for all that needs a closer look.

    Most cells of a table are such; one division of whole numbers rounds as exactly, and sooner.
    """
    found = _BARE.fullmatch(text)
    if found is None:
        return None
    decimals = found[2] or ""
    value = int(found[1] + decimals) * size.numerator / (size.denominator * 10 ** len(decimals))
    return value if abs(value) <= _LARGEST else None


def with_point(text: str, unit: str | None = None) -> str:
    """
    Write a metric quantity with a decimal comma with a point: `6,5mm`, `1,25 l`, `2,5 %`.

    Parameters
    ----------
    text : str
        As people write it.
    unit : str, optional
        What a bare number is.

    Returns
    -------
    str
        The text itself where the comma is none of a decimal, or may part thousands: `1,220mm`.
    """
    found = _COMMA.fullmatch(text)
    if found is None:
        return text
    whole, decimals, word = found.groups()
    word = (word or unit or "").lower()
    if word not in _WITH_COMMA:
        return text
    parts_thousands = len(decimals) == 3 and whole.strip("0") and _LENGTHS.get(word) != 1000
    return text if parts_thousands else text.replace(",", ".")


def _feet_and_inches(
    parts: list[tuple[str, str]], what: str, text: str, refused: Callable[[str], BadInput]
) -> Fraction:
    feet, first_word = parts[0]
    number, word = parts[-1]
    if len(parts) > 2 or _LENGTHS.get(first_word) != FOOT:
        raise refused(say("only feet and then inches can be written together"))
    if not word:
        raise refused(say("the number after the feet has no unit"))
    if _LENGTHS[word] != INCH:
        raise refused(say("only inches can follow feet"))
    if not feet.isdigit():
        raise refused(say("feet that inches follow must be a whole number"))
    _refuse_odd_fraction(number, refused)
    inches = _exact(number, what, text, LENGTH_FORMS)
    if inches >= 12:
        raise refused(say("the inches after feet must be less than 12"))
    return int(feet) * FOOT + inches * INCH


def parse_volume(
    text: str, *, what: str = "volume", above: float | None = None, least: float | None = 0.0
) -> float:
    """Read a volume (l, ml, US gal, US qt, ft3, m3) into litres; the unit must be given."""
    plain = re.sub(r"(?i)\b(?:cu\.?|cubic) ?(ft|feet|foot)\b", "cuft", text)
    return _parse(plain, what, _VOLUMES, VOLUME_FORMS, above, least, "l", shown=text)


def parse_mass(
    text: str, *, what: str = "mass", above: float | None = None, least: float | None = 0.0
) -> float:
    """Read a mass (kg, g, lb) into kilograms; the unit must be given."""
    return _parse(text, what, _MASSES, MASS_FORMS, above, least, "kg")


def parse_duration(
    text: str,
    *,
    bare: str | None = None,
    what: str = "time",
    above: float | None = None,
    least: float | None = 0.0,
) -> float:
    """
    Read a duration (s, min, h, or `1h 30min`) into seconds.

    Parameters
    ----------
    text : str
        The duration as typed.
    bare : {'s', 'min', 'h'}, optional
        What a bare number is taken as. Without it a bare number is refused.
    what : str
        Name of the thing in the refusal.
    above, least : float, optional
        The duration must be more than `above`, or no less than `least` (s).
    """
    return _parse(text, what, _DURATIONS, DURATION_FORMS, above, least, "s", bare=bare)


def parse_percent(
    text: str, *, what: str = "percentage", above: float | None = None, least: float | None = 0.0
) -> float:
    """Read a percentage into a fraction: `5%` is 0.05. The sign % must be given."""
    plain = re.sub(r"(?i)\bper cent\b", "percent", text)
    return _parse(plain, what, _PERCENTS, PERCENT_FORMS, above, least, "", shown=text)


def parse_slope(text: str, *, what: str = "slope") -> float:
    """
    Read a slope into a ratio: `5mm/m`, `1/8in/ft` and `0.5%` are 0.005, 0.0104 and 0.005.

    Raises
    ------
    BadInput
        Where it is neither a percentage nor a length over a length, is negative, or more than 1.
    """
    if "%" in text or "percent" in text.lower():
        return _slope(parse_percent(text, what=what), what, text)
    rise, slash, run = text.rpartition("/")
    run = run.strip().lower()
    if not slash or run not in _LENGTHS:
        raise _refusal(what, text, say("it is no rise over a length"), SLOPE_FORMS)
    try:
        rise_mm = parse_length(rise, what=what, least=0.0)
    except BadInput:
        raise _refusal(
            what, text, say("the rise before the / cannot be read"), SLOPE_FORMS
        ) from None
    return _slope(rise_mm / float(_LENGTHS[run]), what, text)


def _slope(ratio: float, what: str, text: str) -> float:
    if ratio > 1.0:
        raise _refusal(what, text, say("no floor is that steep"), SLOPE_FORMS)
    return ratio


def _parse(
    text: str,
    what: str,
    table: Mapping[str, Fraction],
    forms: str,
    above: float | None,
    least: float | None,
    base: str,
    *,
    bare: str | None = None,
    shown: str | None = None,
) -> float:
    """Sum of number-unit pairs, largest unit first; several only where they are durations."""
    shown = text if shown is None else shown
    sign, parts = _split(text, what, table, forms, shown)
    if len(parts) > 1 and table is not _DURATIONS:
        raise _refusal(what, shown, say("one number with one unit is enough"), forms)
    if bare is not None and bare not in table:
        raise BadInput(
            say(
                "“{bare}” is not a unit for this; use {table}.",
                bare=quotable(bare),
                table=join(", ", table),
            )
        )
    value, last = Fraction(0), None
    for number, word in parts:
        if not word and (bare is None or len(parts) > 1):
            raise _refusal(what, shown, say("the unit is missing"), forms)
        size = table[word or str(bare)]
        if last is not None and size >= last:
            raise _refusal(
                what, shown, say("the larger unit must come first, each only once"), forms
            )
        value, last = value + _exact(number, what, shown, forms) * size, size
    return _checked(sign * value, what, shown, forms, above, least, base)


@functools.cache
def _pair(known: tuple[str, ...]) -> re.Pattern[str]:
    words = "|".join(re.escape(word) for word in sorted(known, key=len, reverse=True))
    return re.compile(rf"({_NUMBER}) ?((?:{words})(?![a-z])(?:\.(?![0-9]))?|[a-z]+|)")


def _split(
    text: str, what: str, table: Mapping[str, Fraction], forms: str, shown: str | None = None
) -> tuple[int, list[tuple[str, str]]]:
    """Sign and (number, unit) pairs of a text; the unit may be missing, but is never unknown."""
    shown = text if shown is None else shown
    plain = _BEFORE_VULGAR.sub(" ", text).translate(_PLAIN)
    plain = join(" ", plain.replace("''", '"').lower().split())
    if not plain:
        raise _refusal(what, shown, say("it is empty"), forms)
    if len(plain) > _LONGEST_TEXT:
        raise _refusal(what, shown, say("it is too long to be one quantity"), forms)
    if "," in plain:
        raise _refusal(what, shown, say("the comma is ambiguous, decimals take a point"), forms)
    pair = _pair(tuple(table))
    sign = -1 if plain[0] == "-" else 1
    rest = plain[1:].lstrip() if plain[0] in "+-" else plain
    if not rest:
        raise _refusal(what, shown, say("there is no number"), forms)
    parts: list[tuple[str, str]] = []
    while rest:
        found = pair.match(rest)
        if found is None:
            raise _refusal(what, shown, say("it cannot be read"), forms)
        number, word = found[1], found[2].rstrip(".")
        if word and word not in table:
            raise _refusal(what, shown, say("“{word}” is not a unit for it", word=word), forms)
        parts.append((number, word))
        rest = rest[found.end() :]
        # drawings write feet and inches with a hyphen between: 12'-6"
        rest = re.sub(r"^(?: - |-(?! )| )(?=.)", "", rest, count=1)
    return sign, parts


def _refuse_odd_fraction(number: str, refused: Callable[[str], BadInput]) -> None:
    """Refuse a fraction of an inch that no tape shows: a slip that would pass for a reading."""
    found = _FRACTION.fullmatch(number)
    if found is None or int(found[3]) == 0:
        return
    top, bottom = int(found[2]), int(found[3])
    if bottom not in INCH_DENOMINATORS:
        raise refused(say("an inch is parted in halves, quarters, 8ths, 16ths, 32nds or 64ths"))
    if top >= bottom and not found[1]:
        raise refused(
            say(
                "the top of its fraction is no smaller than the bottom, and a space may be "
                "missing, as in 48 3/16"
            )
        )


def _exact(number: str, what: str, text: str, forms: str) -> Fraction:
    """Value of `2.25`, `2 1/4`, `2-1/4` or `1/4`."""
    if _DECIMAL.fullmatch(number):
        return Fraction(number)
    if found := _FRACTION.fullmatch(number):
        whole, top, bottom = int(found[1] or 0), int(found[2]), int(found[3])
        if bottom == 0:
            raise _refusal(what, text, say("a fraction cannot have 0 below its line"), forms)
        if found[1] and top >= bottom:
            raise _refusal(
                what, text, say("a fraction after a whole number must be below 1"), forms
            )
        return whole + Fraction(top, bottom)
    if _SIDE_BY_SIDE.fullmatch(number):
        raise _refusal(
            what, text, say("“{number}” is two numbers side by side", number=number), forms
        )
    raise _refusal(what, text, say("“{number}” is not a number", number=number), forms)


def _checked(
    value: Fraction,
    what: str,
    text: str,
    forms: str,
    above: float | None,
    least: float | None,
    base: str,
) -> float:
    result = float(value)
    if abs(result) > _LARGEST:
        raise _refusal(what, text, say("it is far larger than any floor needs"), forms)
    if above is not None and not result > above:
        raise _refusal(
            what,
            text,
            say("it must be more than {value}", value=f"{above:g} {base}".strip()),
            forms,
        )
    if least is not None and not result >= least:
        limit = (
            say("it must not be negative")
            if least == 0
            else say("it must be at least {least} {base}", least=numeral(least, "g"), base=base)
        )
        raise _refusal(what, text, limit.strip(), forms)
    return result


def _refusal(what: str, text: str, reason: str, forms: str) -> BadInput:
    return BadInput(
        say(
            "{what} “{text}”: {reason}; write {forms}.",
            what=what,
            text=quotable(text),
            reason=reason,
            forms=forms,
        )
    )


def quotable(text: str) -> str:
    """Text fit for one line of a message: short, and without control characters."""
    clean = "".join(c if c.isprintable() else "?" for c in text)
    return clean if len(clean) <= 40 else clean[:37] + "..."
