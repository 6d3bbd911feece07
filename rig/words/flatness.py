"""What is said of a floor that was held against a tolerance rule."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from rig.units import Units, format_asked, format_chance
from rig.words import both, join, numeral, say, say_many

Of = Literal["shots", "readings"]
Range = tuple[float, float]
OpenRange = tuple[float | None, float | None]

LINES_ONLY = say("Judged on the lines only: what lies beside them is not known.")
NO_LINES_SHOT = say(
    "No lines were shot: FF and FL, of each line and of the whole, are what lines over the floor "
    "would come to, roughness and doubt in them (all draws combined)."
)
ONLY_DOUBT: Mapping[Of, str] = {
    "shots": say(
        "It is too close to tell because the best estimate of the floor keeps the rule, and the "
        "doubt of the shots alone would break it somewhere: more shots, closer together, settle "
        "it."
    ),
    "readings": say(
        "It is too close to tell because the readings as they stand keep the rule, and only what "
        "their last digit leaves open would break it. They are taken to be as fine as they are "
        "written: write them as they were read, zeros at the end too."
    ),
}
_NAMED = 5


def rule(key: str, text: str) -> str:
    """Name a rule."""
    return say("{key}: {text}", key=key, text=text)


def rule_in_own_units(key: str, own: str, text: str) -> str:
    """Name a rule in the job's units, the figures as they were written beside it."""
    return say("{key}: {own} (as written: {text})", key=key, own=own, text=text)


def too_wide_apart(of: Of) -> str:
    """Only the spacing keeps the floor from being in."""
    return say(
        "It is too close to tell only because the {of} stand too wide apart: what they show keeps "
        "the rule, and closer ones would settle it.",
        of=of,
    )


def could_hide(places: int, across_mm: float, high_mm: float, units: Units) -> str:
    """Say that what is between the shots keeps a floor from being in."""
    return say(
        "It is too close to tell only because a hump or dip {across} across and {high} high could "
        "hide between the shots in {places}, though what they show keeps the rule: lay a "
        "straightedge there and tell what it shows (rig look), or shoot closer.",
        across=units.place(across_mm),
        high=units.length(high_mm),
        places=say_many("{count} place", "{count} places", places),
    )


def edge_cut(length_mm: float, longest_mm: float, units: Units) -> str:
    """An edge fits nowhere in the room."""
    return say(
        "An edge of {length} does not fit here: the longest that does, {longest}, is used, and "
        "wall to wall where even that does not fit.",
        length=units.span(length_mm),
        longest=units.span(longest_mm),
    )


def short_spans(least_mm: float, units: Units) -> str:
    """Spans under a length are not proved."""
    return say(
        "Spans under {least} are shorter than two spacings of the readings: nothing is proved "
        "about waves that short.",
        least=units.span(least_mm),
    )


def blind_edges(lengths_mm: Sequence[float], least_mm: float, apart_mm: float, units: Units) -> str:
    """Edges that readings so far apart cannot show to be in, and how near they would have to be."""
    return say(
        "An edge of {lengths} is shorter than two spacings of the readings ({least}): it cannot be "
        "judged in from them. Take readings no more than {apart} apart, or lay that edge by hand.",
        lengths=both(units.span(length) for length in lengths_mm),
        least=units.span(least_mm),
        apart=units.span(apart_mm),
    )


def curvature_modelled(spacing_mm: float, step_mm: float, units: Units) -> str:
    """Shots so far apart that curvature over a step is the model's."""
    return say(
        "The shots stand some {spacing} apart: curvature over {step} is the model's, not measured. "
        "Shoot lines for F-numbers: rig grid --lines.",
        spacing=units.span(spacing_mm),
        step=units.span(step_mm),
    )


def short_lines(names: Sequence[str], least_mm: float, units: Units) -> str:
    """Lines too short for F-numbers."""
    return say(
        "Lines under {least}, the least for F-numbers: {names}.",
        least=units.place(least_mm),
        names=join(", ", names[:_NAMED]),
    )


