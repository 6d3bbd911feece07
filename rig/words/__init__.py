"""Each sentence once, with named values: terminal, page, voice and paper say the same.

A message is a whole sentence with its values named, as gettext wants them, so that a translation
may put them in another order. `say` and `say_many` are the names to extract messages by.
"""

from rig.language import both, either, join, moment, money, numeral, put, say, say_many, some

__all__ = [
    "both",
    "either",
    "join",
    "moment",
    "money",
    "numeral",
    "put",
    "say",
    "say_many",
    "some",
]
