"""The box at a rod, a process of its own; and what becomes of a survey whose parts are killed."""

import json
import time
from collections.abc import Callable
from pathlib import Path

from rig.events import AskMarker, Next, NextMarker, Rest, event_from
from tests.cli.conftest import Run
from tests.site.conftest import Place
from tools.endurance import site_parts


def test_each_part_of_a_site_may_be_killed_and_nothing_is_lost_or_doubled(tmp_path: Path) -> None:
    """Once each; `tools/endurance site --parts 200` kills them more often."""
    tally = site_parts.torment(4, 1, tmp_path, room="2m,2m", rods=1, longest_s=2.5)
    assert tally.sound, tally
    assert tally.killed.total() == 4
    assert tally.points == tally.told == 9


def test_a_box_says_at_once_that_there_is_no_link(run: Run, place: Place) -> None:
    words = ("site", "rods", "--site", place.folder / "kitchen.site", "--json")

    def seen() -> bool:
        rods = {one["rod"]: one for one in run(*words).json["rods"]}
        return "rod-3" in rods and rods["rod-3"]["link"] == "here" and rods["rod-3"]["rate_hz"] > 5

    with site_parts.CabledRod(place.folder / "rod-3.site") as rod:
        until(seen)
        place.kill()
        until(lambda: rod.heard["lost"] == 1)
        place.start()
        until(lambda: rod.heard["back"] == 1)
        until(seen)
    assert rod.box.ended_well


def until(true: Callable[[], bool]) -> None:
    for _ in range(600):
        if true():
            return
        time.sleep(0.05)
    raise AssertionError("it did not come")


def test_a_box_tells_events_of_one_name_apart() -> None:
    told = (
        Next(rod="rod-1", label="A1", x_mm=1.0, y_mm=None, text="A1"),
        NextMarker(rod="rod-1", marker="M1", x_mm=1.0, y_mm=2.0, text="M1"),
        AskMarker(rod="rod-1", marker="M1", text="M1?"),
        Rest(rod="rod-1"),
    )
    for event in told:
        assert event_from(json.dumps(event.as_json()).encode()) == event
    assert event_from(b'{"event": "next"}') is None
    assert event_from(b"[]") is None
