"""Names walls as an installer does, seen from the first door looking in; no name comes twice."""

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import NamedTuple

import shapely

from rig.errors import BadInput
from rig.language import join, say
from rig.room.doors import Door, wall_of
from rig.room.geometry import ON_WALL_MM, Point, Ring, cross, segments, towards

_SHORT_SHARE = 1 / 3  # of the longest that faces the same way: the cheek of a chimney, say
_APART_SHARE = 0.5  # walls that overlap by less of the shorter are seen one after the other
_ORDINALS = (
    say("first"), say("second"), say("third"), say("fourth"), say("fifth"), say("sixth"),
    say("seventh"), say("eighth"), say("ninth"), say("tenth"),
)  # fmt: skip
_IN_LINE = {
    "far": (say("on the left"), say("in the middle"), say("on the right")),
    "side": (say("by the door"), say("in the middle"), say("at the back")),
}


class Side(NamedTuple):
    """A wall ready for measuring from: its name, start, unit vector and length.

    `rank` orders what is told; a `vague` wall faces as the door wall does but stands back from
    it, and is measured from only where nothing else serves.
    """

    name: str
    rank: int
    start: Point
    along: Point
    length_mm: float
    vague: bool = False


class _Seen(NamedTuple):
    """A wall as it is seen from the door: how far it reaches to the right, and into the room."""

    base: str
    rank: int
    across: tuple[float, float]
    ahead: tuple[float, float]
    length_mm: float


def named_sides(
    walls: Ring, doors: Sequence[Door], given: Mapping[int, str] | None = None
) -> tuple[Side, ...]:
    """
    Walls with the names an installer uses, seen from the first door looking in.

    Where several face the same way each says which it is by what is seen from the door: 'far
    wall on the left', 'right wall at the back', 'short far wall'. Without a door they have
    numbers.

    Parameters
    ----------
    walls : ring
    doors : sequence of Door
    given : mapping of int to str
        The user's own names, by the index of the wall.
    """
    given = given or {}
    parts = list(segments(walls))
    units = [towards(a, b) for a, b in parts]
    seen = _seen(walls, doors[0], units) if doors else []
    names = _told_apart(seen) if doors else [say("wall {n}", n=n) for n in range(1, len(parts) + 1)]
    ranks = [one.rank for one in seen] or list(range(1, len(parts) + 1))
    vague = [one.base == "near wall" for one in seen] or [False] * len(parts)
    return tuple(
        Side(given.get(k, name), rank, a, way, math.dist(a, b), unclear and k not in given)
        for k, (name, rank, unclear, way, (a, b)) in enumerate(
            zip(names, ranks, vague, units, parts, strict=True)
        )
    )


def renamed(sides: Sequence[Side], given: Mapping[int, str], old: str, new: str) -> dict[int, str]:
    """
    Names that a user gave, with one more.

    Parameters
    ----------
    sides : sequence of Side
        As they are called now.
    given : mapping of int to str
    old, new : str
        What the wall is called, and what it is to be called; empty for the tool's own word.

    Raises
    ------
    BadInput
        There is no such wall, or another has that name.
    """
    names = [_plain(side.name) for side in sides]
    if _plain(old) not in names:
        known = join(", ", (side.name for side in sides))
        raise BadInput(
            say("There is no wall called {old!r}; there are: {known}.", old=old, known=known)
        )
    at = names.index(_plain(old))
    if not new.strip():
        return {k: name for k, name in given.items() if k != at}
    name = join(" ", new.split())
    for article in ("the ", "The "):
        name = name.removeprefix(article)
    if _plain(name) in names and names.index(_plain(name)) != at:
        raise BadInput(
            say("Another wall is called {name!r} already; give each its own name.", name=name)
        )
    return {**given, at: name}


def _plain(name: str) -> str:
    return join(" ", name.casefold().split()).removeprefix("the ")


