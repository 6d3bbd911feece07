"""Kill the parts of a site at random instants in a survey: broker, box, session, a phone's server.

Each part runs as on site, by the command line, and is begun again as soon as it ends. Afterwards
every point has its one shot, what was told is in the job file, and no reading is there twice.
"""

import contextlib
import json
import os
import random
import signal
import sqlite3
import subprocess
import sys
import threading
import time
import tty
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from simulated_devices.encode import sentence
from simulated_devices.rod import Sample
from tests.site.conftest import Place

RIG = (sys.executable, "-m", "rig.cli")
QUICK = ("--dwell", "0.4", "--walk", "0.3")
PARTS = ("broker", "box", "session", "phone")
KILLS_A_JOB = 20
SHORTEST_S, LONGEST_S = 0.3, 4.0
"""Between two kills, at random."""
RATE_HZ = 25.0
WALK_S = 0.6
AGAIN_S = 0.3
_HEARD = {"next", "armed", "shot", "claim"}


@dataclass
class Tally:
    """What so many kills came to."""

    killed: Counter[str] = field(default_factory=Counter)
    jobs: int = 0
    points: int = 0
    told: int = 0
    lost: int = 0
    doubled: int = 0
    wrong: int = 0
    stuck: int = 0
    deaf: int = 0  # boxes that were not told where to go, or did not end as they were told

    @property
    def sound(self) -> bool:
        """Nothing went wrong."""
        return not (self.lost or self.doubled or self.wrong or self.stuck or self.deaf)


class Part:
    """A process that is begun again whenever it ends, until it is let go or has done its work.

    Parameters
    ----------
    words : sequence of str
        The command.
    folder : Path
    hear : callable
        Takes each event that it prints.
    """

    def __init__(
        self, words: Sequence[str], folder: Path, hear: Callable[[dict[str, Any]], None]
    ) -> None:
        self._words, self._folder, self._hear = words, folder, hear
        self._over = threading.Event()
        self.done = threading.Event()
        self._process: subprocess.Popen[str] | None = None
        self._thread = threading.Thread(target=self._run)
        self._thread.start()

    def kill(self) -> bool:
        """Kill it; tell whether it was there to be killed."""
        process = self._process
        if process is None or process.poll() is not None or self.done.is_set():
            return False
        process.kill()
        return True

    def let_go(self) -> None:
        """End it, and begin it no more."""
        self._over.set()
        process = self._process
        if process is not None and process.poll() is None:
            process.terminate()
        self._thread.join()

    @property
    def ended_well(self) -> bool:
        """Whether it ended as it was told; or it had not begun yet."""
        process = self._process
        return process is not None and process.returncode in (0, -signal.SIGTERM)

    def _run(self) -> None:
        while not self._over.is_set():
            self._process = process = subprocess.Popen(
                self._words,
                cwd=self._folder,
                stdin=subprocess.DEVNULL,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                text=True,
            )
            if self._over.is_set():
                process.terminate()
            assert process.stdout is not None
            for line in process.stdout:
                with contextlib.suppress(ValueError):  # cut off in the middle
                    self._hear(json.loads(line))
            if process.wait() == 0:
                self.done.set()
                return
            self._over.wait(AGAIN_S)  # also where the broker is gone at the start


class CabledRod:
    """A rod on a pseudo-terminal with its box; its installer walks to where the box says.

    What it reads hangs on the label alone, so that a shot of another place is known at once.
    """

    def __init__(self, invitation: Path, zero_mm: float = 0.0) -> None:
        master, slave = os.openpty()
        tty.setraw(slave)
        os.set_blocking(master, False)
        self._master, self._zero_mm = master, zero_mm
        self._stop = threading.Event()
        self._label, self._walks_until_s = "", 0.0
        self.heard: Counter[str] = Counter()
        words = [*RIG, "rod", "--site", str(invitation), "--serial", os.ttyname(slave), "--json"]
        self.box = Part(words, invitation.parent, self._hear)
        self._playing = threading.Thread(target=self._play)
        self._playing.start()

    def __enter__(self) -> "CabledRod":
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        self._playing.join()
        self.box.let_go()
        os.close(self._master)

    def _hear(self, event: dict[str, Any]) -> None:
        self.heard[event["event"]] += 1
        if event["event"] in ("next", "armed") and event["label"] != self._label:
            self._walks_until_s = time.monotonic() + WALK_S
            self._label = event["label"]

    def _play(self) -> None:
        n = 0
        while not self._stop.wait(1.0 / RATE_HZ):
            n += 1
            sample = Sample(0.0, n % 65536, None, "N")
            if self._label and time.monotonic() > self._walks_until_s:
                value_mm = height_mm(self._label) + self._zero_mm
                sample = Sample(0.0, n % 65536, value_mm, "V")
            with contextlib.suppress(BlockingIOError):  # nobody reads it meanwhile
                os.write(self._master, sentence(sample))


