"""How long `rig --help` takes as a whole process, against a bare `import click`."""

import statistics
import subprocess
import sys
import time


def run() -> list[dict[str, object]]:
    help_s, click_s = [], []
    for _ in range(15):
        help_s.append(_timed([sys.executable, "-m", "rig.cli", "--help"]))
        click_s.append(_timed([sys.executable, "-c", "import click"]))
    ours, bare = statistics.median(help_s), statistics.median(click_s)
    return [
        {
            "what": "rig --help, median ms",
            "value": round(1000 * ours, 1),
            "against": f"bare import click {1000 * bare:.1f} ms, ratio {ours / bare:.2f}; "
            "aim 120 ms or less",
        }
    ]


def _timed(command: list[str]) -> float:
    begun = time.perf_counter()
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
    return time.perf_counter() - begun
