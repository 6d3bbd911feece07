"""Lengths and quantities at the edges: text from people into mm, l, kg and s, and back.

Everything is computed with exact fractions and rounded once, so that `2 1/4 in` goes in and
comes out as it was written.
"""

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from rig.errors import BadInput

# Exact by definition: NIST SP 811 (2008), appendix B.8; the yard and pound agreement of 1959.
MM_PER_IN = 25.4
MM_PER_FT = 304.8
L_PER_FT3 = 28.316846592
L_PER_GAL = 3.785411784  # US liquid gallon of 231 cubic inches
KG_PER_LB = 0.45359237
GRAVITY_M_S2 = 9.80665  # standard gravity, the same source
M2_PER_FT2 = 0.09290304

System = Literal["in", "mm"]

LENGTH_FORMS = "2 1/4in, 1' 3 5/8\", 57mm, 5.7cm or 0.188ft"
VOLUME_FORMS = "12l, 500ml, 0.45ft3 or 2 1/2gal"
MASS_FORMS = "25kg, 500g or 50lb"
DURATION_FORMS = "90s, 20min, 1.5h or 1h 30min"
PERCENT_FORMS = "5% or 0.5%"
SLOPE_FORMS = "5mm/m, 1/8in/ft or 0.5%"

_LARGEST = 1e7  # 10 km, 10 000 m3, 10 000 t, 115 days: more is a slip, not a floor
_LONGEST_TEXT = 60

_INCH, _FOOT = Fraction("25.4"), Fraction("304.8")


def _table(**words: tuple[Fraction, str]) -> dict[str, Fraction]:
    return {word: size for size, names in words.values() for word in names.split()}


_LENGTHS = _table(
    mm=(Fraction(1), "mm millimetre millimetres millimeter millimeters"),
    cm=(Fraction(10), "cm centimetre centimetres centimeter centimeters"),
    m=(Fraction(1000), "m metre metres meter meters"),
    inch=(_INCH, 'in inch inches "'),
    ft=(_FOOT, "ft foot feet '"),
)
_VOLUMES = _table(
    l=(Fraction(1), "l litre litres liter liters"),
    ml=(Fraction(1, 1000), "ml millilitre millilitres milliliter milliliters"),
    gal=(Fraction("3.785411784"), "gal gals gallon gallons"),
    qt=(Fraction("3.785411784") / 4, "qt qts quart quarts"),
    ft3=(Fraction("28.316846592"), "ft3 ft^3 cuft"),
    m3=(Fraction(1000), "m3 m^3"),
)
_MASSES = _table(
    kg=(Fraction(1), "kg kilogram kilograms"),
    g=(Fraction(1, 1000), "g gram grams"),
    lb=(Fraction("0.45359237"), "lb lbs pound pounds"),
)
_DURATIONS = _table(
    s=(Fraction(1), "s sec secs second seconds"),
    min=(Fraction(60), "min mins minute minutes"),
    h=(Fraction(3600), "h hr hrs hour hours"),
)
_PERCENTS = _table(percent=(Fraction(1, 100), "% percent"))
_METRIC = frozenset({Fraction(1), Fraction(10), Fraction(1000)})

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
        **_VULGAR,
    }
)


