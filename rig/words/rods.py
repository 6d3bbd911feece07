"""What is said of several rods of a site."""

from rig.words import say


def at_place(rod: str, label: str) -> str:
    """Say which place a rod has."""
    return say("{rod}: {label}", rod=rod, label=label)


def at_rest(rod: str) -> str:
    """Say that a rod has none."""
    return say("{rod}: rests", rod=rod)
