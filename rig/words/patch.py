"""What is said of patches that make a floor pass a tolerance rule."""

from __future__ import annotations

from collections.abc import Mapping

from rig.language import changed
from rig.units import Units, format_asked, format_chance
from rig.words import join, say, say_many

GRIND_CAUTION = say(
    "Grinding concrete sets free silica dust, and old glue under it may hold asbestos: have it "
    "tested first; a structural topping is not ground without its engineer's word."
)
CAUTIONS_IN_SHORT = say(
    "Silica dust, caustic compound, asbestos in old glue: mask, gloves, eye protection."
)
PASSES_ALREADY = say("The floor passes as it is: nothing needs to be poured for this rule.")
PROVED_AFTER = say("What a pour leaves is proved after it: rig flatness --kind finished.")
WAYS: Mapping[str, str] = {
    "nothing": say("nothing"),
    "patch": say("patch"),
    "grind and patch": say("grind and patch"),
    "pour": say("pour"),
}


def not_sure(chance: float, confidence: float) -> str:
    """More work cannot make it surer."""
    return say(
        "The work passes with {chance} probability, not {confidence}: with these shots more work "
        "cannot make it surer. Shoot closer, then plan again.",
        chance=format_chance(chance, confidence),
        confidence=format_asked(confidence),
    )


def feathered(slope: float, least_m2: float, units: Units) -> str:
    """How steep patches are feathered out, and how small they may be."""
    return say(
        "Patches are feathered out by at most {slope}, and none is smaller than {least} where the "
        "rule holds without it (common practice, no source). The product's sheet says how thin it "
        "may be drawn.",
        slope=units.slope(slope),
        least=units.area(least_m2),
    )


def compound(bags: int, mass_kg: float, units: Units) -> str:
    """How much compound to have on site."""
    return say(
        "{bags}, {mass} in all",
        bags=say_many("{count} bag", "{count} bags", bags),
        mass=units.mass(mass_kg),
    )


def chosen(way: str, rule: str, places: int, area_m2: float, chance: float, units: Units) -> str:
    """The work that is chosen, and how likely it passes."""
    return say_many(
        "{way} for {rule}: {count} place, {area} filled; it passes with {chance} probability.",
        "{way} for {rule}: {count} places, {area} filled; it passes with {chance} probability.",
        places,
        way=changed(WAYS[way], str.capitalize),
        rule=rule,
        area=units.area(area_m2),
        chance=format_chance(chance),
    )


def buy(p95: int, p50: int, waste: str) -> str:
    """Bags to buy for the patches."""
    return say_many(
        "BUY {count} BAG to be 95 % sure ({even} at even odds); {waste}.",
        "BUY {count} BAGS to be 95 % sure ({even} at even odds); {waste}.",
        p95,
        even=p50,
        waste=waste,
    )


def volumes(fill_l: float, grind_l: float, units: Units) -> str:
    """What is filled and ground at a place, where it is anything to speak of."""
    fill, grind = units.volume(fill_l), units.volume(grind_l)
    told = []
    if not fill.startswith("0 "):
        told.append(say("fill {volume}", volume=fill))
    if not grind.startswith("0 "):
        told.append(say("grind {volume}", volume=grind))
    return join(", ", told) or say("next to no compound")
