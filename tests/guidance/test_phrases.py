import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.events import Move
from rig.guidance.phrases import move, prompt
from rig.units import MM_PER_IN, System, Units, parse_length


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
def test_a_prompt_says_what_to_do(
    what: Move, by_mm: float, units: System, denominator: int, text: str
) -> None:
    assert prompt(what, by_mm, Units(units, denominator)) == text


def test_a_top_that_stands_too_high_is_lowered() -> None:
    assert move(1.01, 1.0) == "lower"
    assert move(-1.01, 1.0) == "raise"
    assert move(1.0, 1.0) == move(-1.0, 1.0) == move(0.0, 1.0) == "hold"


@given(
    st.sampled_from(["raise", "lower"]),
    st.floats(0.001, 500.0),
    st.sampled_from(["in", "mm"]),
    st.sampled_from([8, 16, 32, 64]),
)
def test_the_amount_shown_is_the_nearest_that_is_not_nothing(
    what: Move, by_mm: float, units: System, denominator: int
) -> None:
    word, amount = prompt(what, by_mm, Units(units, denominator)).split(" ", 1)
    step = MM_PER_IN / denominator if units == "in" else 0.5
    shown = parse_length(amount, unit="in" if units == "in" else None)
    assert word == what
    assert shown >= step - 1e-9
    assert math.isclose(shown, by_mm, abs_tol=step / 2 + 1e-6) or (shown < step * 1.01)
