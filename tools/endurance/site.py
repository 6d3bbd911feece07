"""Several rods of a site against what a site has to bear: falls of the broker, haste, many rods.

The broker is the tests' own, on this machine; rods, boxes and installers are simulated and run by
the wall clock.
"""

import contextlib
import json
import math
import os
import random
import sqlite3
import statistics
import subprocess
import sys
import threading
import time
import tty
from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from simulated_devices.encode import sentence
from simulated_devices.rod import Sample
from simulated_devices.site_rod import SiteRod
from tests.site.conftest import Place

RIG = (sys.executable, "-m", "rig.cli")
QUICK = ("--dwell", "0.5", "--walk", "0.3")


def reading_mm(x_mm: float, y_mm: float) -> float:
    """Return what a rod reads over a gently warped floor."""
    return 1000.0 + 5.0 * math.sin(x_mm / 900.0) + 4.0 * math.cos(y_mm / 700.0)


@contextlib.contextmanager
def a_place(folder: Path, rods: int) -> Iterator[Place]:
    """Run a broker with accounts for so many rods and a session."""
    place = Place(folder)
    try:
        for n in range(rods):
            place.invite(f"rod-{n + 1}", "rod")
        place.invite("kitchen", "session")
        yield place
    finally:
        place.stop()


def rig(folder: Path, *words: str) -> None:
    """Run a command in a folder."""
    subprocess.run([*RIG, *words], cwd=folder, check=True, capture_output=True)


def survey(
    place: Place, name: str, room: str, spacing: str, rods: int, falls: int = 0, seed: int = 1
) -> tuple[float, list[dict[str, Any]], list[str]]:
    """Survey a room; return seconds from the first claim to the last shot, events, labels kept."""
    folder = place.folder / name
    folder.mkdir()
    rig(folder, "new", "--room", room, "--units", "mm")
    rig(folder, "grid", "--spacing", spacing)
    stop = threading.Event()
    with ExitStack() as stack:
        for n in range(rods):
            rod = SiteRod(
                place.folder / f"rod-{n + 1}.site",
                reading_mm,
                zero_mm=2.0 * n,
                seed=seed + n,
                least_walk_s=1.0,
                walk_mm_s=1000.0,
            )
            stack.enter_context(rod)
        process = subprocess.Popen(
            [*RIG, "survey", "--site", str(place.folder / "kitchen.site"), "--json", *QUICK],
            cwd=folder,
            stdout=subprocess.PIPE,
            stdin=subprocess.DEVNULL,
            text=True,
        )
        falling = threading.Thread(target=_falls, args=(place, falls, stop, seed), daemon=True)
        events, first_s, last_s = [], None, 0.0
        assert process.stdout is not None
        for line in process.stdout:
            event = json.loads(line)
            events.append(event)
            if event["event"] == "claim" and first_s is None:
                first_s = time.monotonic()
                if falls:
                    falling.start()
            if event["event"] == "shot":
                last_s = time.monotonic()
        process.wait()
        stop.set()
        if falls:
            falling.join()
    with contextlib.closing(sqlite3.connect(folder / "job.sqlite")) as kept:
        rows = kept.execute(
            "SELECT point FROM shot WHERE kind = 'floor' AND superseded_by IS NULL"
        ).fetchall()
    return last_s - (first_s or 0.0), events, sorted(label for (label,) in rows)


def _falls(place: Place, falls: int, stop: threading.Event, seed: int) -> None:
    rng = random.Random(seed)
    for _ in range(falls):
        if stop.wait(rng.uniform(1.0, 5.0)):
            return
        place.kill()
        time.sleep(rng.uniform(0.0, 0.5))
        place.start()


def floors(events: list[dict[str, Any]]) -> list[str]:
    """Return the labels of the floor shots that were told."""
    return sorted(
        one["label"] for one in events if one["event"] == "shot" and one["kind"] == "floor"
    )


def two_have_one(events: list[dict[str, Any]]) -> bool:
    """Tell whether two rods ever had a claim of one point."""
    held: dict[str, str] = {}
    for one in events:
        if one["event"] == "claim":
            if one["label"] in (label for rod, label in held.items() if rod != one["rod"]):
                return True
            held[one["rod"]] = one["label"]
        elif one["event"] in ("shot", "skipped", "lost"):
            held.pop(one["rod"], None)
    return False


