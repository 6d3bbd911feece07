from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.guidance.phrases import prompt
from rig.language import say, shown, speaking, tongue
from rig.units import METRIC, Units
from rig.words.sound import sounding, spoken


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
def test_spoken_words_sound_right(text: Any, words: Any) -> None:
    assert spoken(text) == words


@given(
    st.sampled_from(["raise", "lower"]),
    st.floats(0.001, 3000.0),
    st.sampled_from(["in", "mm"]),
    st.sampled_from([2, 4, 8, 16, 32, 64]),
)
def test_no_prompt_is_left_with_figures(
    what: Any, by_mm: Any, units: Any, denominator: Any
) -> None:
    words = spoken(prompt(what, by_mm, Units(units, denominator)))
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
def test_lengths_times_and_labels_in_a_sentence_sound_right(text: Any, words: Any) -> None:
    assert sounding(text) == words


def test_a_voice_of_another_language_reads_what_is_written() -> None:
    text = sounding(say("C4: {by} from wall 1 (rig undo takes it back)", by=METRIC.place(1850.0)))
    assert text == "C 4: one point eight five metres from wall 1"
    with speaking(tongue("de")):
        assert shown(text).startswith("C 4: 1,85 m ")
    prompt_text = spoken(prompt("raise", 4.5, METRIC))
    assert prompt_text == "raise four and a half millimetres"
    with speaking(tongue("de")):
        assert "4,5 mm" in shown(prompt_text)
