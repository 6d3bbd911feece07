"""Events for tests, from the few fields that a test is about."""

from dataclasses import MISSING, fields
from typing import Any, get_args

from rig.events import CoverSoFar, Event, HighSoFar

EMPTY: dict[Any, Any] = {"str": "", "float": 0.0, "int": 0, "bool": False}
CLASSES = {kind: {one.name for one in fields(kind)} for kind in get_args(Event)}


def event(told: dict[str, Any]) -> Event:
    """Make the event whose JSON has these keys; what is left out is empty."""
    given = {name: value for name, value in told.items() if name != "event"}
    kind: Any = next(
        kind
        for kind, names in CLASSES.items()
        if kind.event == told["event"] and given.keys() <= names
    )
    made = {}
    for one in fields(kind):
        if one.name in given:
            made[one.name] = _typed(one.name, given[one.name])
        elif one.default is MISSING:
            made[one.name] = _empty(one.type)
    found: Event = kind(**made)
    return found


def _typed(name: str, value: Any) -> Any:
    if name == "shots" and isinstance(value, list):
        return tuple(event(one) if isinstance(one, dict) else one for one in value)
    if name == "high":
        return HighSoFar(**value)
    if name == "cover_mm":
        return CoverSoFar(**value)
    return tuple(value) if isinstance(value, list) else value


def _empty(kind: Any) -> Any:
    name = getattr(kind, "__name__", str(kind))
    if kind in (HighSoFar, CoverSoFar):
        return kind(**{one.name: 0.0 for one in fields(kind)})
    if kind is tuple or str(kind).startswith("tuple"):
        return ()
    return EMPTY.get(name)
