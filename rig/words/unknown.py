"""What is said where shots do not tell how surely a cover is kept."""

from collections.abc import Sequence

from rig.units import Units
from rig.words import join, say, say_many
from rig.words.floor import some_of


def not_known() -> str:
    """Say in the place of a chance that it is not known."""
    return say("not known")


def too_few(shots: int, area_m2: float, more: int, places: Sequence[str], units: Units) -> str:
    """Say that shots are too few to tell a chance, and which would do."""
    return say(
        "How surely the minimum cover is kept is not known: {shots} for {area} do not tell what "
        "this floor does between them. {more} more, spread over the floor, would: first of all "
        "{places}.",
        shots=say_many("{count} shot", "{count} shots", shots),
        area=units.area(area_m2),
        more=more,
        places=join("; ", places),
    )


def contradicted(labels: Sequence[str], more: int, places: Sequence[str]) -> str:
    """Say that shots contradict the model, and which would settle it."""
    if not labels:
        return say(
            "How surely the minimum cover is kept is not known: the floor kinks or steps between "
            "shots more than the model allows. {more} more would tell: {places}.",
            more=say_many("{count} shot", "{count} shots", more),
            places=join("; ", places),
        )
    return say(
        "How surely the minimum cover is kept is not known: the floor kinks or steps between shots "
        "more than the model allows, most at {labels}. {more} more would tell: {places}.",
        labels=some_of(labels),
        more=say_many("{count} shot", "{count} shots", more),
        places=join("; ", places),
    )
