"""Areas, temperatures, and what a product's sheet states per area, as people write them."""

import re
from fractions import Fraction

from rig.errors import BadInput
from rig.language import join, numeral, say
from rig.units.parsing import _parse, _table, parse_length, parse_mass, parse_volume, quotable

AREA_FORMS = "320ft2 or 30m2"
USE_FORMS = say("1.7kg/m2/mm or 1.1lb/ft2 at 1/8in")
RATE_FORMS = "0.15l/m2 or 300ft2/gal"

_AREAS = _table(
    m2=(Fraction(1), "m2 m^2 sqm"),
    ft2=(Fraction("0.09290304"), "ft2 ft^2 sqft"),
)
_AREA = r"(?:m2|m\^2|ft2|ft\^2|sq\.? ?ft|sq\.? ?m)"
_USE = re.compile(rf"(.+?) ?/ ?({_AREA}) ?(?:/|per|at|@) ?(.+)")
_RATE = re.compile(rf"(.+?) ?/ ?({_AREA})")
_COVERAGE = re.compile(rf"(.+? ?{_AREA}) ?/ ?([a-z]+)")


def parse_area(
    text: str, *, what: str = "area", above: float | None = None, least: float | None = 0.0
) -> float:
    """Read an area (m2, ft2) into square metres; the unit must be given."""
    plain = re.sub(r"(?i)\b(?:sq\.?|square) ?(?:ft|feet|foot)\b", "sqft", text)
    plain = re.sub(r"(?i)\b(?:sq\.?|square) ?(?:m|metres?|meters?)\b", "sqm", plain)
    return _parse(plain, what, _AREAS, AREA_FORMS, above, least, "m²", shown=text)


def parse_use(text: str, *, what: str = "use", above: float | None = None) -> float:
    """
    Read what powder a floor takes, as data sheets state it, into kilograms a litre in place.

    Parameters
    ----------
    text : str
        `1.7kg/m2/mm`, `17 kg/m² at 10mm`, `1.1lb/ft2 at 1/8in`.
    what : str
        Name of the thing in the refusal.
    above : float, optional
        It must be more than this.

    Returns
    -------
    float
        A kilogram a square metre at a millimetre is a kilogram a litre.
    """
    found = _USE.fullmatch(_plain(text))
    try:
        if found is None:
            raise BadInput("")
        mass_kg = parse_mass(found[1], above=0.0)
        deep = found[3] if re.match(r"[0-9.]", found[3]) else f"1{found[3]}"
        use = mass_kg / _area_m2(found[2]) / parse_length(deep, above=0.0)
    except BadInput:
        raise BadInput(
            say(
                "{what} “{text}” is no mass of powder for an area at a thickness; write "
                "{use_forms}.",
                what=what,
                text=quotable(text),
                use_forms=USE_FORMS,
            )
        ) from None
    if above is not None and not use > above:
        raise BadInput(
            say(
                "{what} “{text}” must be more than {above}.",
                what=what,
                text=quotable(text),
                above=numeral(above, "g"),
            )
        )
    return use


def parse_rate(text: str, *, what: str = "rate", above: float | None = None) -> float:
    """Read what liquid an area takes (`0.15l/m2`, `300ft2/gal`) into litres a square metre."""
    plain = _plain(text)
    try:
        if found := _COVERAGE.fullmatch(plain):
            rate = parse_volume(f"1{found[2]}") / parse_area(found[1], above=0.0)
        elif found := _RATE.fullmatch(plain):
            rate = parse_volume(found[1]) / _area_m2(found[2])
        else:
            raise BadInput("")
    except BadInput:
        raise BadInput(
            say(
                "{what} “{text}” is no volume for an area; write {rate_forms}.",
                what=what,
                text=quotable(text),
                rate_forms=RATE_FORMS,
            )
        ) from None
    if above is not None and not rate > above:
        raise BadInput(
            say(
                "{what} “{text}” must be more than {above}.",
                what=what,
                text=quotable(text),
                above=numeral(above, "g"),
            )
        )
    return rate


def parse_temperature(text: object, what: str = "temperature") -> float:
    """Read `21C`, `21 °C` or `70F` into degrees Celsius; the unit must be given."""
    found = re.fullmatch(r"\s*([-+]?\d+(?:\.\d+)?)\s*(?:°|deg)?\s*([CFcf])\s*", str(text))
    if found is None:
        raise BadInput(
            say(
                "{what} {text!r} is no temperature; write 21C or 70F.",
                what=what,
                text=str(text)[:40],
            )
        )
    degrees = float(found[1])
    # Rounded, so that 48.2F is 9C to the last bit and neither lies outside of the other.
    celsius = degrees if found[2] in "Cc" else round((degrees - 32.0) / 1.8, 9)
    if not -40.0 <= celsius <= 80.0:
        raise BadInput(
            say("{what} {text} is no temperature that a floor is poured at.", what=what, text=text)
        )
    return celsius


def _area_m2(word: str) -> float:
    return parse_area(f"1{word}")


def _plain(text: str) -> str:
    return join(" ", text.replace("²", "2").lower().split())
