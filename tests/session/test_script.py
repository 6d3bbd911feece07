"""A script's clock waits for what its acts make."""

import asyncio
from typing import Any

from rig.devices.reading import Reading
from rig.session.items import Log
from rig.session.run import Stream, run
from rig.session.sources import Script


class Slow:
    """A machine that takes its time over each act, and writes down when it heard what."""

    def __init__(self, acts: int) -> None:
        self.heard: list[tuple[str, float]] = []
        self._acts = acts

    @property
    def finished(self) -> bool:
        return sum(kind == "act" for kind, _ in self.heard) == self._acts

    def start(self, time_s: float) -> list[Any]:
        return []

    def act(self, name: str, time_s: float, argument: Any = None) -> list[Any]:
        self.heard.append(("act", time_s))
        return []

    def reading(self, reading: Reading) -> list[Any]:
        return []

    def typed(self, value_mm: float, stderr_mm: float, time_s: float) -> list[Any]:
        return []

    def lost(self, time_s: float) -> list[Any]:
        return []

    def back(self, time_s: float) -> list[Any]:
        return []

    def tick(self, time_s: float) -> list[Any]:
        self.heard.append(("tick", time_s))
        return []


def test_acts_have_the_seconds_of_the_script_and_no_tick_overtakes_one() -> None:
    lines = [(at_s, "batch") for at_s in (3.0, 90.0, 95.0, 400.0)]
    script = Script(lines, lambda word: (word, None), speed=1000.0)
    machine = Slow(len(lines))
    asyncio.run(run(machine, [Stream(script.items())], Log(), [script], script))
    acts = [time_s for kind, time_s in machine.heard if kind == "act"]
    assert acts == [3.0, 90.0, 95.0, 400.0]
    times = [time_s for _, time_s in machine.heard]
    assert times[: times.index(400.0) + 1] == sorted(times[: times.index(400.0) + 1])


def test_its_clock_stands_still_at_a_line_that_nobody_has_worked_off() -> None:
    script = Script([(0.5, "batch"), (1.0, "batch")], lambda word: (word, None), speed=1e6)
    assert script.now()[0] == 0.5

    async def first() -> Any:
        return await anext(aiter(script.items()))

    assert asyncio.run(first()).time_s == 0.5
    assert script.now()[0] == 0.5
    script.ready()
    assert script.now()[0] == 1.0
