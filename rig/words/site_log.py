"""What is said of the site's log: readings, limits of the compound's sheet, what is missing."""

from rig.units import Units
from rig.words import numeral, put, say

NOTHING_TYPED = say("There is nothing to log yet: type a reading or a note, or take a photo.")

_NAMES = {
    "air": say("The air"),
    "air_rh": say("Humidity of the air"),
    "floor": say("The floor's temperature"),
    "moisture": say("Moisture of the screed (carbide method)"),
    "slab_rh": say("Humidity in the slab (ASTM F2170)"),
    "emission": say("Moisture emission (ASTM F1869)"),
    "primer": say("Primer"),
    "note": say("Note"),
    "photo": say("Photo"),
}


def named(key: str) -> str:
    """Return what a kind of entry is called."""
    return _NAMES.get(key, key)


def value(key: str, number: float, units: Units) -> str:
    """Write a reading with its unit."""
    if key in ("air", "floor"):
        return units.temperature(number)
    if key == "moisture":
        return put("{n} %CM", n=numeral(number, "g"))
    if key == "emission":
        return say("{number} lb/1000 ft² in 24 h", number=numeral(number, "g"))
    if key == "primer":
        return say("coat {number}", number=numeral(number, "g"))
    return put("{n} %", n=numeral(number, "g"))


def ask(
    key: str,
    limits: tuple[float | None, float | None],
    last: float | None,
    within: bool | None,
    units: Units,
) -> str:
    """Say what the sheet asks for and how the last reading stands to it."""
    least, most = limits
    if least is not None and most is not None:
        asked = say(
            "from {least} to {most}", least=value(key, least, units), most=value(key, most, units)
        )
    elif most is not None:
        asked = say("at most {most}", most=value(key, most, units))
    else:
        asked = say("at least {least}", least=value(key, least or 0.0, units))
    if last is None:
        return say(
            "{name}: {asked} by the compound's sheet; not read yet (rig log add).",
            name=named(key),
            asked=asked,
        )
    word = say("within") if within else say("OUT")
    return say(
        "{name}: {asked} by the compound's sheet; read {last}, {word}.",
        name=named(key),
        asked=asked,
        last=value(key, last, units),
        word=word,
    )
