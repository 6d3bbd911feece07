"""Lists in a sentence: `A, B and C`, `A, B or C`, whichever language says it."""

from collections.abc import Iterable

from rig.language.messages import join, put, say


def both(parts: Iterable[str]) -> str:
    """Return things of which all are meant: `A, B and C`."""
    [*first, last] = parts
    return say("{first} and {last}", first=join(", ", first), last=last) if first else last


def either(parts: Iterable[str]) -> str:
    """Return things of which one is meant: `A, B or C`."""
    [*first, last] = parts
    return say("{first} or {last}", first=join(", ", first), last=last) if first else last


def some(parts: Iterable[str], most: int) -> str:
    """Return the first of many things, and a sign that there are more: `A, B, C …`."""
    listed = list(parts)
    told = join(", ", listed[:most])
    return put("{told} …", told=told) if len(listed) > most else told
