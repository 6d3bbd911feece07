"""Kill a live survey at random instants, again and again: no shot that was told may be missing.

Each survey runs on a pseudo-terminal as a user's would and dies by SIGKILL, in the middle of
whatever it was doing. Then the file must be sound, hold every shot that was told, and the next
survey must ask for the first point that has none.
"""

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
from dataclasses import dataclass
from functools import reduce
from pathlib import Path

RATE_HZ = 50
STAND_S, WALK_S = 0.45, 0.35
COMMAND = [sys.executable, "-m", "rig.cli"]


@dataclass
class Tally:
    """What so many kills came to."""

    kills: int = 0
    told: int = 0
    lost: int = 0
    damaged: int = 0
    wrong_next: int = 0

    @property
    def sound(self) -> bool:
        """Nothing went wrong."""
        return not (self.lost or self.damaged or self.wrong_next)


class Walker(threading.Thread):
    """A rod that stands and walks on without end, each stand at a height of its own."""

    def __init__(
        self, rate_hz: float = RATE_HZ, stand_s: float = STAND_S, walk_s: float = WALK_S
    ) -> None:
        super().__init__(daemon=True)
        self._rate_hz, self._stand_s, self._walk_s = rate_hz, stand_s, walk_s
        self._master, self._slave = os.openpty()
        tty.setraw(self._slave)
        os.set_blocking(self._master, False)
        self.path = os.ttyname(self._slave)
        self._over = threading.Event()

    def run(self) -> None:
        seq, stand = 0, 0
        while not self._over.is_set():
            stand += 1
            for n in range(round((self._stand_s + self._walk_s) * self._rate_hz)):
                dark = n >= self._stand_s * self._rate_hz
                value = "" if dark else f"{1200 + stand * 3.7 % 50:.1f}"
                self._send(f"U0HGT,{seq},{value},mm,{'N' if dark else 'V'}")
                seq = (seq + 1) % 65536
                time.sleep(1.0 / self._rate_hz)
        os.close(self._master)
        os.close(self._slave)

    def stop(self) -> None:
        self._over.set()
        self.join()

    def _send(self, body: str) -> None:
        check = reduce(lambda x, c: x ^ ord(c), body, 0)
        try:
            os.write(self._master, f"${body}*{check:02X}\r\n".encode())
        except BlockingIOError:
            os.read(self._slave, 512)  # nobody reads: the oldest falls out


def torment(kills: int, seed: int, folder: Path) -> Tally:
    """Kill so many surveys and count what went wrong."""
    rng = random.Random(seed)
    tally = Tally()
    rod = Walker()
    rod.start()
    job, walk = new_job(folder, 0), list[str]()
    told: list[dict[str, object]] = []
    try:
        while tally.kills < kills:
            if not walk:
                walk = grid(job)
            told += _survey_and_kill(job, rod.path, rng.uniform(0.3, 2.5), tally, walk)
            _check(job, told, tally)
            if tally.kills % 50 == 0:
                print(tally, file=sys.stderr)
            if len(labels(job)) == len(walk):
                job, walk, told = new_job(folder, tally.kills), [], []
    finally:
        rod.stop()
    return tally


def _survey_and_kill(
    job: Path, port: str, after_s: float, tally: Tally, walk: list[str]
) -> list[dict[str, object]]:
    had = labels(job)  # more than was told, where a kill came between the disk and the word
    words = ["survey", "--job", str(job), "--serial", port, "--json"]
    process = subprocess.Popen(
        [*COMMAND, *words, "--dwell", "0.2", "--walk", "0.2"],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert process.stdout is not None
    told: list[dict[str, object]] = []
    first = next((json.loads(line) for line in process.stdout), None)
    timer = threading.Timer(after_s, process.send_signal, [signal.SIGKILL])
    timer.start()
    for line in process.stdout:
        if line.endswith("\n"):
            event = json.loads(line)
            if event["event"] == "shot":
                told.append(event)
    process.wait()
    timer.cancel()
    tally.kills += process.returncode == -signal.SIGKILL
    tally.told += len(told)
    expected = next(label for label in walk if label not in had)
    if first is None or first["event"] != "next" or first["label"] != expected:
        tally.wrong_next += 1
    return told


def _check(job: Path, told: list[dict[str, object]], tally: Tally) -> None:
    with sqlite3.connect(job) as database:
        if database.execute("PRAGMA integrity_check").fetchone()[0] != "ok":
            tally.damaged += 1
        kept = {
            row[0]: row[1:]
            for row in database.execute(
                "SELECT point, reading_mm, stderr_mm FROM shot WHERE superseded_by IS NULL"
            )
        }
    for event in told:
        if kept.get(event["label"]) != (event["reading_mm"], event["stderr_mm"]):
            tally.lost += 1


def labels(job: Path) -> set[str]:
    with sqlite3.connect(job) as database:
        return {row[0] for row in database.execute("SELECT point FROM shot")}


def new_job(folder: Path, n: int) -> Path:
    job = folder / f"job{n}.sqlite"
    subprocess.run(
        [*COMMAND, "new", "--job", str(job), "--room", "4m,5m", "--units", "mm"],
        check=True,
        stdout=subprocess.DEVNULL,
    )
    return job


def grid(job: Path) -> list[str]:
    out = subprocess.run(
        [*COMMAND, "grid", "--job", str(job), "--json"], check=True, capture_output=True, text=True
    ).stdout
    return [point["label"] for point in json.loads(out)["points"]]
