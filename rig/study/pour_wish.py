"""What a pour is asked for, where crew and mixer are remembered by their names."""

from collections.abc import Mapping
from typing import Any

from rig.products import Library

KEYS = ("crew", "mixers", "bags_per_batch", "mix_time_s")


def by_names(given: Mapping[str, Any], crew: str | None, mixer: str | None) -> dict[str, Any]:
    """Return people, mixers, bags a batch and mixing time; what is given rules over a name.

    Parameters
    ----------
    given : mapping
        By the keys of `PourWish`, None for what was not said.
    crew, mixer : str or None
        As `rig product` knows them.

    Raises
    ------
    BadInput
        There is no such crew or mixer.
    """
    known: dict[str, Any] = {}
    if crew:
        people = Library.load().crew(crew)
        known |= {"crew": people.people, "mixers": people.mixers}
    if mixer:
        one = Library.load().mixer(mixer)
        known |= {"bags_per_batch": one.bags_per_batch, "mix_time_s": one.mix_time_s}
        known["mixers"] = known.get("mixers") or 1
    return {key: known.get(key) if given.get(key) is None else given[key] for key in KEYS}
