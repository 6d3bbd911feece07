"""Nothing that a person reads stays English where another language is spoken."""

import re
from pathlib import Path

import pytest

from rig.language import say, shown, speaking
from tests.cli.conftest import Run
from tests.language.made_up import MADE_UP, english

# What is typed, and what stands for itself.
NAMES = {"rig", "bm1", "kpa", "min"}
POUR = ("--mixers", "1", "--crew", "3", "--mix-time", "2min", "--working-time", "20min")


@pytest.mark.parametrize(
    ("words", "more"),
    [
        (("floor", "--why"), set()),
        (("plan", "--why"), set()),
        (("markers",), {"set"}),
        (("grid",), set()),
        (("flatness", "--rule", "click-lock"), set()),
        (("pour", "plan", *POUR), set()),
        (("undo", "--list"), set()),
        (("plan", "--hold", "9m,9m,1m"), set()),
    ],
)
def test_no_command_tells_english(surveyed: Run, words: tuple[str, ...], more: set[str]) -> None:
    if words[0] in ("markers", "pour"):
        assert surveyed("plan").code == 0
    with speaking(MADE_UP):
        done = surveyed(*words)
    assert english(done.out + done.err) <= NAMES | more


def test_the_report_of_a_plan_that_was_made_in_english_is_not(surveyed: Run) -> None:
    assert surveyed("plan").code == 0
    with speaking(MADE_UP):
        assert surveyed("report", "--for", "customer").code == 0
    told = Path("customer.html").read_text(encoding="utf-8")
    body = re.sub(r"<(style|script|footer)\b.*?</\1>|<!--.*?-->", "", told, flags=re.S)
    text = re.sub(r"<[^>]+>", " ", re.sub(r"<svg\b.*?</svg>", " ", body, flags=re.S))
    assert len(text) > 800
    assert english(text) <= NAMES


def test_a_sentence_without_a_message_is_found() -> None:
    with speaking(MADE_UP):
        assert english(shown(say("Next: {what}", what="the plan"))) == {"the", "plan"}
        assert english(shown(say("The line has moved."))) == set()
