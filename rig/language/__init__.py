"""What is said to people: English inside, the language of whoever reads it at the edge.

`say` makes a whole sentence of a message and its named values. What it returns is a `str` that
reads as English, so that files, JSON, exports and logs hold English in every language; it also
remembers its message and values, and `shown` writes it in the language in use. Only what puts text
before a person calls `shown`: the terminal, the page, paper, the voice.
"""

from rig.language.lists import both, either, some
from rig.language.messages import (
    Message,
    Worded,
    again,
    again_in,
    changed,
    join,
    kept,
    moment,
    money,
    numeral,
    put,
    say,
    say_many,
)
from rig.language.tongues import (
    LANGUAGES,
    Tongue,
    accepted,
    as_before,
    current,
    of_environment,
    of_job,
    shown,
    shown_in,
    speak,
    speaking,
    tongue,
    waits_for_a_job,
)

__all__ = [
    "LANGUAGES",
    "Message",
    "Tongue",
    "Worded",
    "accepted",
    "again",
    "again_in",
    "as_before",
    "both",
    "changed",
    "current",
    "either",
    "join",
    "kept",
    "moment",
    "money",
    "numeral",
    "of_environment",
    "of_job",
    "put",
    "say",
    "say_many",
    "shown",
    "shown_in",
    "some",
    "speak",
    "speaking",
    "tongue",
    "waits_for_a_job",
]
