"""What a company's jobs and rods cost, and how it grows: readings by a broker, books, questions.

Processor time, not the clock's, so that a busy machine measures the same. `figures` are what the
guide's chapter "toward very many" is reckoned from (`many.py`).
"""

import asyncio
import os
import resource
import socket
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from rig.devices.broker import Site
from rig.devices.site import Link, read_account
from rig.job.settings import Settings
from rig.job.store import Job
from rig.office import shelf
from rig.office.ask import ask, questions
from rig.office.expect import expect
from rig.office.place import Place
from rig.office.redo import redo_one
from rig.office.take import take
from tests.office.company import WALLS, World, company
from tools.endurance.office import fill

RODS, A_ROD = (1, 2, 4, 8), 2000
JOBS = (25, 50, 100, 200)
ROWS = (1_000, 10_000, 100_000, 1_000_000)
SHOTS = 140
_READINGS = 20_000

Figures = dict[str, float]


def measured(rows: Sequence[int] = ROWS) -> tuple[list[dict[str, object]], Figures]:
    """Measure everything; return the rows of the table and the figures by name."""
    found: Figures = {}
    made = [_rods(found)]
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        made.append(_jobs(folder, found))
        made += _questions(Place(str(folder / f"office-{JOBS[-1]}")), rows, found)
    return made, found


def _rods(found: Figures) -> dict[str, object]:
    """Send readings of several rods through a broker of their own, encrypted, to one session."""
    took = []
    with tempfile.TemporaryDirectory() as name:
        site = Site(Path(name, "site"))
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            port = probe.getsockname()[1]
        site.prepare("127.0.0.1", "127.0.0.1", port, {"127.0.0.1", "localhost"})
        for n in range(RODS[-1]):
            Path(name, f"rod-{n}").write_text(site.invite(f"rod-{n}", "rod").as_text())
        Path(name, "here").write_text(site.invite("here", "session").as_text())
        broker = site.start()
        try:
            for rods in RODS:
                begun = _processor_s(broker.pid), _read_bytes(broker.pid)
                asyncio.run(_sent(Path(name), rods))
                took.append(_processor_s(broker.pid) - begun[0])
                through = _read_bytes(broker.pid) - begun[1]
        finally:
            broker.terminate()
            broker.wait()
    found["reading_bytes"] = through / (RODS[-1] * A_ROD)
    found["reading_broker_ms"] = 1000.0 * took[-1] / (RODS[-1] * A_ROD)
    return _row(f"readings through a broker, {A_ROD} a rod, rods", RODS, took, "aim 1")


async def _sent(folder: Path, rods: int) -> None:
    arrived = 0

    def heard(_: object) -> None:
        nonlocal arrived
        arrived += 1

    session = Link(read_account(folder / "here"), heard)
    session.subscribe("+/rod/+/said")
    links = [Link(read_account(folder / f"rod-{n}"), lambda _: None) for n in range(rods)]
    for link in (session, *links):
        await link.open()
    for n in range(A_ROD):
        for k, link in enumerate(links):
            said = {"n": str(n), "t": f"{n / 50:.6f}", "b": "0123456789abcdef"}
            link.tell(f"{'0' * 32}/rod/rod-{k}/said", _SENTENCE, expires_s=10, said=said)
        while rods * (n + 1) - arrived > _AT_ONCE:  # a broker keeps no more for a slow listener
            await asyncio.sleep(0.0)
    while arrived < A_ROD * rods:
        await asyncio.sleep(0.001)
    for link in (session, *links):
        await link.close()


_AT_ONCE = 50
_SENTENCE = b"$U0HGT,12345,1234.5,mm,V*00\r\n"


def _processor_s(pid: int) -> float:
    told = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(told[11]) + int(told[12])) / os.sysconf("SC_CLK_TCK")


def _read_bytes(pid: int) -> int:
    return int(Path(f"/proc/{pid}/io").read_text().split("rchar:")[1].split()[0])


def _jobs(folder: Path, found: Figures) -> dict[str, object]:
    """Hand jobs in and take them; each size in an office of its own."""
    files = [one.path for one in company(folder, JOBS[-1], World(points=SHOTS), 1)]
    took = []
    for jobs in JOBS:
        office = folder / f"office-{jobs}"
        office.mkdir()
        place = Place(str(office))
        begun = time.process_time()
        for file in files[:jobs]:
            shelf.hand_in(place, file)
        handed = time.process_time() - begun
        begun = time.process_time()
        take(place)
        took.append(time.process_time() - begun)
    found["job_hand_in_ms"] = 1000.0 * handed / jobs
    found["job_take_ms"] = 1000.0 * (took[-1] - took[0]) / (JOBS[-1] - JOBS[0])
    for what, name in (("job_shelf_bytes", "jobs"), ("job_books_bytes", "books")):
        below = [one for one in (office / name).rglob("*") if one.is_file()]
        found[what] = sum(one.stat().st_size for one in below) / jobs
    found["reading_shelf_bytes"] = _bytes_a_reading(folder)
    content = next(iter(shelf.contents(place)))
    data = shelf.fetch(place, content)
    redo_one(data, "", content)  # what is loaded once is not timed
    begun = time.process_time()
    for _ in range(3):
        redo_one(data, "", content)
    found["job_redo_ms"] = 1000.0 * (time.process_time() - begun) / 3
    return _row(f"jobs of {SHOTS} shots taken into the books, jobs", JOBS, took, "aim 1")


def _bytes_a_reading(folder: Path) -> float:
    """Return what a reading of a walk takes on the shelf, packed."""
    office = folder / "readings"
    office.mkdir()
    place, path, rng = Place(str(office)), folder / "walk.sqlite", np.random.default_rng(1)
    with Job.create(path, Settings(units="mm"), WALLS) as job:
        session = job.start_session("survey", "1", "bench", "", {}, "bench", 1e9)
        for n in range(_READINGS):
            value = round(1200.0 + float(rng.normal(0.0, 0.3)), 1)
            raw = f"$U0HGT,{n % 65536},{value},mm,V*00"
            job.log_reading(session, n / 20, 1e9 + n / 20, raw, value, "valid", n)
        job.flush()
    shelf.hand_in(place, path)
    return sum(one.stat().st_size for one in office.rglob("*.zst")) / _READINGS


def _questions(place: Place, rows: Sequence[int], found: Figures) -> list[dict[str, object]]:
    """Ask books of more and more rows, made from those of real jobs."""
    took: dict[str, list[float]] = {key: [] for key in (*questions(), "expect")}
    for many in rows:
        fill(place, many)
        for key in took:
            begun = time.process_time()
            if key == "expect":
                expect(place, "crew 1", "mix 1", None)
            else:
                ask(place, key)
            took[key].append(time.process_time() - begun)
    for key, seconds in took.items():
        found[f"question_{key}_ms"] = 1000.0 * seconds[-1]
    found["question_rows"] = float(rows[-1])
    found["asking_mb"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    return [_row(f"books asked for {key}, jobs", rows, took[key], "aim 1 or less") for key in took]


def _row(what: str, sizes: Sequence[int], took: Sequence[float], aim: str) -> dict[str, object]:
    held = np.maximum(took, 0.005)  # the clock of processors ticks no finer
    exponent = float(np.polyfit(np.log(sizes), np.log(held), 1)[0])
    return {
        "what": f"growth of: {what} {sizes[0]} to {sizes[-1]}, exponent",
        "value": round(exponent, 2),
        "against": f"{aim}; {', '.join(f'{1000 * s:.3g}' for s in took)} ms of processor",
        "sizes": list(sizes),
        "seconds": list(took),
    }
