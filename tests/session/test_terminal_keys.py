"""Keys and typed lines as a terminal and a pipe bring them, stops and odd bytes included."""

import asyncio
import os
import pty
import signal
import subprocess
import sys
import termios
import time
from collections.abc import AsyncGenerator
from pathlib import Path
from typing import cast

import pytest

from rig.devices.clock import Clock
from rig.session.items import Act
from rig.session.keys import keys


@pytest.fixture
def terminal(monkeypatch: pytest.MonkeyPatch) -> tuple[int, int]:
    """A pseudo-terminal as standard input: its far end and ours."""
    far, near = pty.openpty()
    monkeypatch.setattr(sys, "stdin", os.fdopen(near, "r", closefd=False))
    monkeypatch.setattr(os, "tcgetpgrp", lambda descriptor: os.getpgrp())
    return far, near


def is_line_by_line(descriptor: int) -> bool:
    return bool(termios.tcgetattr(descriptor)[3] & termios.ICANON)


def test_an_odd_byte_does_not_end_the_keys_and_a_stop_does_not_deaden_them(
    terminal: tuple[int, int],
) -> None:
    far, near = terminal
    as_it_was = termios.tcgetattr(near)

    async def go() -> list[str]:
        found = cast("AsyncGenerator[Act, None]", keys(Clock()))
        heard = []
        os.write(far, b"\xff")
        first = asyncio.ensure_future(anext(found))
        await asyncio.sleep(0.1)
        assert not is_line_by_line(near)
        os.write(far, b"u")
        heard.append((await asyncio.wait_for(first, 5.0)).name)
        termios.tcsetattr(near, termios.TCSANOW, as_it_was)  # as a shell does on Ctrl-Z
        assert is_line_by_line(near)
        os.kill(os.getpid(), signal.SIGCONT)
        await asyncio.sleep(0.1)
        assert not is_line_by_line(near)
        os.write(far, b"s")
        heard.append((await asyncio.wait_for(anext(found), 5.0)).name)
        await found.aclose()
        return heard

    assert asyncio.run(go()) == ["undo", "skip"]
    assert is_line_by_line(near)


def test_a_line_that_is_no_text_is_refused_and_the_next_one_taken(tmp_path: Path) -> None:
    job = str(tmp_path / "job.sqlite")

    def rig(*words: str, typed: bytes = b"") -> "subprocess.CompletedProcess[bytes]":
        command = [sys.executable, "-m", "rig.cli", *words, "--job", job]
        return subprocess.run(command, input=typed, capture_output=True, timeout=60)

    assert rig("new", "--room", "3m,4m", "--units", "mm").returncode == 0
    assert rig("grid", "--spacing", "2m").returncode == 0
    begun = time.monotonic()
    ran = rig("survey", "--typed", "--json", typed=b"\xff\xfe12\n1200\n1201\nq\n")
    assert time.monotonic() - begun < 30.0
    assert ran.stdout.count(b'"event": "shot"') + ran.stdout.count(b'"event":"shot"') == 2
    assert b"Traceback" not in ran.stderr
    assert b"\\xff" in ran.stderr
