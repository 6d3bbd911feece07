"""A language that nobody speaks: every message marked and a third longer, made from the English."""

import gettext
import re

from rig.language import Tongue

_MARKED = str.maketrans("aeiouyAEIOUYnN", "áéíóúýÁÉÍÓÚÝñÑ")
_KEPT = re.compile(r"(\{[^{}]*\}|<[^>]*>|&\w+;)")
_WORD = re.compile(r"(?<![\w/.-])[A-Za-z]{3,}(?![\w./-])")


class _Marked(gettext.NullTranslations):
    def gettext(self, message: str) -> str:
        return marked(message)

    def ngettext(self, one: str, many: str, n: int) -> str:
        return marked(one if n == 1 else many)


def marked(message: str) -> str:
    """Mark a message's vowels outside its placeholders and lengthen it by a third."""
    parts = _KEPT.split(message)
    words = "".join(part if n % 2 else part.translate(_MARKED) for n, part in enumerate(parts))
    return words + "·" * (sum(map(len, parts[::2])) // 3)


MADE_UP = Tongue("xx", "en", _Marked())


def english(text: str) -> set[str]:
    """Words of a text that carry no mark, and so came from no message."""
    found = {word.lower() for word in _WORD.findall(text) if word.isascii()}
    return {word for word in found if re.search("[aeiou]", word)}
