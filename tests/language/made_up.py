"""A language that nobody speaks: every message marked and a third longer, made from the English."""

import gettext
import re

from rig.language import Tongue

_MARKED = str.maketrans("aeiouyAEIOUYnN", "áéíóúýÁÉÍÓÚÝñÑ")
_KEPT = re.compile(r"(\{[^{}]*\}|<[^>]*>|&\w+;)")
_WORD = re.compile(r"(?<![\w/.-])[A-Za-z]{3,}(?![\w./-])")
_LETTERS = re.compile(r"[^\W\d_]{2,}")


class _Marked(gettext.NullTranslations):
    def gettext(self, message: str) -> str:
        return marked(message)

    def ngettext(self, one: str, many: str, n: int) -> str:
        return marked(one if n == 1 else many)


def marked(message: str) -> str:
    """Mark a message's vowels outside its placeholders and make its words a third longer."""
    parts = _KEPT.split(message)
    return "".join(part if n % 2 else _LETTERS.sub(_longer, part) for n, part in enumerate(parts))


def _longer(found: re.Match[str]) -> str:
    word = found[0]
    return word.translate(_MARKED) + "ø" * round(len(word) / 3 + 0.1)


MADE_UP = Tongue("xx", "en", _Marked())


def english(text: str) -> set[str]:
    """Words of a text that carry no mark, and so came from no message."""
    found = {word.lower() for word in _WORD.findall(text) if word.isascii()}
    return {word for word in found if re.search("[aeiou]", word)}
