"""Finds patterns that can take for ever on a line that they do not match.

A backtracking matcher tries every way to share a line out among the repeats of a pattern. Where
what a repeat takes can also begin what follows it, its end is free; the ways multiply, and some
thirty characters of noise can hold a survey up for years. Profiles come from anywhere, so such a
pattern is refused before it meets a line.
"""

from collections.abc import Iterable, Sequence

# The tree that `re` itself compiles; there since Python 3.11, and the only reader of its notation
# that cannot differ from it.
from re import _constants as codes  # type: ignore[attr-defined]
from re import _parser as parser  # type: ignore[attr-defined]
from typing import Any

from rig.devices.framing import LONGEST_MESSAGE

MOST_WAYS = 300_000
"""Two free repeats over the longest line: some hundredths of a second."""
_ALL = frozenset(range(256))
_FEW = 8
_CATEGORIES = {
    codes.CATEGORY_DIGIT: frozenset(b"0123456789"),
    codes.CATEGORY_SPACE: frozenset(b" \t\n\r\f\v"),
    codes.CATEGORY_WORD: frozenset(
        b"0123456789_ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz"
    ),
}
_CATEGORIES |= {
    codes.CATEGORY_NOT_DIGIT: _ALL - _CATEGORIES[codes.CATEGORY_DIGIT],
    codes.CATEGORY_NOT_SPACE: _ALL - _CATEGORIES[codes.CATEGORY_SPACE],
    codes.CATEGORY_NOT_WORD: _ALL - _CATEGORIES[codes.CATEGORY_WORD],
}
_REPEATS = (codes.MAX_REPEAT, codes.MIN_REPEAT, codes.POSSESSIVE_REPEAT)
_Chars = frozenset[int]


class TooCostly(Exception):
    """Why a pattern is refused, as the end of a sentence."""


def check_cost(pattern: str, flags: int = 0) -> None:
    """See that a pattern, matched against a whole line, ends soon whatever the line is.

    Raises
    ------
    TooCostly
        It may not.
    """
    ways, _ = _sequence(parser.parse(pattern, flags), frozenset())
    if ways > MOST_WAYS:
        raise TooCostly(
            "can take for ever on a damaged line: too many of its repeats run into what follows "
            "them; part them by characters that they do not take"
        )


def _sequence(items: Iterable[Any], follow: _Chars) -> tuple[float, _Chars]:
    """Return in how many ways a sequence may share out a line, and what may begin it.

    `follow` is what may come after it.
    """
    ways = 1.0
    for code, argument in reversed(list(items)):
        more, follow = _item(code, argument, follow)
        ways *= more
    return ways, follow


def _item(code: Any, argument: Any, follow: _Chars) -> tuple[float, _Chars]:
    chars = _chars(code, argument)
    if chars is not None:
        return 1.0, chars
    if code in _REPEATS:
        return _repeat(code, argument, follow)
    if code is codes.SUBPATTERN:
        return _sequence(argument[-1], follow)
    if code is codes.ATOMIC_GROUP:
        return _sequence(argument, follow)
    if code is codes.BRANCH:
        branches = [_sequence(branch, follow) for branch in argument[1]]
        begins = [begin for _, begin in branches]
        apart = sum(map(len, begins)) == len(frozenset().union(*begins))
        ways = (max if apart else sum)(way for way, _ in branches)
        return float(ways), frozenset().union(*begins)
    if code in (codes.ASSERT, codes.ASSERT_NOT):
        return _sequence(argument[1], _ALL)[0], follow
    if code is codes.AT:
        return 1.0, follow
    raise TooCostly("refers back to what it matched, which no line of a device needs")


def _repeat(code: Any, argument: Any, follow: _Chars) -> tuple[float, _Chars]:
    least, most, body = argument
    _, begin = _sequence(body, _ALL)
    ways, _ = _sequence(body, follow | (begin if most > 1 else frozenset()))
    before = begin if least else begin | follow
    if code is codes.POSSESSIVE_REPEAT:
        return ways, before
    free = most > least and bool(begin & follow)
    choices = min(most, LONGEST_MESSAGE) - min(least, LONGEST_MESSAGE) + 1 if free else 1
    if most > 1 and not _is_fixed(body):
        if most > _FEW:
            raise TooCostly(
                "repeats what repeats or branches itself, which can take for ever on a damaged "
                "line; write its fields out one by one"
            )
        ways = float(ways) ** int(most)
    return ways * float(choices), before


def _is_fixed(body: Sequence[Any]) -> bool:
    """Whether a repeated part is single characters, one after the other."""
    return all(
        _chars(code, argument) is not None
        or (code is codes.SUBPATTERN and _is_fixed(argument[-1]))
        or (code in _REPEATS and argument[0] == argument[1] and _is_fixed(argument[2]))
        for code, argument in body
    )


def _chars(code: Any, argument: Any) -> _Chars | None:
    """What one character of a pattern takes, either case; None where it is no character."""
    if code is codes.ANY:
        return _ALL
    if code is codes.LITERAL:
        return _either_case(argument)
    if code is codes.NOT_LITERAL:
        return _ALL - {argument}
    if code is not codes.IN:
        return None
    taken: set[int] = set()
    negated = False
    for kind, value in argument:
        if kind is codes.NEGATE:
            negated = True
        elif kind is codes.LITERAL:
            taken |= {value} if negated else _either_case(value)
        elif kind is codes.RANGE:
            letters = range(value[0], min(value[1], 255) + 1)
            taken |= set(letters) if negated else {c for x in letters for c in _either_case(x)}
        else:
            taken |= _CATEGORIES.get(value, frozenset() if negated else _ALL)
    return _ALL - taken if negated else frozenset(taken)


def _either_case(char: int) -> _Chars:
    return frozenset({char, *(ord(c) for c in chr(char).swapcase())})
