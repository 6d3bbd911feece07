"""What is said of a look between the shots."""

from rig.units import Units
from rig.words import say

WHERE_TO_LOOK = say("Where a straightedge is worth laying")


def kept(gap_mm: float, flat: bool, rocks: bool, units: Units) -> str:
    """Say what a look means for the floor."""
    if flat:
        return say(
            "Kept: flat under the edge. Humps and dips that it would have shown are ruled out."
        )
    if rocks:
        return say(
            "Kept: the edge rocks, so something stands high between its ends, and no shot knows "
            "how high: shoot its top (rig survey --label N1 --at X,Y)."
        )
    return say(
        "Kept: a dip of {gap} under the edge. It holds no hump there; a shot in the dip tells its "
        "depth to the plan (rig survey --label N1 --at X,Y).",
        gap=units.length(gap_mm),
    )