def area_unknown(least_m2: float, units: Units) -> str:
    """The section of a bare table of lines."""
    return say(
        "The area of the section is not known from a table of lines: the least section ({least}), "
        "the count of readings that it asks for, edges and directions are for you to check.",
        least=units.area(least_m2),
    )


def section_too_small(area_m2: float, least_m2: float, units: Units) -> str:
    """A floor too small for F-numbers."""
    return say(
        "The floor of {area} is smaller than the least section for F-numbers ({least}): the "
        "numbers are no proof by the method.",
        area=units.area(area_m2),
        least=units.area(least_m2),
    )


def too_few_curvatures(count: int, least: int) -> str:
    """Fewer curvature readings than the area asks for."""
    return say(
        "{count} curvature readings are fewer than the {least} that this area asks for.",
        count=count,
        least=least,
    )


def near_wall(edge_mm: float, least_mm: float, units: Units) -> str:
    """Readings nearer to a wall than F-numbers are taken."""
    return say(
        "Readings come within {edge} of a wall or opening; F-numbers keep {least} away.",
        edge=units.place(edge_mm),
        least=units.place(least_mm),
    )


SLOPE_NOT_HELD = say(
    "The laser's own slope is not in these numbers, and a line that slopes makes a level floor "
    "look sloped: say where the laser stood (--laser X,Y)."
)


def laser_leaves_open(doubt_mm: float, units: Units) -> str:
    """The laser's own error may make or hide the worst gap."""
    return say(
        "The laser's own error may make {doubt} of this gap, or hide as much, and more shots do "
        "not average it out: check the laser (rig check two-peg), or stand it elsewhere.",
        doubt=units.doubt(doubt_mm),
    )


def laser_decides(with_it: Range | None, without: Range | None) -> str:
    """The verdict would be another without the laser's own error; intervals are those of FL."""
    if with_it is None or without is None:
        return say(
            "The laser's own error decides here. More shots do not average it out: check the "
            "line's slope (rig check cross)."
        )
    return say(
        "The laser's own error leaves FL between {low} and {high}; without it the shots would say "
        "{low_alone} to {high_alone}. More shots do not average it out: check the line's slope "
        "(rig check cross).",
        low=numeral(with_it[0], ".0f"),
        high=numeral(with_it[1], ".0f"),
        low_alone=numeral(without[0], ".0f"),
        high_alone=numeral(without[1], ".0f"),
    )


def not_compared(reason: object) -> str:
    """The floor before the pour cannot be set against what was poured."""
    return say("No comparison with the floor before the pour: {reason}", reason=reason)


# Places


def at_point(label: str) -> str:
    """A place on a grid point."""
    return say("at {label}", label=label)


def between_points(one: str, other: str) -> str:
    """A place between two grid points."""
    return say("between {one} and {other}", one=one, other=other)


def along_line(along_mm: float, line: str, units: Units) -> str:
    """A place on a line of a table."""
    return say("{along} along line {line}", along=units.place(along_mm), line=line)


def edge_at(place: str, measure: str, bearing_deg: float) -> str:
    """Where the gap or the lower end is, and which way the edge lies, so that one finds it."""
    turned = round(bearing_deg / 5.0) * 5 % 180
    if turned == 0:
        way = say("along the first wall")
    elif turned == 90:
        way = say("square to the first wall")
    elif turned < 90:
        way = say("turned {turned}° to the left of the first wall's direction", turned=turned)
    else:
        way = say(
            "turned {turned}° to the right of the first wall's direction", turned=180 - turned
        )
    return say(WORDING[measure].where, place=place, way=way)


# The answer

SAYS: Mapping[str, Mapping[str, str]] = {
    "finished": {
        "in": say("The finished surface keeps the rule {rule} ({text})."),
        "out": say("The finished surface does not keep the rule {rule} ({text})."),
        "unsure": say(
            "Too close to tell whether the finished surface keeps the rule {rule} ({text})."
        ),
    },
    "floor": {
        "in": say("The floor as it is, before any pour, keeps the rule {rule} ({text})."),
        "out": say("The floor as it is, before any pour, does not keep the rule {rule} ({text})."),
        "unsure": say(
            "Too close to tell whether the floor as it is, before any pour, keeps the rule {rule} "
            "({text})."
        ),
    },
    "lines": {
        "in": say("The floor along these lines keeps the rule {rule} ({text})."),
        "out": say("The floor along these lines does not keep the rule {rule} ({text})."),
        "unsure": say(
            "Too close to tell whether the floor along these lines keeps the rule {rule} ({text})."
        ),
    },
}
WORD: Mapping[str, str] = {
    "in": say("in"),
    "out": say("out"),
    "unsure": say("too close to tell"),
}


