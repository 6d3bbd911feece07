"""A palm-sized computer: what start-up, memory and processor a live survey and setting take there.

One core (the scheduler's affinity) and 512 MB of address space for what is not shared; a rod on a
pseudo-terminal sends 20 readings a second. Linux only: the numbers are read from /proc.
"""

import contextlib
import os
import resource
import shutil
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from tools.endurance.kills import COMMAND, Walker

ROOT = Path(__file__).resolve().parents[2]
MEMORY_BYTES = 512 * 1024 * 1024
RATE_HZ = 20
MOST_SHARE, MOST_BARE_MB, MOST_PICTURE_MB = 0.10, 60.0, 160.0


@dataclass
class Use:
    """What one live command took.

    Attributes
    ----------
    ready_s : float
        From its start to its first word.
    memory_mb : float
        The most that it ever held in memory (the high-water mark of its resident set).
    share : float
        Of one core, once it ran.
    loaded : str
        Which of the large libraries it had loaded.
    """

    name: str
    ready_s: float
    memory_mb: float
    share: float
    loaded: str
    most_mb: float

    @property
    def sound(self) -> bool:
        """Within what the machine has to spare."""
        return self.memory_mb <= self.most_mb and self.share <= MOST_SHARE


def measure(folder: Path, seconds: float) -> list[Use]:
    """Run a bare capture, a survey with its running picture, and a setting, each so long."""
    job = folder / "job.sqlite"
    _rig("new", "--job", job, "--room", "4m,5m", "--units", "mm", "--min-cover", "6mm")
    _rig("grid", "--job", job, "--spacing", "0.6m")
    surveyed = folder / "surveyed.sqlite"
    _rig("new", "--job", surveyed, "--room", "4m,5m", "--units", "mm", "--min-cover", "6mm")
    table = folder / "shots.csv"
    table.write_text(
        "label,x,y,reading\n"
        + "".join(
            f"P{x}{y},{x * 900 + 200},{y * 1100 + 200},{1215 + (x * 7 + y * 3) % 9}\n"
            for x in range(5)
            for y in range(5)
        )
    )
    _rig("import", "--job", surveyed, table, "--unit", "mm")
    _rig("plan", "--job", surveyed)
    _rig("markers", "--job", surveyed)
    finished = ["survey", "--job", str(job), "--kind", "finished"]
    picture = folder / "picture.sqlite"
    shutil.copy(job, picture)
    runs = [
        ("capture", finished, MOST_BARE_MB),
        ("setting", ["set", "--job", str(surveyed), "--skip-check"], MOST_BARE_MB),
        ("picture", ["survey", "--job", str(picture)], MOST_PICTURE_MB),
    ]
    with ThreadPoolExecutor() as pool:  # all on one core: each counts its own processor time
        return list(pool.map(lambda run: _live(run[0], run[1], seconds, run[2]), runs))


def _live(name: str, words: list[str], seconds: float, most_mb: float) -> Use:
    with _rod() as port:
        begun = time.monotonic()
        process = subprocess.Popen(
            [*COMMAND, *words, "--serial", port, "--json"],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            text=True,
            preexec_fn=_small,
        )
        assert process.stdout is not None
        first = process.stdout.readline()
        ready_s = time.monotonic() - begun
        if not first:
            raise RuntimeError(f"{name} did not start")
        threading.Thread(target=process.stdout.read, daemon=True).start()
        time.sleep(min(3.0, seconds / 3))  # what is loaded at the start is no steady load
        before_s, at = _cpu_s(process.pid), time.monotonic()
        time.sleep(seconds)
        share = (_cpu_s(process.pid) - before_s) / (time.monotonic() - at)
        status = Path(f"/proc/{process.pid}/status").read_text()
        maps = Path(f"/proc/{process.pid}/maps").read_text()
        process.terminate()
        process.wait(10)
    memory_kb = next(int(line.split()[1]) for line in status.splitlines() if "VmHWM" in line)
    loaded = [name for name in ("numpy", "scipy", "shapely") if f"/{name}/" in maps]
    return Use(name, ready_s, memory_kb / 1024, share, ", ".join(loaded) or "none", most_mb)


def _small() -> None:
    """One core and little memory, for the process to come."""
    os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
    resource.setrlimit(resource.RLIMIT_DATA, (MEMORY_BYTES, MEMORY_BYTES))


def _cpu_s(pid: int) -> float:
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


@contextlib.contextmanager
def _rod() -> Iterator[str]:
    rod = Walker(rate_hz=RATE_HZ, stand_s=1.6, walk_s=1.4)
    rod.start()
    try:
        yield rod.path
    finally:
        rod.stop()


def _rig(*words: object) -> None:
    subprocess.run([*COMMAND, *map(str, words)], check=True, stdout=subprocess.DEVNULL)


def wheel(folder: Path) -> str:
    """Build the program's wheel from a copy of its sources and return its name.

    It is pure Python, so that it installs without a compiler.
    """
    copy = folder / "source"
    for name in ("rig", "simulated_devices", "tools/languages"):
        shutil.copytree(ROOT / name, copy / name, ignore=shutil.ignore_patterns("__pycache__"))
    for name in ("pyproject.toml", "setup.py", "MANIFEST.in", "README.md", "LICENSE"):
        shutil.copy(ROOT / name, copy / name)
    words = ["wheel", "--quiet", "--no-deps", "--wheel-dir", str(folder), str(copy)]
    subprocess.run([sys.executable, "-m", "pip", *words], check=True, capture_output=True)
    (made,) = folder.glob("*.whl")
    return made.name


def report(seconds: float) -> tuple[list[Use], str]:
    """Measure all, and build the wheel."""
    with tempfile.TemporaryDirectory() as folder:
        uses = measure(Path(folder), seconds)
        (Path(folder) / "wheel").mkdir()
        return uses, wheel(Path(folder) / "wheel")
