import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.guidance.phrases import done_text, move, prompt, sounding, spoken, spoken_event
from rig.units import MM_PER_IN, parse_length


@pytest.mark.parametrize(
    ("what", "by_mm", "units", "denominator", "text"),
    [
        ("raise", 3 / 16 * 25.4, "in", 32, "raise 3/16"),
        ("lower", 1 / 8 * 25.4, "in", 32, "lower 1/8"),
        ("lower", 1.25 * 25.4, "in", 32, "lower 1 1/4"),
        ("raise", 4.6, "mm", 32, "raise 4.5 mm"),
        ("lower", 12.0, "mm", 32, "lower 12 mm"),
        ("hold", 0.3, "in", 32, "hold"),
        ("raise", 0.1, "in", 32, "raise 1/32"),
        ("raise", 0.1, "mm", 32, "raise 0.5 mm"),
        ("lower", 1.2, "in", 8, "lower 1/8"),
    ],
)
def test_a_prompt_says_what_to_do(what, by_mm, units, denominator, text):
    assert prompt(what, by_mm, units, denominator) == text


def test_a_top_that_stands_too_high_is_lowered():
    assert move(1.01, 1.0) == "lower"
    assert move(-1.01, 1.0) == "raise"
    assert move(1.0, 1.0) == move(-1.0, 1.0) == move(0.0, 1.0) == "hold"


@given(
    st.sampled_from(["raise", "lower"]),
    st.floats(0.001, 500.0),
    st.sampled_from(["in", "mm"]),
    st.sampled_from([8, 16, 32, 64]),
)
def test_the_amount_shown_is_the_nearest_that_is_not_nothing(what, by_mm, units, denominator):
    word, amount = prompt(what, by_mm, units, denominator).split(" ", 1)
    step = MM_PER_IN / denominator if units == "in" else 0.5
    shown = parse_length(amount, unit="in" if units == "in" else None)
    assert word == what
    assert shown >= step - 1e-9
    assert math.isclose(shown, by_mm, abs_tol=step / 2 + 1e-6) or (shown < step * 1.01)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("raise 3/16", "raise three sixteenths"),
        ("lower 1 1/4", "lower one and a quarter"),
        ("raise 4.5 mm", "raise four and a half millimetres"),
        ("lower 1/2", "lower a half"),
        ("raise 1/8", "raise an eighth"),
        ("raise 1/16", "raise a sixteenth"),
        ("raise 5/32", "raise five thirty-seconds"),
        ("raise 2 31/64", "raise two and thirty-one sixty-fourths"),
        ("lower 3/4", "lower three quarters"),
        ("lower 1", "lower one inch"),
        ("lower 12", "lower twelve inches"),
        ("raise 0.5 mm", "raise half a millimetre"),
        ("raise 1 mm", "raise one millimetre"),
        ("raise 21 mm", "raise twenty-one millimetres"),
        ("raise 140.2 mm", "raise one hundred and forty point two millimetres"),
        ("raise 3/10", "raise three tenths"),
        ("raise 2/3", "raise two over three"),
        ("hold", "hold"),
        ("set", "set"),
        ("already at height: is this M7?", "already at height: is this M7?"),
    ],
)
def test_spoken_words_sound_right(text, words):
    assert spoken(text) == words


@given(
    st.sampled_from(["raise", "lower"]),
    st.floats(0.001, 3000.0),
    st.sampled_from(["in", "mm"]),
    st.sampled_from([2, 4, 8, 16, 32, 64]),
)
def test_no_prompt_is_left_with_figures(what, by_mm, units, denominator):
    words = spoken(prompt(what, by_mm, units, denominator))
    assert not any(character.isdigit() or character == "/" for character in words)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (
            "C4: 6 ft from the door wall, 4 ft 6 1/2 in from the left wall",
            "C 4: six feet from the door wall, four feet six and a half inches from the left wall",
        ),
        ("1 ft from wall 2, 1 in from wall 3", "one foot from wall 2, one inch from wall 3"),
        (
            "1.85 m from wall 1, 1 m from wall 2",
            "one point eight five metres from wall 1, one metre from wall 2",
        ),
        ("1/2 in from the door wall", "half an inch from the door wall"),
        (
            "the line reads 3/16 in higher than at the survey",
            "the line reads three sixteenths of an inch higher than at the survey",
        ),
        (
            "B4 is 9 mm above what its neighbours say: shoot it again? (rig survey --label B4)",
            "B 4 is nine millimetres above what its neighbours say: shoot it again?",
        ),
        ("the edge in strip 2 is 12 min old", "the edge in strip 2 is twelve minutes old"),
        ("2 in all, steeper than 3 mm/m", "2 in all, steeper than 3 mm/m"),
    ],
)
def test_lengths_times_and_labels_in_a_sentence_sound_right(text, words):
    assert sounding(text) == words


@pytest.mark.parametrize(
    ("told", "words"),
    [
        ({"event": "prompt", "marker": "M7", "text": "raise 3/16"}, "raise three sixteenths"),
        ({"event": "set", "marker": "M7"}, "set"),
        (
            {"event": "next", "marker": "M8", "text": "6 ft from the door wall"},
            "next, M 8: six feet from the door wall",
        ),
        ({"event": "shot", "label": "C4"}, "C 4 taken"),
        (
            {"event": "batch", "n": 5, "bags_left": 12.0, "text": ""},
            "batch five poured, twelve bags left",
        ),
        (
            {"event": "batch", "n": 5, "bags_left": 2.5, "text": ""},
            "batch five poured, 2.5 bags left",
        ),
        ({"event": "estimate", "short_bags": 0, "text": "enough"}, ""),
        ({"event": "reading", "value_mm": 1200.0}, ""),
        ({"event": "lost", "reason": "unplugged"}, "rod lost"),
    ],
)
def test_a_voice_says_what_the_screen_does_in_few_words(told, words):
    assert spoken_event(told) == words


def test_the_end_of_a_walk_names_what_was_left_out():
    assert done_text({"skipped": ["D5", "E1"]}) == "Done; skipped: D5, E1."
    assert done_text({"left": ["M3"]}) == "Done; not set: M3."
    assert done_text({"skipped": []}) == done_text({"left": []}) == "Done."
