"""What click itself says, in the language in use.

Click looks its texts up by gettext's functions, under these names in its modules; there they are
made ours. A text that is not in the catalogue stays as click has it.
"""

import sys
from typing import Any

from rig.language import Message, current, say, say_many, shown

_MODULES = ("core", "decorators", "exceptions", "formatting", "parser", "termui", "types")


class _LookedUp(str):
    """A text as the language has it, whose values are written in it too."""

    _message: str
    _many: str | None
    _count: float

    def __new__(cls, message: str, many: str | None = None, count: float = 1) -> "_LookedUp":
        made = super().__new__(cls, current().find(message, many, count))
        made._message, made._many, made._count = message, many, count
        return made

    def format(self, *_: Any, **values: Any) -> str:
        return shown(Message(self._message, values, self._many, self._count))


def lend_words() -> None:
    """Let click say its texts in the language that is in use when it says them."""
    for name in _MODULES:
        module = sys.modules.get(f"click.{name}")
        for theirs in ("_", "ngettext"):
            if hasattr(module, theirs):
                setattr(module, theirs, _LookedUp)


def _messages() -> None:
    """Name the texts for the catalogues; nobody calls it."""
    say("Usage:")
    say("Options")
    say("Commands")
    say("Error: {message}")
    say("Try '{command} {option}' for help.")
    say("Invalid value: {message}")
    say("Invalid value for {param_hint}: {message}")
    say("Missing argument")
    say("Missing option")
    say("Missing command.")
    say("No such option {name!r}.")
    say("No such command {name!r}.")
    say("Choose from:\n\t{choices}")
    say("{value!r} is not a valid {number_type}.")
    say("{value} is not in the range {range}.")
    say("Argument {name!r} takes {nargs} values.")
    say("Option {name!r} does not take a value.")
    say("default: {default}")
    say("required")
    say("Show this message and exit.")
    say_many("Did you mean {possibility}?", "(Did you mean one of: {possibilities}?)", 2)
    say_many("Got unexpected extra argument ({args})", "Got unexpected extra arguments ({args})", 2)
    say_many("{value!r} is not {choice}.", "{value!r} is not one of {choices}.", 2)
    say_many(
        "Option {name!r} requires an argument.", "Option {name!r} requires {nargs} arguments.", 2
    )
    say_many(
        "Takes {nargs} values but 1 was given.", "Takes {nargs} values but {len} were given.", 2
    )
