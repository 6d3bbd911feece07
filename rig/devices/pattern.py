"""A profile's pattern for lines, matched in time that grows with the line alone.

Profiles come from anywhere, and some thirty characters of noise can hold a backtracking matcher
up for years. RE2 follows all ways at once, so no pattern can do that to it.
"""

import re
import warnings
from operator import itemgetter

from rig.language import say

LONGEST_PATTERN = 2000
_MEANT = ("value", "unit", "status", "seq")

Fields = tuple[str | None, str | None, str | None, str | None]
"""What a line says of value, unit, status and seq; None where it says nothing."""


class BadPattern(Exception):
    """Why a pattern is refused, as the end of a sentence."""


class LinePattern:
    r"""A pattern that a whole line must match.

    Parameters
    ----------
    text : str
        In the notation that Python's `re` and RE2 share, without ``\1``, ``(?=...)`` and other
        things that need backtracking. ``\d``, ``\w`` and ``\s`` are ASCII.

    Attributes
    ----------
    names : frozenset of str
        Its named groups.

    Raises
    ------
    BadPattern
        It is no such pattern.
    """

    def __init__(self, text: str) -> None:
        import re2  # here, so that what reads no profile does without it

        re2.set_fallback_notification(re2.FALLBACK_EXCEPTION)  # never to Python's own matcher
        if len(text) > LONGEST_PATTERN:
            raise BadPattern(
                say("is longer than {longest_pattern} characters", longest_pattern=LONGEST_PATTERN)
            )
        # What people know is the notation of `re`. Where RE2 would take more, or the same in
        # another sense, the pattern is refused, so that it means one thing.
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("error")  # what Python will read otherwise one day
                self.names = frozenset(re.compile(text, re.ASCII).groupindex)
        except (re.error, RecursionError, OverflowError, Warning) as error:
            raise BadPattern(say("is not a regular expression: {error}", error=error)) from None
        if "{," in text:
            raise BadPattern("has {,n}; write {0,n}")
        try:
            compiled = re2.compile(text, re2.ASCII)
        except re.error as error:
            raise BadPattern(
                say(
                    "has what no line of a device needs and what can take for ever ({error}); "
                    "patterns are those of RE2",
                    error=error,
                )
            ) from None
        self._match = compiled.fullmatch
        self._at = dict(compiled.groupindex)
        at = tuple(compiled.groupindex.get(name, 0) for name in _MEANT)
        self._all = itemgetter(*(number - 1 for number in at)) if all(at) else None
        self._some = itemgetter(*at)  # after None has been put before the first group

    def fields(self, line: str) -> Fields | None:
        """Return what the groups took of a line; None where the pattern does not match it."""
        found = self._match(line)
        if found is None:
            return None
        fields: Fields = (
            self._all(found.groups()) if self._all else self._some((None, *found.groups()))
        )
        return fields

    def groups(self, line: str) -> dict[str, str | None] | None:
        """Return what each named group took of a line; None where the pattern does not match it."""
        found = self._match(line)
        return None if found is None else {name: found.group(n) for name, n in self._at.items()}
