import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.page.messages import Do, Hello, Move, Refused, Take, parse


@pytest.mark.parametrize(
    ("told", "message"),
    [
        ({"say": "hello", "phone": "a1"}, Hello("a1")),
        ({"say": "take"}, Take()),
        ({"say": "act", "act": "accept"}, Do("accept")),
        ({"say": "act", "act": "goto", "label": "C4"}, Do("goto", "C4")),
        ({"say": "rod", "do": "move", "x": 1.5, "y": 2}, Move({"do": "move", "x": 1.5, "y": 2})),
    ],
)
def test_what_a_phone_may_say(told: Any, message: Any) -> None:
    assert parse(json.dumps(told)) == message


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("", "no JSON"),
        ("{", "no JSON"),
        ("[" * 500, "no JSON"),
        ("[1]", "no JSON object"),
        (b"\x00", "not text"),
        (json.dumps({"say": "act", "act": "x" * 2000}), "too long"),
        ('{"say": "act"}', "nothing that is known"),
        ('{"say": "act", "act": 3}', "nothing that is known"),
        ('{"say": "act", "act": "goto"}', "nothing that is known"),
        ('{"say": "act", "act": "goto", "label": ""}', "label"),
        ('{"say": "act", "act": "goto", "label": "a\\nb"}', "label"),
        ('{"say": "act", "act": "accept\\u0000"}', "nothing that is known"),
        ('{"say": "rod", "do": "move", "x": NaN, "y": 1}', "nothing that is known"),
        ('{"say": "rod", "do": "move", "x": "1"}', "nothing that is known"),
        ('{"say": "rod", "do": "move", "x": true}', "nothing that is known"),
        ('{"say": "hello"}', "nothing that is known"),
    ],
)
def test_anything_else_is_refused_with_a_reason(text: Any, why: Any) -> None:
    with pytest.raises(Refused, match=why):
        parse(text)


JSON = st.recursive(
    st.none() | st.booleans() | st.floats() | st.text(),
    lambda inner: (
        st.lists(inner)
        | st.dictionaries(st.sampled_from(["say", "act", "label", "phone", "do", "x"]), inner)
    ),
)


@given(st.text() | st.binary() | JSON.map(json.dumps))
def test_no_message_whatever_does_more_than_be_refused(text: Any) -> None:
    try:
        message = parse(text)
    except Refused:
        return
    assert isinstance(message, Hello | Take | Do | Move)
