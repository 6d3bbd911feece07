"""Sentences on a phone: without the commands and options that they name at a terminal."""

import re

from rig.language import changed

_COMMANDS = (
    (re.compile(r"\s*\([^()]*--[a-z][^()]*\)"), ""),
    (re.compile(r"\s*\((?:rig|see rig) [^)]*\)"), ""),
    (re.compile(r":\s+rig [a-z][^.;]*(?=[.;]|$)"), ""),
    (
        re.compile(r"--hold a threshold shot there, or --together, makes"),
        "Held at a threshold shot there, or one level through all rooms makes",
    ),
    (re.compile(r": say which, as --room [^.]*(?=\.)"), ": pick one above"),
    (re.compile(r"\b([Rr])un rig (\w+)"), r"Go to \2"),
    (re.compile(r"(?<!\S)--[a-z]+(?:-[a-z]+)*"), lambda found: found[0][2:].replace("-", " ")),
)


def on_phone(text: str) -> str:
    """Return a sentence without the commands that it names: a phone has pages for them."""
    return changed(text, _without_commands)


def _without_commands(text: str) -> str:
    for found, instead in _COMMANDS:
        text = found.sub(instead, text)
    return text


def all_on_phone(told: object) -> object:
    """Do so with every text in what JSON shall hold."""
    match told:
        case str():
            return on_phone(told)
        case list() | tuple():
            return [all_on_phone(one) for one in told]
        case dict():
            return {key: all_on_phone(one) for key, one in told.items()}
    return told
