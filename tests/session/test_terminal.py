import time
from typing import Any

import pytest

from rig.session.terminal import BigScreen, PlainLines, big_letters, line_of
from rig.units import Units
from tests.events import event

IN, MM = Units("in", 32), Units("mm", 32)


@pytest.mark.parametrize(("width", "height"), [(60, 12), (80, 18), (100, 24), (200, 50)])
@pytest.mark.parametrize("text", ["raise 3/16", "lower 1 15/32", "hold", "set", "raise 4.5 mm"])
def test_big_letters_fit_and_grow_with_the_terminal(text: str, width: int, height: int) -> None:
    rows = big_letters(text, width, height).splitlines()
    assert 5 <= len(rows) <= height
    assert max(map(len, rows)) <= width
    assert len(big_letters(text, 4 * width, 4 * height).splitlines()) > len(rows) or len(rows) >= 15


def test_a_terminal_too_small_for_big_letters_still_says_it() -> None:
    assert big_letters("raise 3/16", 12, 3) == "raise 3/16"


def test_a_line_says_each_thing_once() -> None:
    said: list[Any] = []
    sink = PlainLines(IN, said.append)
    prompt = {"event": "prompt", "marker": "M1", "text": "raise 3/16"}
    for told in (prompt, prompt, {"event": "reading"}, prompt):
        sink.hear(event(told))
    assert said == ["  M1: raise 3/16"]


def test_a_question_says_how_it_is_answered() -> None:
    ask = {"event": "ask", "text": "already at height: is this M1?"}
    assert line_of(event(ask), MM) == "  ! already at height: is this M1? (y if so)"
    said = {"event": "ask", "text": "If there were two, say yes."}
    assert line_of(event(said), MM) == "  ! If there were two, say yes. (y if so)"


def test_a_set_marker_says_how_far_off_it_stands() -> None:
    told = {"event": "set", "marker": "M4", "residual_mm": -0.31}
    assert line_of(event(told), MM) == "  M4 SET (0.3 mm low)"
    assert line_of(event(told), IN) == "  M4 SET (less than 1/32 in low)"
    assert line_of(event({**told, "residual_mm": 0.9}), IN) == "  M4 SET (1/32 in high)"


@pytest.fixture
def screen(monkeypatch: pytest.MonkeyPatch) -> tuple[BigScreen, list[float]]:
    """The big screen with a clock in the test's hand: (screen, clock)."""
    clock = [0.0]
    monkeypatch.setattr(time, "monotonic", lambda: clock[0])
    big = BigScreen(IN, "keys")
    for n in range(20):
        clock[0] = n / 20
        big.hear(
            event({"event": "reading", "time_s": n / 20, "value_mm": 1200.0, "status": "valid"})
        )
    big.hear(event({"event": "prompt", "marker": "M1", "text": "raise 3/16"}))
    return big, clock


def test_a_prompt_is_taken_back_when_the_beam_is_lost(
    screen: tuple[BigScreen, list[float]],
) -> None:
    big, clock = screen
    assert big.shown == ("raise 3/16", "M1")
    for n in range(20, 32):
        clock[0] = n / 20
        big.hear(
            event({"event": "reading", "time_s": n / 20, "value_mm": None, "status": "no_beam"})
        )
    assert big.shown == ("no beam", "M1")
    big.hear(event({"event": "reading", "time_s": 1.6, "value_mm": 1201.0, "status": "valid"}))
    assert "raise" not in big.shown[0]
    big.hear(event({"event": "prompt", "marker": "M1", "text": "hold"}))
    assert big.shown == ("hold", "M1")


def test_a_prompt_is_taken_back_when_the_rod_falls_silent_or_the_link_breaks(
    screen: tuple[BigScreen, list[float]],
) -> None:
    big, clock = screen
    clock[0] += 0.6
    big.tick()
    assert big.shown[0] == "no readings"
    big.hear(event({"event": "lost", "time_s": 2.0, "reason": "unplugged"}))
    assert big.shown[0] == "link lost"
    big.hear(event({"event": "back", "time_s": 3.0, "gap_s": 1.0}))
    assert big.shown[0] == "…"
    big.hear(event({"event": "prompt", "marker": "M1", "text": "lower 1/8"}))
    assert big.shown[0] == "lower 1/8"


def test_where_to_go_stays_while_the_rod_is_carried_without_beam(
    screen: tuple[BigScreen, list[float]],
) -> None:
    big, clock = screen
    big.hear(event({"event": "armed", "label": "C4", "text": "C4: 6 ft from the door wall"}))
    for n in range(20, 32):
        clock[0] = n / 20
        big.hear(
            event({"event": "reading", "time_s": n / 20, "value_mm": None, "status": "no_beam"})
        )
    assert big.shown[0] == "C4"
    assert "no beam" in big.shown[1]


def test_a_lost_counter_does_not_hide_the_wet_edge(screen: tuple[BigScreen, list[float]]) -> None:
    big, _ = screen
    big.hear(
        event({"event": "edges", "left_s": 240.0, "strips": [1], "ages_s": [480.0], "text": "edge"})
    )
    big.hear(event({"event": "lost", "time_s": 2.0, "reason": "unplugged"}))
    assert big.shown[0] == "edge 4 min left"
