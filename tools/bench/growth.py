"""How the work grows with its size: 1, 2, 4 and 8 times, and the exponent fitted to it.

An exponent of 1 is twice the time for twice the size. Where the size is small the fixed part of the
work bends it down; the times themselves stand beside it.
"""

import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from rig.devices.decoder import Decoder
from rig.devices.profile import load_profile
from rig.flatness.field import field_of
from rig.flatness.rule import Edge
from rig.flatness.straightedge import worst_placement
from rig.job.settings import Settings
from rig.job.store import Job
from rig.room import room
from rig.surface.floor_model import floor_model
from rig.survey.grid import lay_out
from rig.survey.setups import Sight, adjust
from rig.survey.sharing import Sharing

TIMES = (1, 2, 4, 8)
LEAST_S = 0.02  # shorter work is done again until it has taken so long
CORNERS = [(0.0, 0.0), (9000.0, 0.0), (9000.0, 9000.0), (0.0, 9000.0)]


def run() -> list[dict[str, object]]:
    _surface(30)()  # what is loaded once is not timed
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        works: list[tuple[str, int, Callable[[int], Callable[[], object]], str]] = [
            ("lines decoded", 2000, _decode, "aim 1"),
            ("readings logged", 2000, lambda n: _log(folder, n), "aim 1"),
            ("job opened, checked and read, shots", 250, lambda n: _open(folder, n), "aim 1"),
            ("grid laid and walk ordered, points", 30, _grid, "aim 3 or less"),
            ("surface fitted, shots", 60, _surface, "exact: 3; binned above"),
            ("straightedge everywhere, area", 5, _straightedge, "aim 1.5 or less"),
            ("set-ups tied, set-ups", 12, _tie, "aim 3 or less"),
            ("points shared by 8 rods, points", 60, _share, "aim 2 or less"),
        ]
        rows = [_row(*work) for work in works]
    from tools.bench.company import measured  # what only an office needs

    return rows + measured()[0]


def _row(
    what: str, first: int, work: Callable[[int], Callable[[], object]], aim: str
) -> dict[str, object]:
    sizes = [first * times for times in TIMES]
    took = [_seconds(work(size)) for size in sizes]
    exponent = float(np.polyfit(np.log(sizes), np.log(took), 1)[0])
    shown = ", ".join(f"{1000 * s:.3g}" for s in took)
    return {
        "what": f"growth of: {what} {sizes[0]} to {sizes[-1]}, exponent",
        "value": round(exponent, 2),
        "against": f"{aim}; {shown} ms",
        "sizes": sizes,
        "seconds": took,
    }


def _seconds(work: Callable[[], object]) -> float:
    best = float("inf")
    for _ in range(5):
        rounds, begun = 0, time.perf_counter()
        while rounds == 0 or time.perf_counter() - begun < LEAST_S:
            work()
            rounds += 1
        best = min(best, (time.perf_counter() - begun) / rounds)
        if best > 1.0:
            break
    return best


def _decode(size: int) -> Callable[[], object]:
    stream = b"".join(_sentence(n) for n in range(size))
    profile = load_profile("sentence")
    return lambda: Decoder(profile).feed(stream, 0.0, 0.0)


def _sentence(n: int) -> bytes:
    body = f"U0HGT,{n % 65536},{1200 + n % 977 / 10:.1f},mm,V"
    check = 0
    for byte in body.encode():
        check ^= byte
    return f"${body}*{check:02X}\r\n".encode()


def _job(path: Path) -> Job:
    path.unlink(missing_ok=True)
    return Job.create(path, Settings(units="mm"), CORNERS)


def _session(job: Job) -> int:
    return job.start_session("survey", "1", "bench", "", {}, "bench", 1e9)


def _log(folder: Path, size: int) -> Callable[[], object]:
    job = _job(folder / f"log{size}.sqlite")
    session = _session(job)

    def work() -> None:
        for n in range(size):
            job.log_reading(session, n / 20, 1e9, "$U0HGT,1,1234.5,mm,V*00", 1234.5, "valid", n)
        job.flush()

    return work


def _open(folder: Path, size: int) -> Callable[[], object]:
    path = folder / f"open{size}.sqlite"
    with _job(path) as job:
        job.import_shots(
            {"point": f"P{n}", "x_mm": n % 90 * 100.0, "y_mm": n // 90 * 100.0,
             "reading_mm": 1200.0, "stderr_mm": 0.1} for n in range(size)
        )  # fmt: skip

    def work() -> None:
        with Job.open(path) as job:
            assert len(job.shots()) == size

    return work


def _grid(size: int) -> Callable[[], object]:
    side = 900.0 * np.sqrt(size)
    return lambda: lay_out(room(side, side), 900.0, 150.0)


def _surface(size: int) -> Callable[[], object]:
    rng = np.random.default_rng(1)
    side = 900.0 * np.sqrt(size)
    x, y = rng.uniform(0.0, side, (2, size))
    z = 6.0 * np.sin(x / 1500.0) * np.cos(y / 1900.0) + rng.normal(0.0, 0.3, size)
    return lambda: floor_model().fit(x, y, z, 0.3)


def _straightedge(size: int) -> Callable[[], object]:
    side = 1000.0 * np.sqrt(size)
    outline = room(side, side)
    field = field_of(outline, 50.0, lambda x, y: 3.0 * np.sin(x / 700.0) * np.cos(y / 900.0))
    return lambda: worst_placement(field, outline, [Edge(1000.0, 3.0, True)])


def _tie(size: int) -> Callable[[], object]:
    names = [str(n) for n in range(size)]
    sights = [
        Sight(name, f"B{n + k}", 1000.0 + 3.0 * n + k, 0.2)
        for n, name in enumerate(names)
        for k in (0, 1)
    ]
    return lambda: adjust(names, sights)


def _share(n: int) -> Callable[[], object]:
    places = {f"P{k}": (700.0 * (k % 20), 700.0 * (k // 20)) for k in range(n)}

    def walk() -> None:
        sharing = Sharing(places, {})
        rods = [f"rod-{k}" for k in range(8)]
        while not sharing.is_done:
            for rod in rods:
                if (label := sharing.ask(rod)) is not None:
                    sharing.done(rod, label)

    return walk
