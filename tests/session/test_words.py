"""Acts typed a line at a time, on a thread of their own."""

import asyncio
import os
import sys
import threading
from typing import Any

import pytest

from rig.devices.clock import Clock
from rig.session.items import Act
from rig.session.sources import words


def test_a_line_that_comes_when_the_session_is_over_is_no_error(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    here, there = os.pipe()
    monkeypatch.setattr(sys, "stdin", open(here, encoding="utf-8"))
    raised: list[Any] = []
    threads: list[Any] = []
    monkeypatch.setattr(threading, "excepthook", raised.append)

    async def first() -> str:
        async for act in words(lambda line: (line.strip(), None), Clock(), print):
            threads.extend(one for one in threading.enumerate() if one.name == "typed")
            assert isinstance(act, Act)
            return act.name
        raise AssertionError

    with open(there, "w", encoding="utf-8") as keyboard:
        keyboard.write("stop\n")
        keyboard.flush()
        assert asyncio.run(first()) == "stop"
        keyboard.write("more\n")
    (reading,) = threads
    reading.join(5.0)
    assert not reading.is_alive()
    assert raised == []
