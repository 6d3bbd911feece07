"""Copy the job file alone, again and again, while a survey writes to it.

Each copy, without its log, must be sound and hold every shot that was told before it was begun.
"""

import json
import random
import shutil
import sqlite3
import subprocess
import threading
import time
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from tools.endurance.kills import COMMAND, Walker, grid, new_job


@dataclass
class Tally:
    """What so many copies came to."""

    copies: int = 0
    held: int = 0
    missing: int = 0
    damaged: int = 0

    @property
    def sound(self) -> bool:
        """Nothing went wrong."""
        return not (self.missing or self.damaged)


def torment(copies: int, seed: int, folder: Path) -> Tally:
    """Copy so often, at random instants, and count what went wrong."""
    rng, tally = random.Random(seed), Tally()
    rod = Walker(rate_hz=100, stand_s=0.15, walk_s=0.1)
    rod.start()
    try:
        while tally.copies < copies:
            job = new_job(folder, tally.copies)
            _survey_and_copy(job, len(grid(job)), rod.path, copies, rng, tally)
    finally:
        rod.stop()
    return tally


def _survey_and_copy(
    job: Path, points: int, port: str, copies: int, rng: random.Random, tally: Tally
) -> None:
    words = ["survey", "--job", str(job), "--serial", port, "--json"]
    told: list[str] = []
    with subprocess.Popen(
        [*COMMAND, *words, "--dwell", "0.1", "--walk", "0.05"],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        text=True,
    ) as process:
        listener = threading.Thread(target=_listen, args=(process, told))
        listener.start()
        while process.poll() is None and tally.copies < copies:
            time.sleep(rng.uniform(0.0, 0.1))
            if told:
                _copy(job, job.with_suffix(".alone"), told, tally)
        process.terminate()
        listener.join()


def _listen(process: subprocess.Popen[str], told: list[str]) -> None:
    assert process.stdout is not None
    for line in process.stdout:
        event = json.loads(line)
        if event["event"] == "shot":
            told.append(event["label"])


def _copy(job: Path, alone: Path, told: list[str], tally: Tally) -> None:
    wanted = set(told)
    shutil.copyfile(job, alone)
    tally.copies += 1
    tally.held += len(wanted)
    try:
        with closing(sqlite3.connect(alone)) as copied:
            if copied.execute("PRAGMA integrity_check").fetchone()[0] != "ok":
                tally.damaged += 1
            kept = {label for (label,) in copied.execute("SELECT point FROM shot")}
    except sqlite3.DatabaseError:
        tally.damaged += 1
    else:
        tally.missing += len(wanted - kept)
    for ending in ("", "-wal", "-shm"):
        Path(f"{alone}{ending}").unlink(missing_ok=True)
