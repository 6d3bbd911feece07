"""What is said to a customer whose floor is handed over."""

from typing import Literal

from rig.language import changed
from rig.units import Units
from rig.words import numeral, say

BEFORE, AFTER = say("Before"), say("After")
ROOM, ROOMS, COVERING = say("Room"), say("Rooms"), say("Covering to come")
POURED, PLANNED, THICK = say("Poured"), say("To be poured"), say("Compound is")
WALK_ON, COVER_AFTER = say("Walk on it"), say("Cover it")
BY_THE_SHEET = say("as the data sheet of the compound says; it was not told here")
NOT_PROVED = say("The flatness has not been measured yet.")
NOT_BOTH = say("The floor was not measured both before and after, so there are no two maps.")
SIGNATURES = (
    say("For the firm: name, place, date"),
    say("Customer: name, place, date"),
)


def title(whose: str, done: bool) -> str:
    """Head of the page; `done` says whether the floor was poured or is finished."""
    head = say("Floor of {whose}", whose=whose) if whose else say("Your floor")
    return say("{head}, handed over", head=head) if done else head


def verdict(
    kind: str,
    said: Literal["in", "out", "unsure"],
    rule: str,
    named: bool,
    gap_mm: float | None,
    units: Units,
) -> str:
    """Tolerance and verdict in a sentence; `named` says whether rule or covering were named."""
    floor = say("The finished floor") if kind == "finished" else say("The floor as it was found")
    asked = say("the tolerance asked for")
    if not named:
        asked = say("a usual tolerance, as none was named")
    texts = {
        "in": say("{floor} keeps {asked}: {rule}."),
        "out": say("{floor} does not keep {asked}: {rule}."),
        "unsure": say("{floor} is too close to call against {asked}: {rule}."),
    }
    text = say(
        texts[said], floor=floor, asked=asked, rule=changed(rule, lambda text: text.rstrip("."))
    )
    if gap_mm is not None:
        text += " " + say("The worst measured is {gap}.", gap=units.off(gap_mm))
    return text


def of_rooms(rooms: str, told: str) -> str:
    """Say of which rooms something is true."""
    return say("{rooms}: {told}", rooms=rooms, told=told)


def not_on_the_map(title: str, rooms: str) -> str:
    """Say which rooms a map leaves out; `title` is the map's."""
    return say("Not measured, so not on the map “{title}”: {rooms}.", title=title, rooms=rooms)


def room(name: str, area: str) -> str:
    """Name a room with its area."""
    return say("{name} {area}", name=name, area=area)


def areas(rooms: str, area: str) -> str:
    """Tell the areas of rooms and of all together."""
    return say("{rooms}; {area} in all", rooms=rooms, area=area)


def poured(bags: str, product: str, day: str) -> str:
    """Tell what was poured."""
    if product:
        return say("{bags} of {product}, done on {day}", bags=bags, product=product, day=day)
    return say("{bags}, done on {day}", bags=bags, day=day)


def to_pour(bags: str, product: str) -> str:
    """Tell what is to be poured."""
    return say("{bags} of {product}", bags=bags, product=product) if product else bags


def thickness(mean_mm: float, least_mm: float, most_mm: float, units: Units) -> str:
    """Tell how thick the compound lies."""
    return say(
        "{mean} thick on average, {least} to {most}",
        mean=units.length(mean_mm),
        least=units.length(least_mm),
        most=units.length(most_mm),
    )


def after(after_s: float) -> str:
    """Tell how long after the pour."""
    return say("{wait} after the pour, by its data sheet", wait=_wait(after_s))


def from_then(when: str, after_s: float) -> str:
    """Tell from when on."""
    return say(
        "from {when} on ({wait} after the pour, by its data sheet)", when=when, wait=_wait(after_s)
    )


def cautions(load_kpa: float | None, units: Units) -> list[str]:
    """What a customer has to mind."""
    lines = [
        say("Until then nobody walks on it and nothing stands on it; its data sheet rules."),
        say(
            "Cutting, drilling or sanding it gives off silica dust: mask and extraction, for "
            "whoever comes after us too."
        ),
    ]
    if load_kpa is not None:
        lines.append(
            say(
                "It weighs {load} on average; whether the structure carries that is for a "
                "licensed engineer or the authority to say.",
                load=units.load(load_kpa),
            )
        )
    return lines


def _wait(seconds: float) -> str:
    hours = seconds / 3600.0
    if hours < 48:
        return say("{hours} h", hours=numeral(hours, "g"))
    return say("{days} days", days=numeral(hours / 24, "g"))
