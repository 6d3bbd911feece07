"""What is asked of readings typed by hand."""

from collections.abc import Mapping, Sequence

from rig.devices.typed import Doubted, TypedUnit
from rig.units import Units
from rig.words import both, either, say

NAMES: Mapping[TypedUnit, str] = {
    "in": say("inches"),
    "ft": say("feet"),
    "mm": say("millimetres"),
    "cm": say("centimetres"),
    "m": say("metres"),
}

SENSE = say(
    "A larger reading is a lower floor: stand in the lowest spot you can see and look. If the "
    "tape reads less there, it is upside down, or the rod is read from its top."
)


def stand_or_read(place: str, by_tape: bool) -> str:
    """Say how a place is read: with a rod that stands still, or with a tape."""
    if by_tape:
        return say("read the tape at {place}", place=place)
    return say("stand the rod on {place} and hold still", place=place)


def again(by_tape: bool) -> str:
    """Say what an accept needs that came without a reading to stand on."""
    if by_tape:
        return say("type what the tape reads first")
    return say("hold still and press again")


def sure_of_place(label: str, by_tape: bool) -> str:
    """Ask whether a reading that is off was taken on its place, and how to say so."""
    if by_tape:
        return say("is the tape on {label}? Type the reading again, or y", label=label)
    return say("is the rod on {label}? Press, or lift it and stand it there again", label=label)


def which_unit(doubted: Doubted, units: Units) -> str:
    """Ask what a bare number is, with what each unit would mean."""
    meanings = [
        say(
            "{unit} ({name}: the line {height} over the floor)",
            unit=unit,
            name=NAMES[unit],
            height=units.length(doubted.means_mm(unit)),
        )
        for unit in doubted.choices
    ]
    if doubted.blocks:
        return say(
            "What is {text}? Type {choices}; it goes for all bare numbers of this job.",
            text=doubted.text,
            choices=either(meanings),
        )
    return say(
        "{text} is not taken: under this line only another unit explains it. Type {choices}, or "
        "the reading again.",
        text=doubted.text,
        choices=either(meanings),
    )


def unit_unsaid(doubted: Doubted) -> str:
    """Refuse readings whose unit nobody said."""
    options = either(f"--unit {unit}" for unit in doubted.choices)
    return say(
        "What {text} is was not said, so no shot was kept: begin again with {options}.",
        text=doubted.text,
        options=options,
    )


LOOK = say(
    "is the tape upside down, or the rod read from its top? A larger reading is a lower floor"
)


def differences_turned(labels: Sequence[str], before: str) -> str:
    """Doubt which way a line is read whose fixed points differ the other way round."""
    return say(
        "{labels} differ by as much as under set-up {before}, the other way round: {look}",
        labels=both(labels),
        before=before,
        look=LOOK,
    )


def fixed_point_too_low(label: str, under_mm: float, is_threshold: bool, units: Units) -> str:
    """Doubt which way a tape is read under whose readings a threshold lies under the floor."""
    if is_threshold:
        text = say(
            "{label} reads {under} lower than the floor beside it, and a threshold stands over the "
            "bare floor: {look}",
            label=label,
            under=units.length(under_mm),
            look=LOOK,
        )
        return text
    return say(
        "{label} reads {under} lower than all of the floor: {look}",
        label=label,
        under=units.length(under_mm),
        look=LOOK,
    )


def same_height(before: str, label: str) -> str:
    """Ask whether a rod that rose and came down where it was stands on the next point."""
    return say(
        "same height as {before}: still there? press to take it as {label}",
        before=before,
        label=label,
    )


def not_at_height() -> str:
    """Say that a marker out of height is not taken."""
    return say("not at height yet: do as the prompt says, then it is taken by itself")
