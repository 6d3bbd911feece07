"""Keys and typed words of the live pour log become acts: batch, front, undo, stop, tick, yes."""

from rig.errors import BadInput
from rig.language import join, say

HELP = say(
    "b batch · f LABEL Enter front · u undo · t WORD Enter tick · y yes · s Enter stop · q leave"
)
_KEYS = {"b": "batch", " ": "batch", "u": "undo", "y": "accept", "p": "port", "q": "quit"}
_TO_ENTER = {"f": "front", "t": "tick", "s": "stop"}
_WORDS = {
    **{name: name for name in ("batch", "front", "undo", "stop", "tick", "accept", "port", "quit")},
    **{"b": "batch", "f": "front", "u": "undo", "t": "tick", "y": "accept", "yes": "accept"},
    "p": "port",
    "q": "quit",
}


class PourKeys:
    """Turn typed characters into (act, argument) pairs; a state machine without I/O.

    What can end or bend the log needs Enter; a batch is one key.
    """

    def __init__(self) -> None:
        self._act: str | None = None
        self._word = ""

    def feed(self, text: str) -> list[tuple[str, str | None]]:
        """Return the acts that these characters complete."""
        acts: list[tuple[str, str | None]] = []
        for key in text:
            if self._act is not None:
                if key in "\r\n":
                    if self._word or self._act == "stop":
                        acts.append((self._act, self._word or None))
                    self._act = None
                elif key in "\x7f\b":
                    self._word = self._word[:-1]
                elif key.isalnum():
                    self._word += key
                elif key != " ":
                    self._act = None
            elif key.lower() in _TO_ENTER:
                self._act, self._word = _TO_ENTER[key.lower()], ""
            elif key.lower() in _KEYS:
                acts.append((_KEYS[key.lower()], None))
        return acts


def parse_words(line: str) -> tuple[str, str | None] | None:
    """Return the act that a typed line stands for, None for an empty one.

    Raises
    ------
    BadInput
        Where it stands for none.
    """
    words = line.split()
    if not words:
        return None
    act = _WORDS.get(words[0].lower())
    argument = join(" ", words[1:]) or None
    if act is None or (argument is None) == (act in ("front", "tick")):
        raise BadInput(
            say(
                "{line!r} is not understood; say batch, front LABEL (or the strip's number), "
                "undo, tick WORD, yes, stop, or q to leave with all kept.",
                line=line.strip()[:40],
            )
        )
    return act, argument
