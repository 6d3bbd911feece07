"""From a line on the port to the prompt on standard output, at 50 readings a second."""

import json
import os
import queue
import statistics
import subprocess
import sys
import tempfile
import threading
import time
import tty
from functools import reduce
from pathlib import Path

RATE_HZ = 50
COUNT = 500


def run() -> list[dict[str, object]]:
    with tempfile.TemporaryDirectory() as folder:
        job = str(Path(folder) / "job.sqlite")
        _rig("new", "--job", job, "--room", "3m,3m", "--units", "mm", "--min-cover", "6mm")
        table = Path(folder) / "shots.csv"
        table.write_text(
            "label,x,y,reading\n"
            + "".join(
                f"P{x}{y},{x * 700 + 200},{y * 700 + 200},{1200 + (x * 7 + y * 3) % 5}\n"
                for x in range(5)
                for y in range(5)
            )
        )
        _rig("import", "--job", job, str(table), "--unit", "mm")
        _rig("plan", "--job", job)
        markers = json.loads(_rig("markers", "--job", job, "--json"))["markers"]
        delays = _delays(job, markers[0]["target_reading_mm"])
    delays.sort()
    return [
        {
            "what": "line to prompt, median ms",
            "value": round(1000 * statistics.median(delays), 2),
            "against": "aim 5 or less",
        },
        {
            "what": "line to prompt, 99th percentile ms",
            "value": round(1000 * delays[int(0.99 * len(delays))], 2),
            "against": f"aim 20 or less ({len(delays)} prompts at {RATE_HZ} a second)",
        },
    ]


def _delays(job: str, target_mm: float) -> list[float]:
    """Send heights far enough apart that each gives a prompt of its own."""
    master, slave = os.openpty()
    tty.setraw(slave)
    command = [sys.executable, "-m", "rig.cli", "set", "--job", job, "--json", "--skip-check"]
    command += ["--serial", os.ttyname(slave)]
    with subprocess.Popen(
        command, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, text=True
    ) as process:
        assert process.stdout is not None
        prompts: queue.Queue[tuple[float, float]] = queue.Queue()

        def listen() -> None:
            for line in process.stdout or ():
                told = json.loads(line)
                if told["event"] == "prompt":
                    prompts.put((time.perf_counter(), told["by_mm"]))

        listener = threading.Thread(target=listen, daemon=True)
        listener.start()
        delays: list[float] = []
        seq = 0
        while prompts.empty():  # until the port is open
            _send(master, seq, target_mm + 90.0)
            seq += 1
            time.sleep(1.0 / RATE_HZ)
        while len(delays) < COUNT:
            seq += 1
            want = 20.0 + seq % 7 * 10.0
            begun = time.perf_counter()
            _send(master, seq, target_mm + want)
            while True:
                heard, by_mm = prompts.get(timeout=5.0)
                if heard > begun and abs(by_mm - want) < 1.0:
                    delays.append(heard - begun)
                    break
            time.sleep(max(0.0, begun + 1.0 / RATE_HZ - time.perf_counter()))
        process.terminate()
        listener.join(10.0)
    os.close(master)
    os.close(slave)
    return delays


def _send(master: int, seq: int, value_mm: float) -> None:
    body = f"U0HGT,{seq % 65536},{value_mm:.1f},mm,V"
    check = reduce(lambda x, c: x ^ ord(c), body, 0)
    os.write(master, f"${body}*{check:02X}\r\n".encode())


def _rig(*words: str) -> str:
    return subprocess.run(
        [sys.executable, "-m", "rig.cli", *words], check=True, capture_output=True, text=True
    ).stdout
