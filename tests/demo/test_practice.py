"""A practice round that is left, and the clock that a practice pour goes by."""

import asyncio
import time
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any, cast

import pytest

from rig.demo.practice import Practice
from rig.demo.stage import Commands, Stage
from rig.devices.clock import Clock
from rig.errors import CannotAnswer
from rig.events import Event, PourEvent, Prepour
from rig.page.server import Page
from rig.session.items import Act
from rig.session.sources import watched


class _Left:
    """Commands that a trainee leaves with Ctrl-C in the pour."""

    def __init__(self, heard: list[Event]) -> None:
        self._heard = heard

    def run(self, words: Any) -> None:
        """Do nothing."""

    def log_pour(self, job: Path, *, sinks: Any, **options: Any) -> None:
        """Tell what is told before the first batch, and no end."""
        for event in self._heard:
            for sink in sinks:
                sink.hear(event)


@pytest.mark.parametrize("heard", [[], [Prepour(left=("dam",), text="a dam")]])
def test_a_pour_that_is_left_ends_practice_with_a_word(
    heard: list[PourEvent], tmp_path: Path
) -> None:
    commands = cast("Commands", _Left(list(heard)))
    practice = Practice(commands, cast("Page", None), tmp_path, 1, 1.0, (2000.0, 2000.0))
    with pytest.raises(CannotAnswer, match="left in the pour"):
        practice._pour(Stage(commands, tmp_path / "job.sqlite", 1.0))


def test_taps_in_a_quick_pour_say_nothing_of_the_time_of_day() -> None:
    clock = Clock(20.0)

    async def taps() -> AsyncIterator[Act]:
        for _ in range(3):
            time.sleep(0.15)
            yield Act(*clock.now(), "batch")

    async def told() -> list[object]:
        return [item async for item in watched(taps(), clock)]

    assert [type(item) for item in asyncio.run(told())] == [Act] * 3
