"""What is said of several rods of a site."""

from rig.language import say


def at_place(rod: str, label: str) -> str:
    """Say which place a rod has."""
    return say("{rod}: {label}", rod=rod, label=label)


def at_rest(rod: str) -> str:
    """Say that a rod has none."""
    return say("{rod}: rests", rod=rod)


def out_of_reach(rod: str) -> str:
    """Say that nothing comes of a rod."""
    return say("{rod}: no link", rod=rod)


def session_is_gone() -> str:
    """Say on a page why nothing moves."""
    return say("the session is gone")


def is_anothers(rod: str, label: str) -> str:
    """Say why a rod may not go to a place by hand."""
    return say("{rod} is on the way to {label}: go on, or ask there", rod=rod, label=label)


def done_at_the_rod() -> str:
    """Say where an act belongs that is one rod's."""
    return say("Several rods are at work: this is done at the rod, by its button or its keys.")


def nobody_yet() -> str:
    """Say that no rod is there."""
    return say("No rod is there yet: rig rod at its box, and it is taken in.")


def cannot_be_read(rod: str, why: object) -> str:
    """Say that a box tells of a rod that is no profile."""
    return say("{rod} cannot be read: {why}", rod=rod, why=why)


def nothing_came(seconds: float) -> str:
    """Say why a rod is lost whose box has its link."""
    return say("nothing came for {seconds:g} s", seconds=seconds)


def box_has_no_link() -> str:
    """Say why a rod is lost whose box is out of reach."""
    return say("its box has no link")
