"""Set markers and survey on a disk whose every sync takes seconds.

The commands run as a user's would, on a pseudo-terminal, over a file system that waits at each
sync. Each reading must be told at once and kept, each prompt follow its reading at once, a shot be
told once it is on the disk, and Ctrl-C be heard.
"""

import itertools
import json
import signal
import sqlite3
import statistics
import subprocess
import sys
import threading
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tools.endurance.kills import Walker, grid, new_job

OVER = """
import sys, time
sys.path.insert(0, {root!r})
from tools.endurance import power

class Slow(power._Disk):
    def note(self, *step):
        if step[0] == "sync":
            time.sleep({sync_s})

disk = Slow("slow")
with power._over(disk, "slow"):
    from rig.cli import main
    main(sys.argv[1:])
"""
MOST_LATE_S = 0.5


@dataclass
class Outcome:
    """What a session on a slow disk came to; `faults` is empty where all is as it must be."""

    readings: int
    shots: int
    late_s: float
    latest_s: float
    ended_s: float
    faults: list[str] = field(default_factory=list)


def torment(sync_s: float, seconds: float, folder: Path) -> Outcome:
    """Survey for so long on a disk that takes `sync_s` for each sync; then press Ctrl-C."""
    job, rod = new_job(folder, 0), Walker(stand_s=1.0, walk_s=0.6)
    grid(job)
    root = str(Path(__file__).resolve().parents[2])
    command = [sys.executable, "-c", OVER.format(root=root, sync_s=sync_s)]
    words = ["survey", "--job", str(job), "--serial", rod.path, "--json"]
    told: list[tuple[float, dict[str, Any]]] = []
    process = subprocess.Popen(
        [*command, *words, "--dwell", "0.3", "--walk", "0.3"],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert process.stdout is not None
    listener = threading.Thread(target=_listen, args=(process, told))
    listener.start()
    rod.start()
    try:
        end_s = time.monotonic() + 60.0
        while not told and process.poll() is None and time.monotonic() < end_s:
            time.sleep(0.05)  # the session itself is on the disk before anything is told
        time.sleep(seconds)
        process.send_signal(signal.SIGINT)
        stopped_s = time.monotonic()
        code = process.wait(60 + 10 * sync_s)
        ended_s = time.monotonic() - stopped_s
        listener.join()
        assert process.stderr is not None
        said = process.stderr.read()
    finally:
        rod.stop()
    return _judged(job, told, code, said, ended_s, sync_s)


def _listen(process: "subprocess.Popen[str]", told: list[tuple[float, dict[str, Any]]]) -> None:
    assert process.stdout is not None
    for line in process.stdout:
        told.append((time.monotonic(), json.loads(line)))


def _judged(
    job: Path,
    told: list[tuple[float, dict[str, Any]]],
    code: int,
    said: str,
    ended_s: float,
    sync_s: float,
) -> Outcome:
    # A session's own seconds begin somewhere: the readings that were told soonest say where.
    readings = [(at_s, event) for at_s, event in told if event["event"] == "reading"]
    behind = [at_s - event["time_s"] for at_s, event in readings]
    late = [value - min(behind) for value in behind] or [0.0]
    shots = [event for _, event in told if event["event"] == "shot"]
    outcome = Outcome(len(readings), len(shots), statistics.median(late), max(late), ended_s)
    faults = outcome.faults
    if code != 0 or "Traceback" in said:
        faults.append(f"it ended with {code}: {said[-300:]!r}")
    if max(late) > MOST_LATE_S:
        faults.append(f"a reading was told {max(late):.2f} s late")
    if not any("card is slow" in event.get("text", "") for _, event in told):
        faults.append("nobody said that the card is slow")
    if any(event["event"] == "lost" for _, event in told):
        faults.append("the rod was called lost")
    if ended_s > 4 * sync_s + 5.0:
        faults.append(f"Ctrl-C took {ended_s:.1f} s")
    with sqlite3.connect(job) as database:
        kept = [row[0] for row in database.execute("SELECT seq FROM reading ORDER BY id")]
        labels = {row[0] for row in database.execute("SELECT point FROM shot")}
    if len(kept) < len(readings):
        faults.append(f"{len(readings) - len(kept)} readings were told and not kept")
    gaps = [b - a for a, b in itertools.pairwise(kept) if b - a not in (1, -65535)]
    if gaps:
        faults.append(f"readings are missing: {gaps[:5]}")
    if not {shot["label"] for shot in shots} <= labels:
        faults.append("a shot was told and is not there")
    if not shots:
        faults.append("no shot was taken")
    return outcome
