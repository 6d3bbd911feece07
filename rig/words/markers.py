"""What is said of a layout of depth markers."""

from rig.units import Units, counted
from rig.words import say


def to_set(count: int) -> str:
    """Head a list of markers."""
    return say("{markers}, in the order to set them:", markers=counted(count, "marker"))


def marker(
    label: str,
    place_mm: tuple[float, float],
    target_reading_mm: float,
    stick_out: tuple[float, float],
    units: Units,
) -> str:
    """Say where a marker goes and how high; `stick_out` is how far and its standard error in mm."""
    return say(
        "{label} x {x}, y {y}: rod reads {reading}, top stands {out} above the floor (± {doubt})",
        label=f"{label:<4}",
        x=units.place(place_mm[0]),
        y=units.place(place_mm[1]),
        reading=units.length(target_reading_mm),
        out=units.length(stick_out[0]),
        doubt=units.doubt(2.0 * stick_out[1]),
    )
