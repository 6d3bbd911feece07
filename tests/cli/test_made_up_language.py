"""Nothing that a person reads stays English where another language is spoken."""

import re
from calendar import month_abbr
from pathlib import Path
from pprint import pformat

import pytest

from rig.language import say, shown, speaking
from rig.pour.prepour import STEPS
from tests.cli.conftest import Run
from tests.language.made_up import MADE_UP, english
from tests.report.jobs import make

# What is typed, and what stands for itself.
STEPS_TYPED = {step.key for step in STEPS}
MONTHS = {month.lower() for month in month_abbr if month}  # Babel says them
NAMES = STEPS_TYPED | MONTHS | {"rig", "bm1", "kpa", "min"}
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


SIGHTS = ("--sight", "1283mm,860mm,25m,25m", "--sight", "1612mm,1219mm,55m,5m")
SAID = (
    ("rules", "--span", "3m"),
    ("room", "list"),
    ("check", "two-peg", *SIGHTS),
    ("check", "repeat", *(word for n in range(5) for word in ("--reading", f"{1200 + n % 2}mm"))),
    ("look", "--from", "0.5m,1m", "--to", "2.5m,1m", "--gap", "3mm", "--at", "1.5m,1m"),
    ("log", "add", "--air", "21C"),
    ("product", "add", "Feinspachtel", "--bag-yield", "14l", "--bag-mass", "25kg"),
    ("product", "list"),
    ("quote", "--product", "Feinspachtel", "--area", "20m2", "--depth", "6mm"),
    ("relabel", "--from", "A1", "--shift", "1"),
    ("undo",),
    ("edit", "--waste", "8%"),
    ("floor",),
    ("plan", "--flat", "--max-slope", "2mm/m"),
    ("copy", "copy.sqlite"),
    ("export", "--format", "dxf", "--out", "out"),
    ("flatness", "--kind", "finished", "--why"),
    ("firm",),
    ("room", "add", "Kitchen", "--room", "2m,2m", "--at", "9m,9m"),
    ("floor", "--room", "Kitchen"),
)


def test_no_other_command_nor_live_work_tells_english(run: Run) -> None:
    make(run, "finished")
    told = {}
    with speaking(MADE_UP):
        for words in SAID:
            done = run(*words)
            told[" ".join(words[:2])] = done.out + done.err
        make(run, "grid")
        typed = "1200\n1201\nundo\n1201\n1300\ny\nskip\nwhat\n1204\nq\n"
        told["survey"] = run("survey", "--typed", "--unit", "mm", typed=typed).out
        make(run, "planned")
        typed = "1100\n1180\n1190\n1184\nundo\n1300\nskip\nq\n"
        told["set"] = run("set", "--typed", "--unit", "mm", typed=typed).out
        make(run, "pour planned")
        typed = "front 1\ntick dam\nbatch\nbatch\nundo\nbatch\nundo\nnonsense\nbatch\ny\nstop\n"
        told["pour"] = run("pour", "run", typed=typed).out
    told["product list"] = re.sub(r"\): .*", "", told["product list"])  # as it is typed
    told["product add"] = re.sub(r"\): .*", "", told["product add"])
    more = {"kitchen", "feinspachtel", "room"}
    left = {
        key: [line for line in text.splitlines() if english(line) - NAMES - more]
        for key, text in told.items()
    }
    assert all(told.values())
    wrong = {key: lines for key, lines in left.items() if lines}
    assert not wrong, pformat(wrong, width=200)


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