def height_mm(label: str) -> float:
    """Return what a rod whose zero is 0 reads at a place."""
    return 1000.0 + 2.0 * (sum(map(ord, label)) % 9)


def torment(
    kills: int,
    seed: int,
    folder: Path,
    room: str = "5m,5m",
    rods: int = 2,
    longest_s: float = LONGEST_S,
) -> Tally:
    """Kill so often over as many jobs as it takes, each part in its turn, and count what came."""
    rng, tally = random.Random(seed), Tally()
    while tally.killed.total() < kills:
        here = folder / f"place{tally.jobs}"
        here.mkdir()
        left = min(KILLS_A_JOB, kills - tally.killed.total())
        turns = [PARTS[(tally.killed.total() + n) % len(PARTS)] for n in range(left)]
        rng.shuffle(turns)
        with a_place(here, rods) as place:
            pauses = [rng.uniform(SHORTEST_S, longest_s) for _ in turns]
            _survey(place, room, rods, list(zip(pauses, turns, strict=True)), rng, tally)
        tally.jobs += 1
        print(tally, flush=True)
    return tally


@contextlib.contextmanager
def a_place(folder: Path, rods: int) -> Iterator[Place]:
    """Run a broker with accounts for so many rods, a session and a phone."""
    place = Place(folder)
    try:
        for n in range(rods):
            place.invite(f"rod-{n + 1}", "rod")
        place.invite("kitchen", "session")
        place.invite("anna", "phone")
        yield place
    finally:
        place.stop()


def _survey(
    place: Place,
    room: str,
    rods: int,
    turns: Sequence[tuple[float, str]],
    rng: random.Random,
    tally: Tally,
) -> None:
    folder, told = place.folder, list[dict[str, Any]]()
    for words in (("new", "--room", room, "--units", "mm"), ("grid", "--spacing", "1m")):
        subprocess.run([*RIG, *words], cwd=folder, check=True, capture_output=True)
    site = ("--site", str(folder / "kitchen.site"), "--json")
    phone = ("--site", str(folder / "anna.site"), "--rod", "rod-1", "--json")
    pages: list[str] = []
    with contextlib.ExitStack() as stack:
        on = [
            stack.enter_context(CabledRod(folder / f"rod-{n + 1}.site", 2.0 * n))
            for n in range(rods)
        ]
        session = Part([*RIG, "survey", *site, *QUICK], folder, told.append)
        stack.callback(session.let_go)
        page = Part([*RIG, "serve", *phone], folder, lambda event: pages.append(event["url"]))
        stack.callback(page.let_go)
        for pause_s, turn in turns:
            if session.done.wait(pause_s):
                break
            if turn == "broker":
                place.kill()
                time.sleep(rng.uniform(0.0, 0.5))
                place.start()
                tally.killed[turn] += 1
            else:
                part = {"box": rng.choice(on).box, "session": session, "phone": page}[turn]
                tally.killed[turn] += part.kill()
        tally.stuck += not session.done.wait(600.0)
    tally.deaf += sum(not (set(rod.heard) >= _HEARD and rod.box.ended_well) for rod in on)
    _judge(folder / "job.sqlite", told, tally)


def _judge(path: Path, told: Sequence[dict[str, Any]], tally: Tally) -> None:
    """Hold what was told and what is kept against each other, by the file alone."""
    shots = [one for one in told if one["event"] == "shot" and one["kind"] == "floor"]
    with contextlib.closing(sqlite3.connect(path)) as kept:
        points = [label for (label,) in kept.execute("SELECT label FROM point")]
        rows = kept.execute(
            "SELECT shot.point, shot.reading_mm, session.rod FROM shot "
            "JOIN session ON session.id = shot.session_id WHERE shot.kind = 'floor'"
        ).fetchall()
        twice = kept.execute(
            "SELECT count(*) - count(DISTINCT session.rod || reading.raw) FROM reading "
            "JOIN session ON session.id = reading.session_id WHERE reading.box_s IS NOT NULL"
        ).fetchone()[0]
    labels = Counter(label for label, _, _ in rows)
    true = {(label, rod): height_mm(label) + 2.0 * (int(rod[-1]) - 1) for label, _, rod in rows}
    tally.points += len(points)
    tally.told += len(shots)
    tally.lost += len(set(points) - set(labels))
    tally.lost += len({one["label"] for one in shots} - set(labels))
    tally.doubled += labels.total() - len(labels) + twice
    tally.doubled += len(shots) - len({one["label"] for one in shots})
    tally.wrong += sum(abs(mm - true[label, rod]) > 0.01 for label, mm, rod in rows)