@dataclass(frozen=True, kw_only=True)
class Wording:
    """How what a measure finds is said: whole sentences, and what stands on a drawing."""

    worst: str
    where: str
    limit: str
    within: str
    before: str
    drawn: str
    key_over: str
    key_in: str


_GAP = Wording(
    worst=say("Worst: a gap of {off} on the best estimate, {where}; the limit is {limit}."),
    where=say("{place}; the edge {way}"),
    limit=say("{limit} with supports {span} apart"),
    within=say("{share} of all placements"),
    before=say("Before the pour: {word}, worst gap {gap}."),
    drawn=say("gap {off}"),
    key_over=say("worst place of the edge, over the limit"),
    key_in=say("worst place, in the limit"),
)
_FALL = Wording(
    worst=say(
        "Worst: one end {off} lower than the other on the best estimate, the lower one {where}; "
        "the limit is {limit}."
    ),
    where=say("{place}; the line {way}"),
    limit=say("{limit} with ends {span} apart"),
    within=say("{share} of all lines"),
    before=say("Before the pour: {word}, worst fall {gap}."),
    drawn=say("lower by {off}"),
    key_over=say("worst line, end to end, over the limit"),
    key_in=say("worst line, end to end, in the limit"),
)
WORDING: Mapping[str, Wording] = {
    "straightedge": _GAP,
    "pairs": _GAP,
    "f-numbers": _GAP,
    "level": _FALL,
}
"""Of each measure by its name."""


def conforms(chance: float, confidence: float, held_back: bool = False) -> str:
    """How likely a floor is to conform, and how likely it must be.

    A verdict that is held back although the probability would settle it says so, that the two
    never contradict each other.
    """
    if held_back and chance >= confidence:
        return say("What was shot keeps the rule; the verdict is held back for what stands below.")
    if held_back and chance <= 1.0 - confidence:
        return say("The verdict is held back for what stands below.")
    return say(
        "It conforms with {chance} probability; {confidence} is asked for.",
        chance=format_chance(chance, confidence),
        confidence=format_asked(confidence),
    )


def before_pour(word: str, measure: str, gap_mm: float | None, units: Units) -> str:
    """What the floor was against the rule before it was poured."""
    if gap_mm is None:
        return say("Before the pour: {word}.", word=WORD[word])
    return say(WORDING[measure].before, word=WORD[word], gap=units.length(gap_mm))


def raised(points: int, least_mm: float, most_mm: float, mean_mm: float, units: Units) -> str:
    """How much a pour raised the points that were shot before and after."""
    return say(
        "{least} to {most}, {mean} on average, at {points}",
        least=units.length(least_mm),
        most=units.length(most_mm),
        mean=units.length(mean_mm),
        points=say_many("{count} point", "{count} points", points),
    )


def kicked(label: str, off_mm: float, units: Units) -> str:
    """A marker whose top lies well off the cured floor."""
    above = say("Marker {label}: the cured floor stands {off} above its top; was it kicked?")
    below = say("Marker {label}: the cured floor stands {off} below its top; was it kicked?")
    return say(above if off_mm > 0 else below, label=label, off=units.off(off_mm))


def f_number(name: str, number: float | None, ci90: OpenRange) -> str:
    """An F-number of a section with its interval."""
    return say(
        "{name} {number}, with 90 % between {low} and {high}.",
        name=name,
        number=endless(number),
        low=endless(ci90[0]),
        high=endless(ci90[1]),
    )


def endless(number: float | None) -> str:
    """An F-number; None has no end."""
    return say("without end") if number is None else numeral(number, ".1f")


STANDARD_RULES = say("The standard itself and the covering's maker rule over what stands here.")
