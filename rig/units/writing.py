"""Lengths and quantities as a job writes them: mm, l and kg into text, in either system."""

import math
import re
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from rig.errors import BadInput
from rig.language import changed, join, numeral, put, say
from rig.units.parsing import FOOT, INCH, quotable

# Exact by definition: NIST SP 811 (2008), appendix B.8; the yard and pound agreement of 1959.
MM_PER_IN = 25.4
MM_PER_FT = 304.8
L_PER_FT3 = 28.316846592
L_PER_GAL = 3.785411784  # US liquid gallon of 231 cubic inches
KG_PER_LB = 0.45359237
GRAVITY_M_S2 = 9.80665  # standard gravity, the same source
M2_PER_FT2 = 0.09290304

System = Literal["in", "mm"]
_A_LENGTH = re.compile(r"((?:\d+ )?\d+/\d+|\d+(?:\.\d+)?) ?(in|ft|mm|cm|m)\b")


_OTHERS = {
    "ft/s": say("{n} ft/s"),
    "ft²": say("{n} ft²"),
    "ft³": say("{n} ft³"),
    "gal": say("{n} gal"),
    "lb": say("{n} lb"),
    "lb/ft²": say("{n} lb/ft²"),
}


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
        if self.system not in ("in", "mm"):
            raise BadInput(
                say("“{system}” is not a unit system; use in or mm.", system=quotable(self.system))
            )

    @property
    def is_metric(self) -> bool:
        """Whether lengths are written in millimetres."""
        return self.system == "mm"

    @property
    def finest_mm(self) -> float:
        """The smallest length that is written."""
        return 0.1 if self.is_metric else float(INCH) / self.denominator

    def length(self, mm: float, *, step_mm: float = 0.1) -> str:
        """Write a length: `2 1/4 in`, or `57.5 mm` to the nearest `step_mm`."""
        if self.is_metric:
            return put("{n} mm", n=numeral(_trimmed(_nearest(mm, _written(step_mm)))))
        return say("{n} in", n=fraction(mm, self.denominator))

    def amount(self, mm: float) -> str:
        """Write the amount of a prompt: `3/16` (inches go without saying), or `4.5 mm`."""
        return self.length(mm, step_mm=0.5) if self.is_metric else fraction(mm, self.denominator)

    def off(self, mm: float) -> str:
        """Write how far off something is, unsigned: `1/16 in`; never as nothing."""
        text = self.length(abs(mm))
        return (
            say("less than {finest}", finest=self.length(self.finest_mm))
            if mm and text.startswith("0 ")
            else text
        )

    def between(self, low_mm: float, high_mm: float) -> str:
        """Write a range of what is off: `between 1/16 in and 1/8 in`, or `about 1/16 in`."""
        low, high = self.off(low_mm), self.off(high_mm)
        if low != high:
            return say("between {low} and {high}", low=low, high=high)
        return high if high.startswith("less") else say("about {high}", high=high)

    def doubt(self, mm: float) -> str:
        """Write how far off something may be, never less than it is: `1/16 in`, or `1.3 mm`."""
        step = self.finest_mm
        return self.length(max(1, math.ceil(mm / step - 1e-6)) * step)

    def place(self, mm: float) -> str:
        """Write a distance to find a place by: `4 ft 6 in` to half an inch, or `1.85 m`."""
        if self.is_metric:
            return put("{n} m", n=numeral(_trimmed(_nearest(mm, Fraction(10)) / 1000)))
        half_inches = _nearest(mm, INCH / 2)
        feet, rest = divmod(abs(half_inches), FOOT)
        sign = "-" if half_inches < 0 else ""
        inches = fraction(float(rest), 2)
        if not feet:
            return say("{sign}{inches} in", sign=sign, inches=inches)
        if not rest:
            return say("{sign}{feet} ft", sign=sign, feet=feet)
        return say("{sign}{feet} ft {inches} in", sign=sign, feet=feet, inches=inches)

    def span(self, mm: float) -> str:
        """Write how long an edge is, or how far readings stand apart: `10 ft`, or `3048 mm`."""
        return self.length(mm, step_mm=1.0) if self.is_metric else self.place(mm)

    def slope(self, ratio: float, *, up: bool = False) -> str:
        """Write a slope: `5 mm/m`, or `0.06 in/ft`; `up` rounds it so that it is enough."""
        scale, step = (1000.0, 0.1) if self.is_metric else (12.0, 0.001)
        steps = ratio * scale / step
        steps = math.ceil(steps - 1e-6) if up else round(steps)
        n = numeral(_trimmed(_written(steps * step)))
        return put("{n} mm/m", n=n) if self.is_metric else say("{n} in/ft", n=n)

    def fine(self, mm: float, places: int = 2, *, signed: bool = False) -> str:
        """Write a length finer than any tape: `0.29 mm`, or in thousandths `0.011 in`."""
        sign = "+" if signed else ""
        if self.is_metric:
            return put("{n} mm", n=numeral(mm, f"{sign}.{places}f"))
        return say("{n} in", n=numeral(mm / MM_PER_IN, f"{sign}.{places + 1}f"))

    def tilt(self, mm_per_m: float, *, signed: bool = False) -> str:
        """Write how a line of light slopes: `0.342 mm/m`, or `0.041 in in 10 ft`."""
        sign = "+" if signed else ""
        if self.is_metric:
            return put("{n} mm/m", n=numeral(mm_per_m, f"{sign}.3f"))
        in_10_ft = mm_per_m * 0.01 * MM_PER_FT / MM_PER_IN
        return say("{n} in in 10 ft", n=numeral(in_10_ft, f"{sign}.3f"))

    def own(self, text: str) -> str:
        """Write a sentence's lengths in these units, as a standard's that names others."""

        def written(plain: str) -> str:
            parts, at = [], 0
            for found in _A_LENGTH.finditer(plain):
                parts += [plain[at : found.start()], self._own(found)]
                at = found.end()
            return join("", [*parts, plain[at:]])

        return changed(text, written)

    def _own(self, found: re.Match[str]) -> str:
        number, word = found.groups()
        if (word in ("in", "ft")) != self.is_metric:
            return found[0]
        size = {"in": MM_PER_IN, "ft": MM_PER_FT, "mm": 1.0, "cm": 10.0, "m": 1000.0}[word]
        mm = float(sum(Fraction(part) for part in number.split())) * size
        if not self.is_metric:
            return self.place(mm) if word == "m" else self.length(mm)
        return self.place(mm) if word == "ft" else self.length(mm, step_mm=0.1)

    def speed(self, mm_s: float) -> str:
        """Write how fast someone walks: `2.95 ft/s` or `0.9 m/s`."""
        return self._either(mm_s / 1000.0, "m/s", mm_s / MM_PER_FT, "ft/s")

    def area(self, m2: float) -> str:
        """Write an area: `180 ft²` or `16.7 m²`."""
        return self._either(m2, "m²", m2 / M2_PER_FT2, "ft²")

    def volume(self, litres: float, *, liquid: bool = False) -> str:
        """Write a volume: `4.52 ft³` (or `1.25 gal` where `liquid`, for water), or `128 l`."""
        if liquid:
            return self._either(litres, "l", litres / L_PER_GAL, "gal")
        return self._either(litres, "l", litres / L_PER_FT3, "ft³")

    def mass(self, kg: float) -> str:
        """Write a mass: `50 lb` or `22.7 kg`."""
        return self._either(kg, "kg", kg / KG_PER_LB, "lb")

    def load(self, kpa: float) -> str:
        """Write a load on a floor: `10.4 lb/ft²` or `0.5 kPa`."""
        lb_ft2 = kpa * 1000.0 / GRAVITY_M_S2 * M2_PER_FT2 / KG_PER_LB
        return self._either(kpa, "kPa", lb_ft2, "lb/ft²")

    def temperature(self, celsius: float) -> str:
        """Write a temperature in whole degrees: `50 °F` or `10 °C`."""
        n = celsius if self.is_metric else celsius * 1.8 + 32.0
        return put("{n} {sign}", n=round(n), sign="°C" if self.is_metric else "°F")

    def density(self, kg_m3: float) -> str:
        """Write a density: `134 lb/ft³` or `2151 kg/m³`."""
        if self.is_metric:
            return put("{n} kg/m³", n=numeral(kg_m3, ".0f"))
        return say("{n} lb/ft³", n=numeral(kg_m3 * L_PER_FT3 / 1000.0 / KG_PER_LB, ".0f"))

    def _either(self, metric: float, metric_word: str, other: float, other_word: str) -> str:
        if self.is_metric:
            return put("{n} {word}", n=numeral(_figures(metric)), word=metric_word)
        return say(_OTHERS[other_word], n=numeral(_figures(other)))


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
        raise BadInput(say("the denominator of a fraction must be a whole number from 1 up."))
    inches = _nearest(mm, INCH / denominator) / INCH
    whole, rest = divmod(abs(inches), 1)
    words = [str(whole)] if whole or not rest else []
    if rest:
        words.append(f"{rest.numerator}/{rest.denominator}")
    return ("-" if inches < 0 else "") + join(" ", words)