def parse_length(
    text: str,
    *,
    unit: str | None = None,
    what: str = "length",
    above: float | None = None,
    least: float | None = None,
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
        raise BadInput(f"“{_shown(unit)}” is not a unit for lengths; use mm, cm, m, in or ft.")
    sign, parts = _split(text, what, _LENGTHS, LENGTH_FORMS)

    def refused(reason: str) -> BadInput:
        return _refusal(what, text, reason, LENGTH_FORMS)

    number, word = parts[-1]
    if len(parts) == 1:
        if not word and unit is None:
            raise refused(
                "the unit is missing, and the number could be inches, feet or millimetres"
            )
        size = _LENGTHS[word or str(unit)]
        if size in _METRIC and "/" in number:
            raise refused("fractions go with inches and feet, metric lengths are decimal")
        if size == _INCH:
            _refuse_odd_fraction(number, refused)
        value = _exact(number, what, text, LENGTH_FORMS) * size
    else:
        feet, first_word = parts[0]
        if len(parts) > 2 or _LENGTHS.get(first_word) != _FOOT:
            raise refused("only feet and then inches can be written together")
        if not word:
            raise refused("the number after the feet has no unit")
        if _LENGTHS[word] != _INCH:
            raise refused("only inches can follow feet")
        if not feet.isdigit():
            raise refused("feet that inches follow must be a whole number")
        _refuse_odd_fraction(number, refused)
        inches = _exact(number, what, text, LENGTH_FORMS)
        if inches >= 12:
            raise refused("the inches after feet must be less than 12")
        value = int(feet) * _FOOT + inches * _INCH
    return _checked(sign * value, what, text, LENGTH_FORMS, above, least, "mm")


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
        raise _refusal(what, text, "it is no rise over a length", SLOPE_FORMS)
    try:
        rise_mm = parse_length(rise, what=what, least=0.0)
    except BadInput:
        raise _refusal(what, text, "the rise before the / cannot be read", SLOPE_FORMS) from None
    return _slope(rise_mm / float(_LENGTHS[run]), what, text)


def _slope(ratio: float, what: str, text: str) -> float:
    if ratio > 1.0:
        raise _refusal(what, text, "no floor is that steep", SLOPE_FORMS)
    return ratio


def format_slope(ratio: float, units: str = "in", *, up: bool = False) -> str:
    """Write a slope: `5 mm/m`, or `0.06 in/ft`; `up` rounds it so that it is enough."""
    scale, word, step = (1000.0, "mm/m", 0.1) if _is_metric(units) else (12.0, "in/ft", 0.001)
    steps = ratio * scale / step
    steps = math.ceil(steps - 1e-6) if up else round(steps)
    return f"{_trimmed(_written(steps * step))} {word}"


@dataclass(frozen=True, slots=True)
class Units:
    """How a job writes its quantities: the one thing that knows feet and inches from millimetres.

    Parameters
    ----------
    system : {"in", "mm"}
    denominator : int
        The finest fraction of an inch.
    """

    system: System = "in"
    denominator: int = 32

    def __post_init__(self) -> None:
        _is_metric(self.system)

    @property
    def is_metric(self) -> bool:
        """Whether lengths are written in millimetres."""
        return self.system == "mm"

    def length(self, mm: float, *, step_mm: float = 0.1) -> str:
        """Write a length: `2 1/4 in`, or `57.5 mm` to the nearest `step_mm`."""
        return format_length(mm, self.system, self.denominator, step_mm=step_mm)

    def amount(self, mm: float) -> str:
        """Write the amount of a prompt: `3/16` (inches go without saying), or `4.5 mm`."""
        return format_amount(mm, self.system, self.denominator)

    def off(self, mm: float) -> str:
        """Write how far off something is, unsigned: `1/16 in`; never as nothing."""
        return format_off(mm, self.system, self.denominator)

    def between(self, low_mm: float, high_mm: float) -> str:
        """Write a range of what is off: `between 1/16 in and 1/8 in`, or `about 1/16 in`."""
        return format_between(low_mm, high_mm, self.system, self.denominator)

    def doubt(self, mm: float) -> str:
        """Write how far off something may be, never less than it is: `1/16 in`, or `1.3 mm`."""
        return format_doubt(mm, self.system, self.denominator)

    def place(self, mm: float) -> str:
        """Write a distance to find a place by: `4 ft 6 in` to half an inch, or `1.85 m`."""
        return format_place(mm, self.system)

    def span(self, mm: float) -> str:
        """Write how long an edge is, or how far readings stand apart: `10 ft`, or `3048 mm`."""
        return self.length(mm, step_mm=1.0) if self.is_metric else self.place(mm)

    def slope(self, ratio: float, *, up: bool = False) -> str:
        """Write a slope: `5 mm/m`, or `0.06 in/ft`; `up` rounds it so that it is enough."""
        return format_slope(ratio, self.system, up=up)

    def speed(self, mm_s: float) -> str:
        """Write how fast someone walks: `2.95 ft/s` or `0.9 m/s`."""
        return format_speed(mm_s, self.system)

    def area(self, m2: float) -> str:
        """Write an area: `180 ft²` or `16.7 m²`."""
        return format_area(m2, self.system)

    def volume(self, litres: float, *, liquid: bool = False) -> str:
        """Write a volume: `4.52 ft³` (or `1.25 gal` where `liquid`), or `128 l`."""
        return format_volume(litres, self.system, liquid=liquid)

    def mass(self, kg: float) -> str:
        """Write a mass: `50 lb` or `22.7 kg`."""
        return format_mass(kg, self.system)

    def temperature(self, celsius: float) -> str:
        """Write a temperature in whole degrees: `50 °F` or `10 °C`."""
        return format_temperature(celsius, self.system)

    def density(self, kg_m3: float) -> str:
        """Write a density: `134 lb/ft³` or `2151 kg/m³`."""
        return format_density(kg_m3, self.system)

    def load(self, kpa: float) -> str:
        """Write a load on a floor: `10.4 lb/ft²` or `0.5 kPa`."""
        return format_load(kpa, self.system)


def fraction(mm: float, denominator: int = 32) -> str:
    """
    Write a length as inches and a reduced fraction: `2 1/4`, `-3/16`, `0`.

    Parameters
    ----------
    mm : float
        The length.
    denominator : int
        The finest fraction; the nearest is taken, a tie goes to the even numerator.
    """
    if isinstance(denominator, bool) or not isinstance(denominator, int) or denominator < 1:
        raise BadInput("the denominator of a fraction must be a whole number from 1 up.")
    inches = _nearest(mm, _INCH / denominator) / _INCH
    whole, rest = divmod(abs(inches), 1)
    words = [str(whole)] if whole or not rest else []
    if rest:
        words.append(f"{rest.numerator}/{rest.denominator}")
    return ("-" if inches < 0 else "") + " ".join(words)


def format_length(
    mm: float, units: str = "in", denominator: int = 32, *, step_mm: float = 0.1
) -> str:
    """Write a length: `2 1/4 in`, or `57.5 mm` to the nearest `step_mm`."""
    if _is_metric(units):
        return f"{_trimmed(_nearest(mm, _written(step_mm)))} mm"
    return f"{fraction(mm, denominator)} in"


def format_amount(mm: float, units: str = "in", denominator: int = 32) -> str:
    """Write the amount of a prompt: `3/16` (inches go without saying), or `4.5 mm`."""
    if _is_metric(units):
        return format_length(mm, units, step_mm=0.5)
    return fraction(mm, denominator)


def format_off(mm: float, units: str = "in", denominator: int = 32) -> str:
    """Write how far off something is, unsigned: `1/16 in`; never as nothing where it is some."""
    text = format_length(abs(mm), units, denominator)
    if mm and text.startswith("0 "):
        step_mm = 0.1 if _is_metric(units) else float(_INCH) / denominator
        return f"less than {format_length(step_mm, units, denominator)}"
    return text


def format_between(low_mm: float, high_mm: float, units: str = "in", denominator: int = 32) -> str:
    """Write a range of what is off: `between 1/16 in and 1/8 in`, `about 1/16 in` where it is."""
    low, high = (format_off(mm, units, denominator) for mm in (low_mm, high_mm))
    if low != high:
        return f"between {low} and {high}"
    return high if high.startswith("less") else f"about {high}"


def format_doubt(mm: float, units: str = "in", denominator: int = 32) -> str:
    """Write how far off something may be, never less than it is: `1/16 in`, or `1.3 mm`."""
    step = 0.1 if _is_metric(units) else float(_INCH) / denominator
    up = max(1, math.ceil(mm / step - 1e-6)) * step
    return format_length(up, units, denominator)


def format_place(mm: float, units: str = "in") -> str:
    """Write a distance to find a place by: `4 ft 6 in` to half an inch, or `1.85 m`."""
    if _is_metric(units):
        return f"{_trimmed(_nearest(mm, Fraction(10)) / 1000)} m"
    half_inches = _nearest(mm, _INCH / 2)
    feet, rest = divmod(abs(half_inches), _FOOT)
    words = [f"{feet} ft"] if feet else []
    if rest or not feet:
        words.append(f"{fraction(float(rest), 2)} in")
    return ("-" if half_inches < 0 else "") + " ".join(words)


def format_speed(mm_s: float, units: str = "in") -> str:
    """Write how fast someone walks: `2.95 ft/s` or `0.9 m/s`."""
    if _is_metric(units):
        return f"{_figures(mm_s / 1000.0)} m/s"
    return f"{_figures(mm_s / MM_PER_FT)} ft/s"


def format_area(m2: float, units: str = "in") -> str:
    """Write an area: `180 ft²` or `16.7 m²`."""
    return f"{_figures(m2)} m²" if _is_metric(units) else f"{_figures(m2 / M2_PER_FT2)} ft²"


def format_volume(litres: float, units: str = "in", *, liquid: bool = False) -> str:
    """Write a volume: `4.52 ft³` (or `1.25 gal` where `liquid`, for mixing water), or `128 l`."""
    if _is_metric(units):
        return f"{_figures(litres)} l"
    if liquid:
        return f"{_figures(litres / L_PER_GAL)} gal"
    return f"{_figures(litres / L_PER_FT3)} ft³"


def format_mass(kg: float, units: str = "in") -> str:
    """Write a mass: `50 lb` or `22.7 kg`."""
    return f"{_figures(kg)} kg" if _is_metric(units) else f"{_figures(kg / KG_PER_LB)} lb"


def format_temperature(celsius: float, units: str = "in") -> str:
    """Write a temperature in whole degrees: `50 °F` or `10 °C`."""
    if _is_metric(units):
        return f"{round(celsius)} °C"
    return f"{round(celsius * 1.8 + 32.0)} °F"


def format_density(kg_m3: float, units: str = "in") -> str:
    """Write a density: `134 lb/ft³` or `2151 kg/m³`."""
    if _is_metric(units):
        return f"{kg_m3:.0f} kg/m³"
    return f"{kg_m3 * L_PER_FT3 / 1000.0 / KG_PER_LB:.0f} lb/ft³"


def format_load(kpa: float, units: str = "in") -> str:
    """Write a load on a floor: `10.4 lb/ft²` or `0.5 kPa`."""
    if _is_metric(units):
        return f"{_figures(kpa)} kPa"
    return f"{_figures(kpa * 1000.0 / GRAVITY_M_S2 * M2_PER_FT2 / KG_PER_LB)} lb/ft²"


def format_chance(chance: float) -> str:
    """Write a probability: `93%`, and near the ends `over 99%` and `under 1%`.

    Chances are reckoned by draws, and no count of draws makes anything certain.
    """
    text = f"{chance:.0%}"
    return {"100%": "over 99%", "0%": "under 1%"}.get(text, text)


def counted(count: float, one: str, many: str | None = None) -> str:
    """Write how many there are of something: `1 bag`, `2.5 bags`; `many` where an s won't do."""
    shown = f"{count:g}" if isinstance(count, float) else f"{count}"
    return f"{shown} {one if count == 1 else many or one + 's'}"


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
        raise _refusal(what, shown, "one number with one unit is enough", forms)
    if bare is not None and bare not in table:
        raise BadInput(f"“{_shown(bare)}” is not a unit for this; use {', '.join(table)}.")
    value, last = Fraction(0), None
    for number, word in parts:
        if not word and (bare is None or len(parts) > 1):
            raise _refusal(what, shown, "the unit is missing", forms)
        size = table[word or str(bare)]
        if last is not None and size >= last:
            raise _refusal(what, shown, "the larger unit must come first, each only once", forms)
        value, last = value + _exact(number, what, shown, forms) * size, size
    return _checked(sign * value, what, shown, forms, above, least, base)


def _split(
    text: str, what: str, table: Mapping[str, Fraction], forms: str, shown: str | None = None
) -> tuple[int, list[tuple[str, str]]]:
    """Sign and (number, unit) pairs of a text; the unit may be missing, but is never unknown."""
    shown = text if shown is None else shown
    plain = re.sub(rf"(?<=[0-9])(?=[{''.join(_VULGAR)}])", " ", text).translate(_PLAIN)
    plain = " ".join(plain.replace("''", '"').lower().split())
    if not plain:
        raise _refusal(what, shown, "it is empty", forms)
    if len(plain) > _LONGEST_TEXT:
        raise _refusal(what, shown, "it is too long to be one quantity", forms)
    if "," in plain:
        raise _refusal(what, shown, "the comma is ambiguous, decimals take a point", forms)
    words = "|".join(re.escape(word) for word in sorted(table, key=len, reverse=True))
    pair = re.compile(rf"({_NUMBER}) ?((?:{words})(?![a-z])(?:\.(?![0-9]))?|[a-z]+|)")
    sign = -1 if plain[0] == "-" else 1
    rest = plain[1:].lstrip() if plain[0] in "+-" else plain
    if not rest:
        raise _refusal(what, shown, "there is no number", forms)
    parts: list[tuple[str, str]] = []
    while rest:
        found = pair.match(rest)
        if found is None:
            raise _refusal(what, shown, "it cannot be read", forms)
        number, word = found[1], found[2].rstrip(".")
        if word and word not in table:
            raise _refusal(what, shown, f"“{word}” is not a unit for it", forms)
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
        raise refused("an inch is parted in halves, quarters, 8ths, 16ths, 32nds or 64ths")
    if top >= bottom and not found[1]:
        raise refused(
            "the top of its fraction is no smaller than the bottom, and a space may be missing, "
            "as in 48 3/16"
        )


def _exact(number: str, what: str, text: str, forms: str) -> Fraction:
    """Value of `2.25`, `2 1/4`, `2-1/4` or `1/4`."""
    if _DECIMAL.fullmatch(number):
        return Fraction(number)
    if found := _FRACTION.fullmatch(number):
        whole, top, bottom = int(found[1] or 0), int(found[2]), int(found[3])
        if bottom == 0:
            raise _refusal(what, text, "a fraction cannot have 0 below its line", forms)
        if found[1] and top >= bottom:
            raise _refusal(what, text, "a fraction after a whole number must be below 1", forms)
        return whole + Fraction(top, bottom)
    if _SIDE_BY_SIDE.fullmatch(number):
        raise _refusal(what, text, f"“{number}” is two numbers side by side", forms)
    raise _refusal(what, text, f"“{number}” is not a number", forms)


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
        raise _refusal(what, text, "it is far larger than any floor needs", forms)
    if above is not None and not result > above:
        raise _refusal(what, text, f"it must be more than {f'{above:g} {base}'.strip()}", forms)
    if least is not None and not result >= least:
        limit = "it must not be negative" if least == 0 else f"it must be at least {least:g} {base}"
        raise _refusal(what, text, limit.strip(), forms)
    return result


def _refusal(what: str, text: str, reason: str, forms: str) -> BadInput:
    return BadInput(f"{what} “{_shown(text)}”: {reason}; write {forms}.")


def _shown(text: str) -> str:
    """Text fit for one line of a message: short, and without control characters."""
    clean = "".join(c if c.isprintable() else "?" for c in text)
    return clean if len(clean) <= 40 else clean[:37] + "..."


def _is_metric(units: str) -> bool:
    if units not in ("in", "mm"):
        raise BadInput(f"“{_shown(units)}” is not a unit system; use in or mm.")
    return units == "mm"


def _written(value: float) -> Fraction:
    """
    Exact value of the decimal that a float stands for.

    1/64 in is 0.396875 mm and 3/64 in three times that: true ties, which binary noise, cut off
    here below a billionth, must not decide.
    """
    if not math.isfinite(value):
        raise BadInput("a quantity that is not a finite number cannot be written.")
    return Fraction(repr(round(float(value), 9)))


def _nearest(value: float, step: Fraction) -> Fraction:
    """Nearest multiple of `step`; ties go to the even one."""
    return round(_written(value) / step) * step


def _trimmed(value: Fraction) -> str:
    text = f"{float(value):.3f}"
    return text.rstrip("0").rstrip(".")


def _figures(value: float) -> str:
    """About three figures, as many as a material list needs, never fewer than the whole units."""
    size = abs(value)
    places = 3 if size < 0.1 else 2 if size < 10 else 1 if size < 100 else 0
    return _trimmed(_nearest(value, Fraction(1, 10**places)))


METRIC = Units("mm")
