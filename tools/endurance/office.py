"""Jobs handed in and taken by processes that are killed at random: each is there once and whole.

The jobs are made up (`tests/office/company.py`); hand-in and intake are the commands themselves.
"""

import os
import random
import shutil
import subprocess
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from rig.office import books, shelf
from rig.office.place import Place
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
    """Fill books with so many rows made from a few real ones; return seconds a question."""
    from rig.office.ask import ask, questions

    place = Place(str(folder / "office"))
    address = f"{place.url}/books/job"
    with books.opened(place) as connection:
        ((there,),) = connection.execute("SELECT count(*) FROM version").fetchall()
        source = "SELECT * EXCLUDE (filename, file_row_number) FROM version"
        times = -(-jobs // int(there))
        from deltalake import WriterProperties, write_deltalake

        step = max(1, 20_000 // int(there))
        for first in range(0, times, step):
            several = connection.cursor().sql(
                f"SELECT * REPLACE (md5(uid || n::VARCHAR) AS uid) FROM ({source}), "
                f"range({first}, {min(times, first + step)}) AS every(n)"
            )
            write_deltalake(
                address + "-many", several, mode="append",
                writer_properties=WriterProperties(compression="ZSTD"),
            )  # fmt: skip
    shutil.rmtree(address)
    shutil.move(address + "-many", address)
    found = {}
    for key in questions():
        begun = time.monotonic()
        ask(place, key)
        found[key] = time.monotonic() - begun
    return found
