"""What a phone may say: small JSON objects, each checked before anything is done with it."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from rig.errors import BadInput
from rig.language import Tongue, say, speaking
from rig.units import pointed

LONGEST = 1024
LONGEST_LABEL = 40
ARGUED = ("goto", "front", "tick")

Moved = Mapping[str, str | float]
"""What a trainee does with the rod, as `{"do": "carry", "x": 100, "y": 200}`."""


class Refused(Exception):
    """A message that is not followed; the text says why, for the phone to show."""


@dataclass(frozen=True, slots=True)
class Hello:
    """A phone comes, or comes back: `phone` is the name that it gave itself."""

    phone: str


@dataclass(frozen=True, slots=True)
class Take:
    """A phone wants to be the one that acts."""


@dataclass(frozen=True, slots=True)
class Do:
    """An act of the session: accept, undo, goto LABEL."""

    name: str
    argument: str | None = None


@dataclass(frozen=True, slots=True)
class Move:
    """In practice: what the trainee does with the rod, passed on as it is."""

    told: Moved


@dataclass(frozen=True, slots=True)
class Line:
    """A reading as it was typed, or the unit that was asked for."""

    text: str


Message = Hello | Take | Do | Move | Line


def parse(text: str | bytes) -> Message:
    """Read one message.

    Raises
    ------
    Refused
        Where it is no JSON, too long, or not one of the messages there are.
    """
    if isinstance(text, bytes):
        raise Refused(say("That message is not text."))
    if len(text) > LONGEST:
        raise Refused(
            say("That message is too long: {longest} characters at most.", longest=LONGEST)
        )
    try:
        told = json.loads(text)
    except (ValueError, RecursionError):
        raise Refused(say("That message is no JSON.")) from None
    if not isinstance(told, dict):
        raise Refused(say("That message is no JSON object."))
    match told:
        case {"say": "hello", "phone": str(phone)} if _is_label(phone):
            return Hello(phone)
        case {"say": "take"}:
            return Take()
        case {"say": "act", "act": str(name), "label": str(label)} if name in ARGUED:
            if not _is_label(label):
                raise Refused(say("That label cannot be: letters and digits, as C4."))
            return Do(name, label)
        case {"say": "act", "act": str(name)} if name.isalpha() and name not in ARGUED:
            return Do(name)
        case {"say": "type", "line": str(line)} if _is_label(line):
            return Line(line)
        case {"say": "rod", "do": str(what), **more} if _are_numbers(more):
            return Move({"do": what, **more})
    raise Refused(say("That message says nothing that is known here."))


def pointed_line(line: str, tongue: Tongue, unit: str) -> str:
    """Return a line as typed with a decimal point, whatever the phone's language.

    Raises
    ------
    Refused
        A number could mean two things in it.
    """
    try:
        with speaking(tongue):
            return pointed(line, unit, say("The reading"))
    except BadInput as error:
        raise Refused(error.text) from None


def _is_label(text: str) -> bool:
    return 0 < len(text) <= LONGEST_LABEL and text.isprintable()


def _are_numbers(values: dict[str, Any]) -> bool:
    return len(values) <= 4 and all(
        isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e6
        for value in values.values()
    )
