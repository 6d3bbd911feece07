"""What else befalls a live survey: a full disk, no leave to write, a file moved, a clock set back.

Each mishap meets a survey on a pseudo-terminal as a user would run it. Where the survey cannot go
on it must say so in a sentence and end with the right code; afterwards, and once the mishap is
over, the job must open, be whole, hold every shot that was told, and ask for the right next one.
"""

import ctypes
import itertools
import json
import os
import resource
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tools.endurance.kills import COMMAND, Walker, grid, labels, new_job

_PR_CAPBSET_DROP, _CAP_DAC_OVERRIDE = 24, 1  # linux/prctl.h, linux/capability.h
SHOTS_BEFORE = 2
BACK_S = 5400.0
SET_BACK = """
import sys, time
real, calls = time.time, [0]
def turned():
    calls[0] += 1
    return real() - ({back} if calls[0] > 60 else 0.0)
time.time = turned
from rig.cli import main
main(sys.argv[1:])
"""


@dataclass
class Outcome:
    """How one mishap went; `faults` is empty where all is as it must be."""

    name: str
    code: int
    told: int
    said: str
    faults: list[str] = field(default_factory=list)


def torment(folder: Path) -> list[Outcome]:
    """Let each mishap meet a survey and return how each went."""
    (folder / "shut").mkdir()

    def meet(mishap: Callable[[Path, str], Outcome]) -> Outcome:
        rod = Walker()
        rod.start()
        try:
            return mishap(folder, rod.path)
        finally:
            rod.stop()

    with ThreadPoolExecutor() as pool:  # most of it is waiting for a rod that walks
        return list(pool.map(meet, MISHAPS))


def full_disk(folder: Path, port: str) -> Outcome:
    """No file can grow any more after some shots."""
    job = new_job(folder, 1)

    def fill(process: subprocess.Popen[str]) -> None:
        grown = os.path.getsize(f"{job}-wal") + 2000
        resource.prlimit(process.pid, resource.RLIMIT_FSIZE, (grown, grown))

    return _survey("full disk", job, port, fill, code=4, word="the disk")


def read_only(folder: Path, port: str) -> Outcome:
    """Neither the file nor its folder may be written when a survey begins."""
    job = new_job(folder / "shut", 2)
    walk = grid(job)
    parts = [job, *job.parent.glob("*.lock")]
    for path in parts:
        path.chmod(0o444)
    job.parent.chmod(0o555)
    try:
        done = subprocess.run(
            [*COMMAND, "survey", "--job", str(job), "--serial", port, "--json"],
            capture_output=True, text=True, stdin=subprocess.DEVNULL, timeout=60,
            preexec_fn=_heed_permissions,
        )  # fmt: skip
    finally:
        job.parent.chmod(0o755)
        for path in parts:
            path.chmod(0o644)
    outcome = Outcome("read-only", done.returncode, 0, done.stderr.strip())
    _judge(outcome, job, [], walk, code=4, word="cannot be written")
    return outcome


def moved(folder: Path, port: str) -> Outcome:
    """The file is moved to another name while the survey runs."""
    job = new_job(folder, 3)
    away = folder / "away.sqlite"
    return _survey(
        "moved", job, port, lambda _: os.rename(job, away), code=4, word="was moved", then=away
    )


def put_back(folder: Path, port: str) -> Outcome:
    """It is moved, and put back after the survey has ended for it."""
    job = new_job(folder, 4)
    away = folder / "away-for-a-while.sqlite"
    outcome = _survey(
        "put back", job, port, lambda _: os.rename(job, away), code=4, word="was moved",
        restore=lambda: os.rename(away, job),
    )  # fmt: skip
    return outcome


def log_deleted(folder: Path, port: str) -> Outcome:
    """Somebody tidies up the strange file that stands beside the job."""
    job = new_job(folder, 5)
    return _survey(
        "log deleted", job, port, lambda _: os.unlink(f"{job}-wal"), code=4, word="was moved"
    )