def format_chance(chance: float, asked: float | None = None) -> str:
    """Write a probability: `93%`, and near the ends `over 99%` and `under 1%`.

    Chances are reckoned by draws, and no count of draws makes anything certain. One below the
    probability that is asked for is written with as many digits as show it: `94.9%`.
    """
    if asked is not None and chance < asked:
        for digits in range(5):
            text = f"{chance:.{digits}%}"
            if float(text[:-1]) < 100.0 * asked - 1e-9:
                return say("under 1%") if text == "0%" else _percent(text)
        return say("just under {asked}", asked=format_asked(asked))
    text = f"{chance:.0%}"
    ends = {"100%": say("over 99%"), "0%": say("under 1%")}
    return ends.get(text) or _percent(text)


def format_asked(chance: float) -> str:
    """Write a probability that was asked for, with all its digits: `95%`, `99.9%`."""
    return _percent(f"{100.0 * chance:.10g}%")


def _percent(text: str) -> str:
    return say("{n}%", n=numeral(text.removesuffix("%")))


def counted(count: float, one: str, many: str | None = None) -> str:
    """Write how many there are of something: `1 bag`, `2.5 bags`; `many` where an s won't do."""
    shown = f"{count:g}" if isinstance(count, float) else f"{count}"
    return f"{shown} {one if count == 1 else many or one + 's'}"


def _written(value: float) -> Fraction:
    """
    Exact value of the decimal that a float stands for.

    1/64 in is 0.396875 mm and 3/64 in three times that: true ties, which binary noise, cut off
    here below a billionth, must not decide.
    """
    if not math.isfinite(value):
        raise BadInput(say("a quantity that is not a finite number cannot be written."))
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
