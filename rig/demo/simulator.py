"""The simulators as processes of their own, known only by a port and the files that they write."""

import contextlib
import json
import os
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import IO, Any

from rig.demo.lockstep import Lockstep
from rig.demo.truth import CrewTruth, Truth, read
from rig.errors import DeviceUnavailable
from rig.events import Event, Heard, Standing
from rig.language import say

RATE_HZ = 20.0


@dataclass
class Simulator:
    """A running simulated rod: the options that name it, and where its installer listens.

    In lockstep `pace` has its world's time.
    """

    source: list[str]
    events: IO[str]
    pace: Lockstep | None = None
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def hear(self, event: Event) -> None:
        """Pass on what the tool says; the simulated installer acts on it."""
        if not isinstance(event, Heard | Standing):
            self.tell(event.as_json())

    def tell(self, told: Mapping[str, Any]) -> None:
        """Pass on one object, from whatever thread."""
        with self._lock:
            self.events.write(json.dumps(dict(told)) + "\n")
            self.events.flush()


@contextlib.contextmanager
def simulated_rod(
    link: str, seed: int, speed: float, more: list[str], *, lockstep: bool = False
) -> Iterator[Simulator]:
    """Start the simulated rod as a process of its own, known only by its port and truth file.

    Its time goes by with the wall clock, or in lockstep with the sessions that use it. While it
    runs, Bluetooth means its private bus. What it says of itself is told only where it does not
    start: standard error is for the tool.
    """
    words = [link, "--seed", str(seed), "--rate", f"{RATE_HZ:g}", "--speed", str(speed)]
    words += ["--follow", *more, *(["--lockstep"] if lockstep else [])]
    said = tempfile.TemporaryFile("w+")  # noqa: SIM115
    process = subprocess.Popen(
        [sys.executable, "-m", "simulated_devices", *words],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=said,
        text=True,
    )
    assert process.stdin is not None
    assert process.stdout is not None
    before = dict(os.environ)
    try:
        place = process.stdout.readline().strip()
        if not place:
            said.seek(0)
            last = said.read().strip().rpartition("\n")[2]
            raise DeviceUnavailable(say("The simulated rod did not start. {why}", why=last))
        if link == "ble":
            name, _, bus = process.stdout.readline().strip().partition("=")
            os.environ[name] = bus
        simulator = Simulator([f"--{link}", place], process.stdin)
        if lockstep:
            go = partial(simulator.tell, {"do": "go"})
            simulator.pace = Lockstep(go, RATE_HZ, speed, time.time())
        yield simulator
    finally:
        os.environ.clear()
        os.environ.update(before)
        process.terminate()
        process.wait(timeout=10)
        with contextlib.suppress(BrokenPipeError):
            process.stdin.close()
        process.stdout.close()
        said.close()


def cure(
    truth: Path, cured: Path, plane: tuple[float, float, float], seed: int, *more: str
) -> None:
    """Have the simulator pour a floor to a plane (a, b, c; mm) and write the cured floor."""
    a, b, c = plane
    words = ["--floor", str(truth), "--out", str(cured), "--seed", str(seed)]
    words += [f"--plane={a},{b},{c}", *more]
    done = subprocess.run([sys.executable, "-m", "simulated_devices.pour", *words])
    if done.returncode:
        raise DeviceUnavailable(say("The simulated pour did not come about."))


def simulated_crew(plan: Path, truth: Path, seed: int) -> tuple[list[tuple[float, str]], CrewTruth]:
    """Return what a simulated crew says and when, in seconds, and what it really does."""
    words = ["crew", "--plan", str(plan), "--seed", str(seed), "--truth", str(truth)]
    spoken = subprocess.run(
        [sys.executable, "-m", "simulated_devices", *words],
        check=True,
        capture_output=True,
        text=True,
    ).stdout
    script = [(float(at), word) for at, word in (x.split(" ", 1) for x in spoken.splitlines())]
    return script, read(CrewTruth, truth)


def truth_of(path: Path) -> Truth:
    """Read a simulated rod's truth file."""
    return read(Truth, path)
