import pytest

from rig.live.terminal import big_letters, line_of, plain_lines


@pytest.mark.parametrize(("width", "height"), [(60, 12), (80, 18), (100, 24), (200, 50)])
@pytest.mark.parametrize("text", ["raise 3/16", "lower 1 15/32", "hold", "set", "raise 4.5 mm"])
def test_big_letters_fit_and_grow_with_the_terminal(text, width, height):
    rows = big_letters(text, width, height).splitlines()
    assert 5 <= len(rows) <= height
    assert max(map(len, rows)) <= width
    assert len(big_letters(text, 4 * width, 4 * height).splitlines()) > len(rows) or len(rows) >= 15


def test_a_terminal_too_small_for_big_letters_still_says_it():
    assert big_letters("raise 3/16", 12, 3) == "raise 3/16"


def test_a_line_says_each_thing_once():
    said = []
    sink = plain_lines("in", 32, said.append)
    prompt = {"event": "prompt", "marker": "M1", "text": "raise 3/16"}
    for told in (prompt, prompt, {"event": "reading"}, prompt):
        sink(told)
    assert said == ["  M1: raise 3/16"]


def test_a_set_marker_says_how_far_off_it_stands():
    told = {"event": "set", "marker": "M4", "residual_mm": -0.31}
    assert line_of(told, "in", 32) == "  M4 SET (0.3 mm low)"
