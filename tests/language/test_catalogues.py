"""The catalogues stand for the sources, and no placeholder in them is wrong."""

import re

from babel.messages import Catalog

from rig.words.page import script_words
from tools.languages.catalogues import check, faults
from tools.languages.sources import ROOT


def test_every_sentence_of_the_sources_is_in_every_catalogue_and_its_placeholders_are_right() -> (
    None
):
    wrong, told = check()
    assert not wrong
    assert len(told) == 5


def test_a_wrong_placeholder_is_refused() -> None:
    made = Catalog("de")
    made.add("{label} reads {reading}", "{label} liest {lesung}")
    made.add(("{count} bag", "{count} bags"), ("ein Sack", "{count} Säcke"))
    made.add("**{chance}** to keep it", "{chance}, es zu halten")
    told = list(faults(made))
    assert len(told) == 2
    assert "{label}, {lesung}, not {label}, {reading}" in told[0]
    assert "**" in told[1]


def test_what_the_page_s_scripts_say_comes_with_the_page() -> None:
    said = set()
    for script in (ROOT / "rig" / "page" / "static").glob("*.js"):
        said |= set(re.findall(r'\bsay\("((?:[^"\\]|\\.)*)"', script.read_text("utf-8")))
    assert said == set(script_words())
