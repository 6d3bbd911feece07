"""Jobs handed in and taken by processes that are killed at random: each is there once and whole.

The jobs are made up (`tests/office/company.py`); hand-in and intake are the commands themselves.
"""

import contextlib
import os
import random
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from rig.office import books, shelf
from rig.office.place import Place
from rig.office.redo import redo
from rig.office.take import take
from tests.office.company import World, company

_AT_ONCE = 25
_COMMAND = (sys.executable, "-m", "rig.cli")


@dataclass
class Tally:
    """What came of it."""

    jobs: int = 0
    kills: int = 0
    on_shelf: int = 0
    in_books: int = 0
    doubled: int = 0
    damaged: int = 0
    given_back: int = 0
    again: int = 0
    made_anew: bool = False
    take_jobs_per_cpu_s: float = 0.0
    bytes_a_job: float = 0.0

    @property
    def sound(self) -> bool:
        """Whether each job is there once, whole, and the books can be made anew."""
        whole = self.on_shelf == self.in_books == self.given_back == self.jobs
        return whole and not self.damaged and not self.again and self.made_anew


def torment(jobs: int, processes: int, takers: int, seed: int, folder: Path) -> Tally:
    """Make jobs, bring them by some processes, take them by others, and kill all the while."""
    rng, tally = random.Random(seed), Tally(jobs=jobs)
    files = [made.path for made in company(folder, jobs, World(points=140), seed)]
    office = folder / "office"
    office.mkdir()
    tally.kills += _all_of(
        [[*_COMMAND, "hand-in", *map(str, some), "--to", str(office)] for some in _parts(files)],
        processes,
        rng,
    )
    place = Place(str(office))
    take_words = [*_COMMAND, "office", "take", "--office", str(office)]
    tally.kills += _all_of([take_words] * takers, takers, rng)
    take(place)
    tally.on_shelf = len(list(shelf.contents(place)))
    with books.opened(place) as connection:
        rows = connection.execute("SELECT content FROM job").fetchall()
        every = connection.execute("SELECT count(*) FROM version").fetchone() or (0,)
    tally.in_books, tally.doubled = len(rows), int(every[0]) - len(rows)
    for (content,) in rows:
        tally.given_back += shelf.is_itself(shelf.fetch(place, content), content)
    tally.again = take(place).taken
    before = _rows(place)
    shutil.rmtree(office / "books")
    begun = time.process_time()
    tally.damaged = len(take(place).damaged)
    tally.take_jobs_per_cpu_s = jobs / (time.process_time() - begun)
    tally.made_anew = _rows(place) == before
    parts = (office / "books").rglob("*.parquet")
    tally.bytes_a_job = sum(one.stat().st_size for one in parts) / jobs
    return tally


@dataclass
class Redone:
    """What came of reckoning anew while the command or one of its workers is killed."""

    jobs: int
    kills: int = 0
    of_workers: int = 0
    rows: int = 0
    as_alone: bool = False

    @property
    def sound(self) -> bool:
        """Whether each job is there once, with the figures that one undisturbed process reckons."""
        return self.rows == self.jobs and self.as_alone


def redo_torment(jobs: int, kills: int, seed: int, folder: Path) -> Redone:
    """Reckon jobs anew by two workers; kill them, or who leads them, until so many were killed."""
    rng, tally = random.Random(seed), Redone(jobs)
    folder.mkdir()
    files = [made.path for made in company(folder, jobs, World(points=20), seed)]
    places = []
    for name in ("killed", "alone"):
        (folder / name).mkdir()
        place = Place(str(folder / name))
        places.append(place)
        for file in files:
            shelf.hand_in(place, file)
        take(place)
    killed, alone = places
    words = [*_COMMAND, "office", "redo", "--office", killed.given, "--workers", "2"]
    code: int | None = None
    while code != 0:
        with subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as one:
            while (code := one.poll()) is None:
                if tally.kills == kills:
                    code = one.wait()
                    break
                of_workers, waited_s = rng.random() < 0.7, 0.0
                time.sleep(rng.uniform(0.2, 4.0))
                while of_workers and not _workers(one.pid) and waited_s < 60.0:
                    time.sleep(0.2)
                    waited_s += 0.2
                workers = _workers(one.pid)
                target = rng.choice(workers) if workers and of_workers else one.pid
                with contextlib.suppress(ProcessLookupError):
                    os.kill(target, signal.SIGKILL)
                    tally.kills += 1
                    tally.of_workers += target != one.pid
    redo(alone)
    found = []
    for place in places:
        with books.plain(place, books.AGAIN) as connection:
            named = "SELECT * EXCLUDE (filename, file_row_number) FROM version ORDER BY uid"
            found.append(connection.execute(named).fetchall())
    tally.rows, tally.as_alone = len(found[0]), found[0] == found[1]
    return tally


