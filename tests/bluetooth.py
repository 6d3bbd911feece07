"""A private D-Bus and simulated Bluetooth rods on it, for tests."""

import contextlib
import json
import os
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from simulated_devices.private_bus import VARIABLE, private_bus
from tests.kinds import there

ROOT = Path(__file__).resolve().parents[1]


@dataclass
class SimulatedRod:
    """A running `python -m simulated_devices`, and how a tool reaches it."""

    process: subprocess.Popen[str]
    source: list[str]
    environment: dict[str, str] = field(default_factory=dict)


@contextlib.contextmanager
def simulated(
    link: str,
    *words: str,
    environment: dict[str, str] | None = None,
    by_address: bool = True,
) -> Iterator[SimulatedRod]:
    """Serve a simulated rod over a link until the end of the block.

    Named by its address it is found at once; by its name namesakes are waited for.
    """
    known = {**os.environ, **(environment or {})}
    if environment is None:
        known.pop(VARIABLE, None)
    with subprocess.Popen(
        [sys.executable, "-m", "simulated_devices", link, *words],
        cwd=ROOT,
        env=known,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as process:
        try:
            place = there(process.stdout).readline().strip()
            assert place, "the simulated rod did not start"
            bus = {}
            if link == "ble":
                name, _, address = there(process.stdout).readline().strip().partition("=")
                bus = {name: address}
                if by_address:
                    place = there(process.stdout).readline().strip()
            yield SimulatedRod(process, [f"--{link}", place], bus)
        finally:
            with contextlib.suppress(BrokenPipeError):
                there(process.stdin).close()
            process.terminate()
            process.wait(timeout=10)


def rig(
    *words: object,
    environment: dict[str, str] | None = None,
    cwd: Any = None,
    rod: SimulatedRod | None = None,
    timeout: int = 60,
) -> tuple[int, list[dict[str, Any]], str]:
    """Run the command line as a process; with `rod` what it tells goes to the installer there.

    Returns the exit code, the events (or the JSON result) and the standard error.
    """
    known = {**os.environ, **(environment or (rod.environment if rod else {}))}
    with subprocess.Popen(
        [sys.executable, "-m", "rig.cli", *map(str, words)],
        cwd=cwd,
        env=known | {"PYTHONPATH": str(ROOT)},
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as process:
        killer = threading.Timer(timeout, process.kill)
        killer.start()
        told = []
        for line in there(process.stdout):
            told.append(json.loads(line))
            if rod is not None and told[-1].get("event") != "reading":
                with contextlib.suppress(BrokenPipeError):
                    there(rod.process.stdin).write(line)
                    there(rod.process.stdin).flush()
        err = there(process.stderr).read()
        process.wait()
        killer.cancel()
    assert "Traceback" not in err, err
    return process.returncode, told, err


__all__ = ["SimulatedRod", "private_bus", "rig", "simulated", "time"]
