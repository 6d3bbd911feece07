"""The same parts on a terminal: the answer first, nothing wider than the terminal, no word lost."""

import re

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rig.drawing.vector import Drawing
from rig.report.document import Block, Bullets, Facts, Figure, Section, Table, Words, section
from rig.report.text import MORE, UNBROKEN, terminal_width, to_text

CAUTIONS = Bullets(
    ("Wear a mask.", "Two lift a bag."), "warning", reminder="2 cautions, whole in the report."
)


def plan() -> Section:
    return section(
        "plan",
        "Finished plane",
        Facts((("Cover", "8 mm at the high point"), ("Lifts", "1"))),
        Words("Buy 12 bags.", "lead", told="answer"),
        CAUTIONS,
        Words("By flat triangles it is less.", told="paper"),
        Figure("plan", Drawing(10.0, 10.0, (), "Plan", "")),
    )


def test_the_answer_stands_first_with_a_reminder_of_what_is_behind_it() -> None:
    assert to_text([plan()], last="Next: rig markers", width=80).splitlines() == [
        "Buy 12 bags.",
        "! 2 cautions, whole in the report.",
        MORE,
        "Next: rig markers",
    ]


def test_why_tells_the_rest_under_its_title_and_only_paper_the_rest_of_that() -> None:
    assert to_text([plan()], why=True, last="Next: rig markers", width=80).splitlines() == [
        "Buy 12 bags.",
        "",
        "FINISHED PLANE",
        "Cover  8 mm at the high point",
        "Lifts  1",
        "  ! Wear a mask.",
        "  ! Two lift a bag.",
        "",
        "Next: rig markers",
    ]


def test_sections_without_an_answer_are_told_whole() -> None:
    text = to_text([section("a", "Pour", Words("None yet (rig pour plan)."))], width=80)
    assert text == "POUR\nNone yet (rig pour plan)."


def test_a_verdict_has_its_word_before_it_and_an_answer_alone_no_pointer() -> None:
    told = section("proof", "Proof", Words("It keeps the rule.", "good", told="answer"))
    assert to_text([told], width=80) == "IN: It keeps the rule."


def test_a_figure_is_told_in_characters_of_the_given_width() -> None:
    def dots(width: int) -> list[str]:
        return ["." * (width - 2)]

    figure = Figure("f", Drawing(1.0, 1.0, (), "F", ""), dots, told="answer")
    assert to_text([section("f", "F", figure)], width=12) == ".........."


def test_numbers_of_a_table_stand_to_the_right_under_their_head() -> None:
    table = Table("Ways", ("Way", "Bags"), (("pour", "12"), ("patch", "4")), right=(1,))
    assert to_text([section("t", "T", table)], width=80).splitlines() == [
        "T", "Ways", "  Way    Bags", "  pour     12", "  patch     4",
    ]  # fmt: skip


def test_a_table_too_wide_breaks_its_words_and_then_becomes_records() -> None:
    rows = (("M1", "3/16 in", "by the door, 4 ft from the left wall"),)
    table = section("m", "M", Table("Markers", ("Marker", "Out", "Where"), rows, right=(1,)))
    assert to_text([table], width=40).splitlines() == [
        "M",
        "Markers",
        "  Marker      Out  Where",
        "  M1      3/16 in  by the door, 4 ft",
        "                   from the left wall",
    ]
    assert to_text([table], width=28).splitlines() == [
        "M",
        "Markers",
        "  M1",
        "    Out: 3/16 in",
        "    Where: by the door, 4 ft",
        "    from the left wall",
    ]


def test_what_goes_to_no_terminal_is_not_broken(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("COLUMNS", raising=False)
    assert terminal_width() == UNBROKEN
    monkeypatch.setenv("COLUMNS", "64")
    assert terminal_width() == 64


WORD = st.sampled_from(["a", "bag", "cab", "deed", "faced", "gagged", "cabbages"])
TEXT = st.lists(WORD, min_size=1, max_size=12).map(" ".join)
BLOCK: st.SearchStrategy[Block] = st.one_of(
    st.builds(Words, TEXT, st.sampled_from(["plain", "lead", "warning"])),
    st.builds(Bullets, st.lists(TEXT, min_size=1, max_size=3).map(tuple)),
    st.builds(Facts, st.lists(st.tuples(TEXT, TEXT), min_size=1, max_size=3).map(tuple)),
    st.lists(st.tuples(WORD, TEXT, WORD), min_size=1, max_size=3).map(
        lambda rows: Table("T", ("X", "Y", "Z"), tuple(rows), right=(2,))
    ),
)


@settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(BLOCK, min_size=1, max_size=4), st.integers(30, 120))
def test_nothing_is_wider_than_the_terminal_and_no_word_is_lost(
    blocks: list[Block], width: int
) -> None:
    told = Section("s", "S", tuple(blocks))
    text = to_text([told], why=True, width=width)
    assert max(map(len, text.splitlines())) <= width
    whole = to_text([told], why=True, width=UNBROKEN)
    assert set(re.findall("[a-g]+", whole)) == set(re.findall("[a-g]+", text))