def _seen(walls: Ring, door: Door, units: Sequence[Point]) -> list[_Seen]:
    turn = 1.0 if shapely.is_ccw(shapely.LinearRing(walls)) else -1.0
    out = [(turn * u[1], -turn * u[0]) for u in units]
    home = wall_of(walls, door)
    look = (-out[home][0], -out[home][1])

    def reach(a: Point, b: Point) -> tuple[tuple[float, float], tuple[float, float]]:
        ends = [(p[0] - door.middle[0], p[1] - door.middle[1]) for p in (a, b)]
        across = sorted(-cross(look, end) for end in ends)
        ahead = sorted(look[0] * end[0] + look[1] * end[1] for end in ends)
        return (across[0], across[1]), (ahead[0], ahead[1])

    found = []
    for k, (a, b) in enumerate(segments(walls)):
        across, ahead = reach(a, b)
        facing = out[k][0] * look[0] + out[k][1] * look[1]
        left = cross(look, out[k])
        if abs(facing) < abs(left) - 1e-9:
            base, rank = (say("left wall"), 2) if left > 0 else (say("right wall"), 3)
        elif facing > 0:
            base, rank = say("far wall"), 1
        else:
            in_line = max(map(abs, ahead)) <= ON_WALL_MM and abs(left) < math.sin(math.radians(5))
            if k == home:
                base, rank = say("door wall"), 0
            else:
                base, rank = (
                    (say("door wall beside the door"), 0) if in_line else (say("near wall"), 1)
                )
        found.append(_Seen(base, rank, across, ahead, math.dist(a, b)))
    return found


def _told_apart(seen: Sequence[_Seen]) -> list[str]:
    """Name each wall so that no name comes twice."""
    longest: dict[str, float] = {}
    for one in seen:
        longest[one.base] = max(longest.get(one.base, 0.0), one.length_mm)
    bases = [
        say("short {base}", base=one.base)
        if one.length_mm < _SHORT_SHARE * longest[one.base]
        else one.base
        for one in seen
    ]
    names = list(bases)
    for base, count in Counter(bases).items():
        if count > 1:
            group = [k for k, one in enumerate(bases) if one == base]
            for k, name in _placed(base, group, seen):
                names[k] = name
    return names


def _placed(base: str, group: list[int], seen: Sequence[_Seen]) -> list[tuple[int, str]]:
    """Tell walls that face the same way apart by where they are seen."""
    is_side = str(base).endswith(("left wall", "right wall"))  # the English, whatever is spoken
    along = {k: seen[k].ahead if is_side else seen[k].across for k in group}
    over = {k: seen[k].across if is_side else seen[k].ahead for k in group}
    group = sorted(group, key=lambda k: (sum(along[k]), sum(over[k])))
    if all(_one_after_another(along[a], along[b]) for a, b in pairwise(group)):
        first, middle, last = _IN_LINE["side" if is_side else "far"]
        if len(group) == 2:
            return [
                (group[0], _at(base, first)),
                (group[1], _at(base, last)),
            ]
        if len(group) == 3:
            words = (first, middle, last)
            return [(k, _at(base, word)) for k, word in zip(group, words, strict=True)]
        start = say("from the door") if is_side else say("from the left")
    else:
        group = sorted(group, key=lambda k: (sum(over[k]), sum(along[k])))
        start = say("from the left") if is_side else say("from the door")
    return [(k, _at(_nth(n, base), start)) for n, k in enumerate(group)]


def _one_after_another(one: tuple[float, float], other: tuple[float, float]) -> bool:
    shared = min(one[1], other[1]) - max(one[0], other[0])
    return shared <= _APART_SHARE * min(one[1] - one[0], other[1] - other[0])


def _at(name: str, where: str) -> str:
    return say("{name} {where}", name=name, where=where)


def _nth(n: int, name: str) -> str:
    nth = _ORDINALS[n] if n < len(_ORDINALS) else say("{n}th", n=n + 1)
    return say("{nth} {name}", nth=nth, name=name)
