"""Keys and words of the pour log."""

import pytest

from rig.errors import BadInput
from rig.session.pour_keys import PourKeys, parse_words


def test_a_batch_is_one_key_and_what_bends_the_log_needs_enter() -> None:
    parser = PourKeys()
    assert parser.feed("b ") == [("batch", None), ("batch", None)]
    assert parser.feed("f M1") == []
    assert parser.feed("2\n") == [("front", "M12")]
    assert parser.feed("fM\x7f3\r") == [("front", "3")]
    assert parser.feed("s") == []
    assert parser.feed("\n") == [("stop", None)]
    assert parser.feed("f\nuyqz") == [("undo", None), ("accept", None), ("quit", None)]
    assert parser.feed("tdam\n") == [("tick", "dam")]
    assert parser.feed("f#b") == [("batch", None)]


def test_words_are_acts_or_refused() -> None:
    assert parse_words("front m3\n") == ("front", "m3")
    assert parse_words("  B \n") == ("batch", None)
    assert parse_words("yes") == ("accept", None)
    assert parse_words("\n") is None
    for wrong in ("front", "batch 3", "stopp", "tick"):
        with pytest.raises(BadInput, match="not understood"):
            parse_words(wrong)