def bears_falls(folder: Path, falls: int, seed: int) -> bool:
    """Kill the broker so often in a survey of some sixty points."""
    with a_place(folder, 3) as place:
        took_s, events, kept = survey(place, "falls", "5m,7m", "0.85m", 3, falls, seed)
    told = floors(events)
    gaps = sum(one["event"] == "gap" for one in events)
    print(
        f"{falls} falls of the broker: {len(kept)} points kept, {len(told)} told, "
        f"{len(told) - len(set(told))} twice, {gaps} gaps, {took_s:.0f} s"
    )
    return told == kept and len(set(told)) == len(told)


def shares(folder: Path, seed: int) -> bool:
    """Survey 42 points with one rod and with three."""
    with a_place(folder, 3) as place:
        one_s, _, alone = survey(place, "one", "6m,5m", "1m", 1, seed=seed)
        three_s, events, kept = survey(place, "three", "6m,5m", "1m", 3, seed=seed)
    share = three_s / one_s
    print(f"{len(alone)} points: one rod {one_s:.0f} s, three {three_s:.0f} s: {share:.2f} of it")
    return len(kept) == len(alone) and not two_have_one(events) and share <= 0.45


def prompts(folder: Path, rods: int, rate_hz: float, seconds: float) -> bool:
    """Time prompts from the reading that they are of, over the broker and over a cable."""
    with a_place(folder, rods) as place:
        job = folder / "set"
        job.mkdir()
        lay_markers(job)
        cable = _cable(job, rate_hz, seconds)
        found = by_broker(job, place, rods, rate_hz, seconds)
    session, box = found.at_session, found.at_box
    middle = [1000.0 * statistics.median(one) for one in (cable, session, box)]
    load = os.getloadavg()[0]
    print(
        f"prompts, medians: cable {middle[0]:.1f} ms; {rods} rods at {rate_hz:g} Hz: session "
        f"{middle[1]:.1f} ms, box {middle[2]:.1f} ms ({len(cable)}, {len(session)}, {len(box)} "
        f"prompts; load {load:.1f})"
    )
    return middle[1] <= middle[0] + 3.0 and middle[2] <= middle[0] + 5.0


def lay_markers(folder: Path) -> None:
    """Make a job whose markers are laid out."""
    rig(
        folder,
        "new",
        "--room",
        "6m,5m",
        "--units",
        "mm",
        "--min-cover",
        "6mm",
        "--bag-yield",
        "12l",
    )
    rig(folder, "grid", "--spacing", "1.5m")
    with contextlib.closing(sqlite3.connect(folder / "job.sqlite")) as kept:
        points = kept.execute("SELECT label, x_mm, y_mm FROM point").fetchall()
    rows = [f"{label},{x},{y},{reading_mm(x, y):.2f}" for label, x, y in points]
    (folder / "shots.csv").write_text("label,x,y,reading\n" + "\n".join(rows) + "\n")
    rig(folder, "import", "shots.csv", "--unit", "mm")
    rig(folder, "plan")
    rig(folder, "markers", "--reach", "1.2m")


def _wanders(n: int) -> float:
    """Return a height that no two readings share and no marker is set at."""
    return 900.0 + 10.0 * (n % 5)


def _cable(folder: Path, rate_hz: float, seconds: float) -> list[float]:
    """Return how long after its reading each prompt came over a pseudo-terminal."""
    master, slave = os.openpty()
    tty.setraw(slave)
    sent: list[float] = []
    stop = threading.Event()

    def play() -> None:
        due_s = time.monotonic()
        while not stop.is_set():
            due_s += 1.0 / rate_hz
            time.sleep(max(0.0, due_s - time.monotonic()))
            n = len(sent) + 1
            sent.append(time.monotonic())
            os.write(master, sentence(Sample(0.0, n % 65536, _wanders(n)), digits=2))

    words = ["set", "--serial", os.ttyname(slave), "--skip-check", "--json"]
    process = subprocess.Popen(
        [*RIG, *words], cwd=folder, stdout=subprocess.PIPE, stdin=subprocess.DEVNULL, text=True
    )
    assert process.stdout is not None
    thread = threading.Thread(target=play, daemon=True)
    took: list[float] = []
    heard, heard_s, begun_s = 0, -1.0, 0.0
    for line in process.stdout:
        now_s, event = time.monotonic(), json.loads(line)
        if event["event"] == "next":
            time.sleep(1.0)
            begun_s = time.monotonic()
            thread.start()
        elif event["event"] == "reading":
            heard, heard_s = heard + 1, event["time_s"]
        elif event["event"] == "prompt" and event["time_s"] == heard_s and heard <= len(sent):
            took.append(now_s - sent[heard - 1])
        if begun_s and now_s > begun_s + seconds:
            break
    stop.set()
    process.terminate()
    process.communicate()
    return took[10:]


