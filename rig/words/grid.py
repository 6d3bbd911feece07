"""What is said of a grid of points, of its spacing, and of shots that came or moved on it."""

from rig.language import changed
from rig.units import Units
from rig.words import numeral, say, say_many


def to_walk(points: int, shot: int) -> str:
    """Head a list of points in the order of the walk; so many have a shot of the floor."""
    if shot:
        return say(
            "{points}, {shot} of them with a shot of the floor, in this order:",
            points=say_many("{count} point", "{count} points", points),
            shot=shot,
        )
    return say(
        "{points} to shoot, in this order:",
        points=say_many("{count} point", "{count} points", points),
    )


def point(order: int, label: str, place: str) -> str:
    """Say where a point of the walk is, told from two walls as the prompts tell it."""
    return say(
        "{order}  {label} {place}",
        order=f"{order:3d}",
        label=f"{label:<4}",
        place=place,
    )


def cost_of_doubt(assumed: str) -> str:
    """Head a list of spacings."""
    return say(
        "Bags that doubt of the high point is likely to cost, on {assumed}:", assumed=assumed
    )


def cost_of_spacing(
    spacing_mm: float, points: int, safety_mm: float, bags: float, units: Units
) -> str:
    """Say what a spacing is likely to cost."""
    return say(
        "{apart} apart: {points} points, plane {higher} higher, {bags} bags",
        apart=changed(units.place(spacing_mm), "{:>12}".format),
        points=f"{points:3d}",
        higher=units.doubt(safety_mm),
        bags=numeral(bags, ".1f"),
    )


def cost_with_pairs(
    spacing_mm: float, points: int, safety_mm: float, bags: float, units: Units
) -> str:
    """Say what a spacing is likely to cost where a tenth of its points are paired."""
    return say(
        "{apart} apart: {points} points with pairs, plane {higher} higher, {bags} bags",
        apart=changed(units.place(spacing_mm), "{:>12}".format),
        points=f"{points:3d}",
        higher=units.doubt(safety_mm),
        bags=numeral(bags, ".1f"),
    )


def taken_from(shots: int, table: str) -> str:
    """Say how many shots a table brought."""
    return say(
        "{shots} taken from {table}.",
        shots=say_many("{count} shot", "{count} shots", shots),
        table=table,
    )


def took_the_place(shots: int) -> str:
    """Say how many of them stand for earlier ones."""
    message = (
        say("{count} of them took the place of an earlier shot of the same label.")
        if shots == 1
        else say("{count} of them took the place of earlier shots of the same label.")
    )
    return say(message, count=shots)


def moved(shots: int) -> str:
    """Head a list of shots that were relabelled."""
    return say("{shots} moved:", shots=say_many("{count} shot", "{count} shots", shots))


def is_now(was: str, label: str) -> str:
    """Say which label a shot has now."""
    return say("{was} is now {label}", was=was, label=label)


def shots_stay(shots: int) -> str:
    """Say what becomes of shots where the grid is laid out again."""
    return say_many(
        "The {count} shot so far stays and counts; the walk then asks for the new points.",
        "The {count} shots so far stay and count; the walk then asks for the new points.",
        shots,
    )


def too_wide_for(covering: str, rule: str, edge_mm: float, units: Units) -> str:
    """Say how near shots must stand for the rule of a covering, and what does instead."""
    return say(
        "The rule {rule} of the covering ({covering}) lays an edge of {edge}: only shots no more "
        "than {apart} apart can prove it. Where that is too many, shoot the floor as it is and "
        "read a few lines {apart} apart where it matters: rig flatness --lines FILE.",
        rule=rule,
        covering=covering,
        edge=units.span(edge_mm),
        apart=units.span(edge_mm / 2.0),
    )
