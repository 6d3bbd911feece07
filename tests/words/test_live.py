from dataclasses import fields
from typing import Any, get_args

import pytest

from rig.events import Event, Standing
from rig.units import Units
from rig.words.live import said, stand
from tests.events import event


@pytest.mark.parametrize(
    ("told", "words"),
    [
        ({"event": "prompt", "marker": "M7", "text": "raise 3/16"}, "raise three sixteenths"),
        ({"event": "set", "marker": "M7", "text": "set"}, "set"),
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
def test_a_voice_says_what_the_screen_does_in_few_words(told: Any, words: Any) -> None:
    assert said(event(told), Units("in", 32)).ear == words


def test_the_end_of_a_walk_names_what_was_left_out() -> None:
    def text(told: Any) -> Any:
        return said(event({"event": "done", **told}), Units("in", 32)).text

    assert text({"skipped": ["D5", "E1"]}) == "Done; skipped: D5, E1."
    assert text({"left": ["M3"], "set": 2}) == "Done; not set: M3."
    assert text({"skipped": []}) == text({"left": [], "set": 3}) == "Done."


@pytest.mark.parametrize("kind", get_args(Event), ids=lambda kind: kind.__name__)
def test_what_is_heard_is_also_seen(kind: Any) -> None:
    told = {"event": kind.event} | {one.name: "x" for one in fields(kind) if one.name == "text"}
    made = event(told)
    if type(made) is kind:
        shown = said(made, Units("in", 32))
        assert not shown.ear or shown.text
        assert shown.level in ("head", "say", "warn")


def test_how_the_rod_stands_is_said_as_the_machine_sees_it() -> None:
    def words(state: Any, armed: bool = True, **more: Any) -> Any:
        return stand(Standing(time_s=0.0, state=state, armed=armed, still=0.5, **more))

    assert words("still") == "still"
    assert words("swinging", swings=1, swings_of=3) == "swing 1 of 3"
    assert words("still", armed=False) == "walk on"
    assert words("moving", armed=False) == "moving"
