"""Kill a pour's log at random instants: an act and what came of it are kept together or not at all.

Batches come tens of milliseconds apart, which no crew does, so that every kill is near one.
"""

import json
import random
import shutil
import signal
import subprocess
import sys
import threading
import time
from dataclasses import dataclass
from pathlib import Path

from rig.job.store import Job
from rig.session.mending import holes_of
from tools.endurance.kills import COMMAND

PLAN = ["--mixers", "1", "--crew", "3", "--mix-time", "2min", "--working-time", "20min"]
KILLS_A_JOB = 25


@dataclass
class Tally:
    """What so many kills came to."""

    kills: int = 0
    told: int = 0
    lost: int = 0
    holes: int = 0

    @property
    def sound(self) -> bool:
        """Nothing went wrong."""
        return not (self.lost or self.holes)


def torment(kills: int, seed: int, folder: Path, made: Path | None = None) -> Tally:
    """Kill so many logs of a pour, one that is planned, and count what went wrong."""
    rng, tally = random.Random(seed), Tally()
    made = made or _planned(folder)
    job = folder / "pour.sqlite"
    told = 0
    while tally.kills < kills:
        if tally.kills % KILLS_A_JOB == 0:
            for ending in ("", "-wal", "-shm", ".lock"):
                Path(f"{job}{ending}").unlink(missing_ok=True)
            shutil.copyfile(made, job)
            told = 0
        told += _pour_and_kill(job, rng)
        tally.kills += 1
        with Job.open(job) as kept:
            poured = sum(batch.poured_utc_s is not None for batch in kept.batches())
            tally.holes += bool(holes_of(kept))
        tally.lost += poured < told
        tally.told += told
        told = poured  # more than was told, where a kill came between the disk and the word
        if tally.kills % 50 == 0:
            print(tally, file=sys.stderr)
    return tally


def _planned(folder: Path) -> Path:
    job = folder / "planned.sqlite"
    table = folder / "floor.csv"
    rows = [f"P{i}{j},{200 + i * 650},{200 + j * 720},{1200 + 3 * i - 2 * j}" for i in range(5)
            for j in range(6)]  # fmt: skip
    table.write_text("\n".join(["label,x,y,reading", *rows]))
    for words in (
        ["new", "--room", "3m,4m", "--units", "mm", "--min-cover", "6mm", "--door", "1m,0m,80cm"],
        ["import", str(table), "--unit", "mm"],
        ["plan"],
        ["markers"],
        ["pour", "plan", *PLAN, "--runs", "200"],
    ):
        command = [*COMMAND, *words, "--job", str(job)]
        subprocess.run(command, check=True, capture_output=True)
    return job


def _pour_and_kill(job: Path, rng: random.Random) -> int:
    """Return how many batches were told."""
    process = subprocess.Popen(
        [*COMMAND, "pour", "run", "--job", str(job), "--json"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
    )
    assert process.stdin is not None
    assert process.stdout is not None
    next(iter(process.stdout))  # it runs
    timer = threading.Timer(rng.uniform(0.0, 0.4), process.send_signal, [signal.SIGKILL])
    timer.start()
    writer = threading.Thread(target=_batches, args=(process, random.Random(rng.random())))
    writer.start()
    told = 0
    for line in process.stdout:
        if line.endswith("\n"):
            event = json.loads(line)
            told += event["event"] == "batch"
    process.wait()
    writer.join()
    return told


def _batches(process: "subprocess.Popen[str]", rng: random.Random) -> None:
    assert process.stdin is not None
    try:
        while process.poll() is None:
            # The second word says that it is not the same batch twice.
            process.stdin.write("batch\naccept\n")
            process.stdin.flush()
            time.sleep(rng.uniform(0.01, 0.05))
        process.stdin.close()
    except BrokenPipeError:
        pass
