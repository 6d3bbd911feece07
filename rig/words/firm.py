"""What the pages of a firm call what is remembered: kinds of things, and what is said of each."""

from collections.abc import Mapping

from rig.words import say

KINDS: Mapping[str, str] = {
    "compound": say("Compounds"),
    "primer": say("Primers"),
    "reinforcement": say("Reinforcement"),
    "crew": say("Crews"),
    "mixer": say("Mixers"),
}

FIELDS: Mapping[str, tuple[str, str]] = {
    "edition": (say("Which sheet"), say("as 2024-03")),
    "price": (say("Price"), say("of a bag, a jug, a sheet: 18.50")),
    "use": (say("A floor takes"), say("1.7kg/m2/mm")),
    "bag_yield": (say("A bag makes"), say("14l, 0.45ft3")),
    "bag_mass": (say("A bag weighs"), say("25kg, 50lb")),
    "bag_water": (say("Water a bag"), say("6l, 5qt")),
    "min_cover": (say("Minimum cover"), say("6mm, 1/4in")),
    "max_cover": (say("Most in one lift"), say("20mm, 1in")),
    "mix_time": (say("Mixing"), say("2min")),
    "slake_time": (say("Rest after mixing"), say("1min")),
    "working_time": (say("It flows for"), say("20min")),
    "working_time_at": (say("The same by temperature"), say("10C=30min; 20C=20min")),
    "min_temperature": (say("Coldest floor"), say("10C, 50F")),
    "max_temperature": (say("Warmest floor"), say("30C, 85F")),
    "max_air_rh": (say("Dampest air"), say("75%")),
    "walk_on": (say("Walk on after"), say("4h")),
    "cover_after": (say("Cover after"), say("24h")),
    "max_moisture": (say("Dampest screed"), say("2%CM")),
    "max_slab_rh": (say("Dampest slab"), say("85%")),
    "max_emission": (say("Most emission"), say("5lb")),
    "primer": (say("Its primer"), say("by its name")),
    "reinforcement": (say("Its reinforcement"), say("by its name")),
    "rate": (say("A floor takes"), say("0.15l/m2, 300ft2/gal")),
    "dilution": (say("Parts of water"), say("to one of primer")),
    "coats": (say("Coats"), ""),
    "dry": (say("Dries in"), say("1h")),
    "pack": (say("Sold in"), say("5l")),
    "sheet": (say("A sheet"), say("27in,96in")),
    "overlap": (say("Overlap"), say("2in")),
    "people": (say("People"), ""),
    "mixers": (say("Mixers"), ""),
    "took": (say("Floors done"), say("area, time on site: 30m2,5h; 45m2,7h")),
    "bags_per_batch": (say("Bags a batch"), ""),
}


def which_file() -> str:
    """Ask for a file."""
    return say("Pick the file.")


def is_example(name: str) -> str:
    """Say that an entry is built in."""
    return say("{name} is built in as an example: make one of your own under another name.",
               name=name)  # fmt: skip