def _workers(pid: int) -> list[int]:
    """Return the processes below one that are workers: those that a nanny of its began."""
    try:
        threads = list(Path(f"/proc/{pid}/task").glob("*/children"))
        below = [child for one in threads for child in one.read_text().split()]
    except OSError:
        return []
    return [int(one) for one in below if "spawn_main" in _command_of(one)]


def _command_of(pid: str) -> str:
    try:
        return Path(f"/proc/{pid}/cmdline").read_text()
    except OSError:
        return ""


def _all_of(commands: Sequence[Sequence[str]], at_once: int, rng: random.Random) -> int:
    """Run commands, some at a time, each killed now and then and begun again until it ends."""
    waiting, kills = list(commands), 0
    running: list[tuple[Sequence[str], subprocess.Popen[bytes], float]] = []
    while waiting or running:
        while waiting and len(running) < at_once:
            words = waiting.pop(0)
            process = subprocess.Popen(words, stdout=subprocess.DEVNULL, env=os.environ)
            dies = rng.random() < 0.5
            ends_s = time.monotonic() + rng.uniform(0.3, 3.0) if dies else float("inf")
            running.append((words, process, ends_s))
        time.sleep(0.02)
        still = []
        for words, process, ends_s in running:
            if process.poll() is not None:
                if process.returncode != 0:
                    waiting.append(words)
            elif time.monotonic() > ends_s:
                process.kill()
                process.wait()
                kills += 1
                waiting.append(words)
            else:
                still.append((words, process, ends_s))
        running = still
    return kills


def _parts(files: Sequence[Path]) -> list[Sequence[Path]]:
    return [files[first : first + _AT_ONCE] for first in range(0, len(files), _AT_ONCE)]


def _rows(place: Place) -> list[tuple[object, ...]]:
    with books.opened(place) as connection:
        return connection.execute("SELECT * FROM job ORDER BY uid").fetchall()


def many_rows(jobs: int, folder: Path) -> dict[str, float]:
    """Fill books with rows made from a few real ones; return processor seconds a question."""
    from rig.office.ask import ask, questions

    place = Place(str(folder / "office"))
    fill(place, jobs)
    found = {}
    for key in questions():
        begun = time.process_time()
        ask(place, key)
        found[key] = time.process_time() - begun
    return found


def fill(place: Place, jobs: int) -> None:
    """Put so many rows, made from those that are there, in the place of an office's books."""
    address = f"{place.url}/books/job"
    with books.opened(place) as connection:
        ((there,),) = connection.execute("SELECT count(*) FROM version").fetchall()
        source = "SELECT * EXCLUDE (filename, file_row_number) FROM version"
        times = -(-jobs // int(there))
        from deltalake import WriterProperties, write_deltalake

        step = max(1, 20_000 // int(there))
        for first in range(0, times, step):
            several = connection.cursor().sql(
                f"SELECT real.* REPLACE (md5(uid || nth::VARCHAR) AS uid) FROM ({source}) AS real, "
                f"range({first}, {min(times, first + step)}) AS every(nth)"
            )
            write_deltalake(
                address + "-many", several, mode="append",
                writer_properties=WriterProperties(compression="ZSTD"),
            )  # fmt: skip
    shutil.rmtree(address)
    shutil.move(address + "-many", address)