def clock_back(folder: Path, port: str) -> Outcome:
    """The time of day goes back by an hour and a half in the middle."""
    job = new_job(folder, 6)
    script = [sys.executable, "-c", SET_BACK.format(back=BACK_S)]
    outcome = _survey(
        "clock back", job, port, None, code=0, word="", command=script, shots=5
    )  # fmt: skip
    with sqlite3.connect(job) as database:
        times = [t for (t,) in database.execute("SELECT utc_s FROM reading ORDER BY id")]
        steady = [t for (t,) in database.execute("SELECT time_s FROM reading ORDER BY id")]
    if not min(b - a for a, b in itertools.pairwise(times)) < -BACK_S / 2:
        outcome.faults.append("the clock was not seen to go back")
    if steady != sorted(steady):
        outcome.faults.append("the session's own time went back")
    return outcome


MISHAPS: tuple[Callable[[Path, str], Outcome], ...] = (
    full_disk,
    read_only,
    moved,
    put_back,
    log_deleted,
    clock_back,
)


def _survey(
    name: str,
    job: Path,
    port: str,
    mishap: Callable[[subprocess.Popen[str]], Any] | None,
    *,
    code: int,
    word: str,
    then: Path | None = None,
    restore: Callable[[], Any] = lambda: None,
    command: list[str] | None = None,
    shots: int = SHOTS_BEFORE,
) -> Outcome:
    walk = grid(job)
    words = ["survey", "--job", str(job), "--serial", port, "--json"]
    process = subprocess.Popen(
        [*(command or COMMAND), *words, "--dwell", "0.2", "--walk", "0.2"],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert process.stdout is not None
    assert process.stderr is not None
    told = []
    for line in process.stdout:
        event = json.loads(line)
        if event["event"] != "shot":
            continue
        told.append(event)
        if len(told) == shots:
            if mishap is None:
                process.terminate()
            else:
                mishap(process)
    said = process.stderr.read()
    outcome = Outcome(name, process.wait(), len(told), said.strip())
    restore()
    _judge(outcome, then or job, told, walk, code=code, word=word)
    return outcome


def _judge(
    outcome: Outcome, job: Path, told: list[Any], walk: list[str], *, code: int, word: str
) -> None:
    faults = outcome.faults
    if outcome.code != code:
        faults.append(f"it ended with {outcome.code}, not {code}")
    if word not in outcome.said or "Traceback" in outcome.said:
        faults.append(f"it did not say so in words: {outcome.said!r}")
    with sqlite3.connect(job) as database:
        if database.execute("PRAGMA integrity_check").fetchall() != [("ok",)]:
            faults.append("the file is damaged")
        kept = dict(database.execute("SELECT point, reading_mm FROM shot"))
    for shot in told:
        if kept.get(shot["label"]) != shot["reading_mm"]:
            faults.append(f"{shot['label']} was told and is not there")
    if len(kept) > len(told) + 1:
        faults.append("there are shots that were never told")
    following = next(label for label in walk if label not in labels(job))
    first = _first_asked(job)
    if first != following:
        faults.append(f"the next survey asks for {first}, not {following}")


def _first_asked(job: Path) -> str | None:
    """What a survey from here asks for first; tape readings need no rod."""
    done = subprocess.run(
        [*COMMAND, "survey", "--job", str(job), "--typed", "--skip-check", "--json"],
        input="q\n", capture_output=True, text=True, timeout=60,
    )  # fmt: skip
    events = [json.loads(line) for line in done.stdout.splitlines()]
    return next((event["label"] for event in events if event["event"] == "next"), None)


def _heed_permissions() -> None:
    """Let permissions count for root too, from the next exec on."""
    ctypes.CDLL(None).prctl(_PR_CAPBSET_DROP, _CAP_DAC_OVERRIDE, 0, 0, 0)