@dataclass(frozen=True)
class Prompts:
    """How long after its reading each prompt came, s, at the session and back at the box.

    `session_s` and `broker_s` are the processor time that `readings` of all rods took of each.
    """

    at_session: list[float]
    at_box: list[float]
    readings: int
    session_s: float
    broker_s: float


def _busy_s(process: int) -> float:
    """Return the processor time of a process (proc(5), utime and stime)."""
    told = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
    return (int(told[11]) + int(told[12])) / os.sysconf("SC_CLK_TCK")


def by_broker(folder: Path, place: Place, rods: int, rate_hz: float, seconds: float) -> Prompts:
    """Time prompts of so many rods over the broker for so long."""
    at_box: list[float] = []
    offsets: dict[str, float] = {}
    with ExitStack() as stack:
        made: dict[str, SiteRod] = {}
        for n in range(rods):
            rod = _Wandering(place.folder / f"rod-{n + 1}.site", offsets, at_box, rate_hz)
            made[rod.name] = stack.enter_context(rod)
        words = ["set", "--site", str(place.folder / "kitchen.site"), "--json"]
        process = subprocess.Popen(
            [*RIG, *words], cwd=folder, stdout=subprocess.PIPE, stdin=subprocess.DEVNULL, text=True
        )
        at_session: list[float] = []
        assert process.stdout is not None
        begun_s, readings = 0.0, 0
        busy = [0.0, 0.0]
        both = (process.pid, place.process)
        for line in process.stdout:
            now_s, event = time.monotonic(), json.loads(line)
            rod_name = event.get("rod", "")
            if begun_s and now_s > begun_s and event["event"] == "reading":
                busy = busy if readings else [_busy_s(one) for one in both]
                readings += 1
            if event["event"] == "clock":
                offsets[rod_name] = event["offset_s"]
                begun_s = begun_s or now_s + 6.0  # all are tied by then
            elif event["event"] == "prompt" and rod_name in offsets and now_s > begun_s:
                sent_s = event["time_s"] - offsets[rod_name]
                at_session.append(made[rod_name].time_s(now_s) - sent_s)
            if begun_s and now_s > begun_s + seconds:
                break
        session_s, broker_s = (_busy_s(one) - was for one, was in zip(both, busy, strict=True))
        process.terminate()
        process.communicate()
    return Prompts(at_session, at_box[len(at_box) // 5 :], readings, session_s, broker_s)


class _Wandering(SiteRod):
    """A rod on a screw that is always turned, which times its prompts."""

    def __init__(
        self, invitation: Path, offsets: dict[str, float], took: list[float], rate_hz: float
    ) -> None:
        super().__init__(invitation, reading_mm, rate_hz=rate_hz)
        self._offsets, self._took, self._reads = offsets, took, 0
        self._expected_mm: float | None = None
        self._tied = False

    def _line(self) -> bytes:
        self._reads += 1
        if self._tied:
            return self._said(_wanders(self._reads), "V")
        return self._said(self._expected_mm, "N" if self._expected_mm is None else "V")

    def on_event(self, event: dict[str, Any]) -> None:
        if event.get("event") == "check":
            self._expected_mm = event["expected_mm"]
        self._tied |= event.get("event") == "checked"
        if event.get("event") == "prompt" and self.name in self._offsets:
            self._took.append(self.time_s() - (event["time_s"] - self._offsets[self.name]))
