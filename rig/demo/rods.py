"""The demo of several rods: a survey that simulated rods share, on a broker of its own."""

import contextlib
import socket
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from rig.devices.broker import Site
from rig.errors import DeviceUnavailable
from rig.job.store import Job
from rig.language import join, put, say
from rig.record import Record
from rig.survey.heights import lines_of

ROOM = ("--room", "4m,5m", "--units", "mm")
ZERO_MM = 2.5
"""So much more reads each rod than the one before it: the simulated truth."""
QUICK = ("--dwell", "0.5", "--walk", "0.5")


@dataclass(frozen=True, slots=True, kw_only=True)
class RodTold(Record):
    """What one rod did; `zero_mm` is what it reads more than the first, `found_mm` by its ties."""

    rod: str
    shots: int
    labels: tuple[str, ...]
    zero_mm: float
    found_mm: float
    apart_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RodsTold(Record):
    """What the demo of several rods came to."""

    points: int
    seconds: float
    rods: tuple[RodTold, ...]


def show_rods(folder: Path, count: int, seed: int, as_json: bool) -> RodsTold:
    """Survey a made-up floor with so many simulated rods.

    Raises
    ------
    DeviceUnavailable
        Where the broker's program is missing.
    """
    command = (sys.executable, "-m", "rig.cli")
    for words in (("new", *ROOM), ("grid", "--spacing", "1m")):
        subprocess.run([*command, *words], cwd=folder, check=True, stdout=subprocess.DEVNULL)
    with _site(folder) as site:
        kitchen = folder / "kitchen.site"
        kitchen.write_text(site.invite("kitchen", "session").as_text())
        with _rods(site, folder, count, seed):
            begun_s = time.monotonic()
            survey = ("survey", "--site", str(kitchen), *QUICK)
            out = subprocess.DEVNULL if as_json else None
            subprocess.run(
                [*command, *survey], cwd=folder, check=True, stdin=subprocess.DEVNULL, stdout=out
            )
            seconds = time.monotonic() - begun_s
    return _told(folder / "job.sqlite", seconds)


def rods_text(told: RodsTold) -> str:
    """Write for people what it came to."""
    head = say(
        "{points} points in {seconds:.0f} s; floor and rods are simulated.",
        points=told.points,
        seconds=told.seconds,
    )
    first = say("{rod}: {shots} shots", rod=told.rods[0].rod, shots=told.rods[0].shots)
    each = [
        say(
            "{rod}: {shots} shots; its zero is {zero:.2f} mm off the first rod's, found "
            "{found:.2f} mm by the benchmark, {apart:.2f} mm apart",
            rod=one.rod,
            shots=one.shots,
            zero=one.zero_mm,
            found=one.found_mm,
            apart=one.apart_mm,
        )
        for one in told.rods[1:]
    ]
    shown = [say("Which rod shot which point:"), *(put(row) for row in _map(told.rods))]
    return join("\n", [head, *shown, first, *each])


def _map(rods: Sequence[RodTold]) -> Iterator[str]:
    """Yield rows that bear the number of each point's rod where the point is, A1 lowest left."""
    by = {label: rod.rod.rpartition("-")[2] for rod in rods for label in rod.labels}
    columns = sorted({label[:1] for label in by})
    for row in sorted({int(label[1:]) for label in by}, reverse=True):
        yield f"  {row:>2}  " + "  ".join(by.get(f"{column}{row}", "·") for column in columns)
    yield "      " + "  ".join(columns)


@contextlib.contextmanager
def _site(folder: Path) -> Iterator[Site]:
    site = Site(folder / "site")
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = int(probe.getsockname()[1])
    site.prepare("127.0.0.1", "127.0.0.1", port, {"localhost", "127.0.0.1"})
    broker = site.start()
    try:
        yield site
    finally:
        broker.terminate()
        broker.wait()


@contextlib.contextmanager
def _rods(site: Site, folder: Path, count: int, seed: int) -> Iterator[None]:
    words = [sys.executable, "-m", "simulated_devices", "site", "--seed", str(seed)]
    words += ["--zero-mm", str(ZERO_MM), "--room-mm", "4000,5000"]
    for n in range(count):
        path = folder / f"rod-{n + 1}.site"
        path.write_text(site.invite(f"rod-{n + 1}", "rod").as_text())
        words += ["--invitation", str(path)]
    with subprocess.Popen(words, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE) as running:
        try:
            assert running.stdout is not None
            if not running.stdout.readline():
                raise DeviceUnavailable(say("The simulated rods do not start."))
            yield
        finally:
            running.terminate()


def _told(path: Path, seconds: float) -> RodsTold:
    with Job.open(path) as job:
        shots, setups, sessions = job.shots(), job.setups(), job.sessions()
    lines = {one.setup: one.line_mm for one in lines_of(shots, "floor", setups)}
    rods = sorted({one.rod for one in sessions if one.rod is not None})
    own = {rod: f"1@{rod}" for rod in rods}
    first, told = rods[0], []
    for n, rod in enumerate(rods):
        found = lines.get(own[rod], 0.0) - lines.get(own[first], 0.0)
        taken = [shot for shot in shots if shot.setup == own[rod] and shot.kind == "floor"]
        told.append(
            RodTold(
                rod=rod,
                shots=len(taken),
                labels=tuple(shot.point for shot in taken),
                zero_mm=ZERO_MM * n,
                found_mm=found,
                apart_mm=abs(found - ZERO_MM * n),
            )
        )
    points = sum(one.shots for one in told)
    return RodsTold(points=points, seconds=round(seconds, 1), rods=tuple(told))
