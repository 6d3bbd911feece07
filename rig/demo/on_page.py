"""The simulated rod that `rig serve --simulate` offers: for each job a floor of its own."""

import contextlib
import zlib
from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from rig.devices.clock import Clock
from rig.job.store import Job
from rig.room import Outline
from rig.session.run import Sink, Tell
from rig.session.source import SourceWish

if TYPE_CHECKING:
    from rig.demo.simulator import Simulator

SEEDS = 1000
FOLDER = ".simulated"
ENDING = ".sqlite"


@dataclass(frozen=True)
class RodOnPage:
    """A simulated rod that runs, and how its readings are had."""

    simulator: "Simulator"
    wish: SourceWish
    clock: Clock
    sinks: Sequence[Sink]


def simulated_on_page(
    folder: Path, speed: float
) -> Callable[[str, Outline, bool], AbstractContextManager[RodOnPage]]:
    """Return what starts a simulated rod for a job of a folder.

    A job's floor goes by its name; once it is poured, it is as its plan says, with what a crew
    leaves. What the simulator knows of it is kept beside the jobs.
    """

    @contextlib.contextmanager
    def start(name: str, outline: Outline, is_cured: bool) -> Iterator[RodOnPage]:
        from rig.demo.simulator import cure, simulated_rod

        seed = zlib.crc32(name.encode()) % SEEDS
        kept = folder / FOLDER
        kept.mkdir(exist_ok=True)
        truth, cured = kept / f"{name}.json", kept / f"{name}-cured.json"
        more = ["--truth", str(truth), "--mistakes", "0", "--room-mm", _size(outline)]
        if is_cured and truth.exists():
            with Job.open(folder / f"{name}{ENDING}") as job:
                plan = job.current_plan()
            if plan is not None and not cured.exists():
                cure(truth, cured, (plan.a, plan.b, plan.c), seed)
            if cured.exists():
                again = str(kept / f"{name}-again.json")
                more = ["--truth", again, "--mistakes", "0", "--floor", str(cured)]
        # In lockstep, so that a busy machine makes nothing of it worse.
        with simulated_rod("serial", seed, speed, more, lockstep=True) as simulator:
            assert simulator.pace is not None
            wish = SourceWish(serial_url=simulator.source[1], speed=speed)
            sinks = (Tell(simulator.hear), simulator.pace)
            yield RodOnPage(simulator, wish, simulator.pace.clock(), sinks)

    return start


def _size(outline: Outline) -> str:
    """Width and length of what holds the room, from 0, 0."""
    xs, ys = zip(*outline.walls, strict=True)
    return f"{max(max(xs), 1000.0):.1f},{max(max(ys), 1000.0):.1f}"
