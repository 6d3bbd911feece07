"""What is said of a layout of depth markers."""

from collections.abc import Sequence

from rig.units import Units, counted
from rig.words import say


def to_set(count: int) -> str:
    """Head a list of markers."""
    return say("{markers}, in the order to set them:", markers=counted(count, "marker"))


def marker(
    label: str,
    place: str,
    target_reading_mm: float,
    stick_out: tuple[float, float],
    units: Units,
) -> str:
    """Say where a marker goes and how high; `stick_out` is how far and its standard error in mm.

    `place` is told from two walls, as the prompts tell it.
    """
    return say(
        "{label} {place}: rod reads {reading}, top stands {out} above the floor (± {doubt})",
        label=f"{label:<4}",
        place=place,
        reading=units.length(target_reading_mm),
        out=units.length(stick_out[0]),
        doubt=units.doubt(2.0 * stick_out[1]),
    )


def by_hand() -> str:
    """Say that places were chosen by the user, and how to have them laid out anew."""
    return say("Places are kept as you changed them; --reach lays them out anew.")


def near_wall(label: str, away_mm: float, wanted_mm: float, units: Units) -> str:
    """Warn of a marker that stands close to a wall or an opening."""
    return say(
        "{label} stands {away} from a wall or an opening: rod and driver want {wanted} of room.",
        label=label,
        away=units.place(away_mm),
        wanted=units.place(wanted_mm),
    )


def out_of_reach(place: str, away_mm: float, reach_mm: float, units: Units) -> str:
    """Warn that a layout changed by hand leaves floor that no marker is near."""
    return say(
        "The nearest marker to the floor {place} is {away} away, more than {reach}: add one there "
        "with --add.",
        place=place,
        away=units.place(away_mm),
        reach=units.place(reach_mm),
    )


def set_no_more(label: str) -> str:
    """Warn of a marker that was set and is moved."""
    return say("{label} was set and has been moved: set it again.", label=label)


def markers_left(labels: Sequence[str]) -> str:
    """Say which markers a setting has left."""
    return say(
        "{markers} left: {labels}.",
        markers=counted(len(labels), "marker"),
        labels=", ".join(labels),
    )


def all_set(label: str) -> str:
    """Say that all markers are set, and how to look at one again."""
    return say(
        "All markers set. Was one kicked? Have another look at it: rig set --marker {label}",
        label=label,
    )


def other_lift(laid: int | None, asked: int) -> str:
    """Say that the markers are laid out for another lift."""
    if laid is None:
        text = say("The markers are laid out for the finished plane")
    else:
        text = say("The markers are laid out for lift {laid}", laid=laid)
    return text + say(". Lay them out for this: rig markers --lift {asked}", asked=asked)
