"""What is said of a layout of depth markers."""

from collections.abc import Sequence

from rig.units import Units
from rig.words import join, say, say_many


def to_set(count: int) -> str:
    """Head a list of markers."""
    return say(
        "{markers}, in the order to set them:",
        markers=say_many("{count} marker", "{count} markers", count),
    )


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
        markers=say_many("{count} marker", "{count} markers", len(labels)),
        labels=join(", ", labels),
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
        return say(
            "The markers are laid out for the finished plane. Lay them out for this: rig markers "
            "--lift {asked}",
            asked=asked,
        )
    return say(
        "The markers are laid out for lift {laid}. Lay them out for this: rig markers --lift "
        "{asked}",
        laid=laid,
        asked=asked,
    )


def wanders(by_mm: float, tolerance_mm: float, units: Units) -> str:
    """Say that the readings of a resting rod wander too slowly to be sure within the tolerance."""
    return say(
        "the readings wander slowly: after all this rest the height is known to {by} only, and the "
        "tolerance is {tolerance}. Wait longer, keep sun and wind off laser and rod, or allow more "
        "with --tolerance",
        by=units.off(by_mm),
        tolerance=units.off(tolerance_mm),
    )


def corrected(found: str, by_mm: float, doubt_mm: float, label: str, units: Units) -> str:
    """Say what a sight found, how the line is corrected by it, and how well it is then known."""
    return say(
        "{found}; the line is corrected by {by} and then known to about {doubt} (go to "
        "{label} to look once more)",
        found=found,
        by=units.off(by_mm),
        doubt=units.off(1.96 * doubt_mm),
        label=label,
    )


def by_tape(chance: float, mark_mm: float | None, tolerance_mm: float, units: Units) -> str:
    """Say how far a tape is sure of a marker, what would make it surer; the mark where coarse."""
    text = say(
        "hold: by the tape the chance is about {chance:.0%} that it is more than {tolerance} off.",
        chance=chance,
        tolerance=units.off(tolerance_mm),
    )
    surer = say("Read it again to be surer, or yes takes it as it is")
    if mark_mm is not None:
        surer = say(
            "Read between the marks ({mark} apart) to be surer, or yes takes it as it is",
            mark=units.off(mark_mm),
        )
    return join(" ", [text, surer])
