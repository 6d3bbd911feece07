from hypothesis import given
from hypothesis import strategies as st

from rig.session.keys import KeyParser


def test_keys_become_acts() -> None:
    assert KeyParser().feed(" us") == [("accept", None), ("undo", None), ("skip", None)]
    assert KeyParser().feed("Q") == [("quit", None)]


def test_go_to_takes_a_label_up_to_enter() -> None:
    keys = KeyParser()
    assert keys.feed("gb") == []
    assert keys.feed("5\x7f4\n") == [("goto", "B4")]
    assert keys.feed("g\n ") == [("accept", None)]


@given(st.text(), st.integers(0, 50))
def test_keys_mean_the_same_however_they_arrive(text: str, cut: int) -> None:
    whole, pieces = KeyParser(), KeyParser()
    assert whole.feed(text) == pieces.feed(text[:cut]) + pieces.feed(text[cut:])
