"""A job at each of its stages, made by the commands as a person would."""

import contextlib
import math
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

from rig.job.store import Job
from tests.cli.conftest import Run

STAGES = ("room", "grid", "surveyed", "planned", "set", "pour planned", "poured", "finished")
POUR = ("--mixers", "2", "--crew", "4", "--mix-time", "2min", "--working-time", "30min")


def z_mm(x: float, y: float) -> float:
    return -1200.0 + 6.0 * math.sin(x / 900.0) + 5.0 * math.cos(y / 1300.0)


_MADE: dict[tuple[str, str], sqlite3.Connection] = {}


def make(run: Run, stage: str, units: str = "mm", path: str = "job.sqlite") -> str:
    """Take a job of a room with a duct as far as a stage; numbers are invented.

    Each stage is made once and copied after that.
    """
    upto = STAGES.index(stage)
    if (stage, units) not in _MADE:
        if upto:
            make(run, STAGES[upto - 1], units, path)
        _step(run, stage, units, ("--job", path))
        kept = _MADE[stage, units] = sqlite3.connect(":memory:", check_same_thread=False)
        with contextlib.closing(sqlite3.connect(path)) as made:
            made.backup(kept)
    for old in Path().glob(f"{path}*"):
        old.unlink()
    with contextlib.closing(sqlite3.connect(path)) as copy:
        _MADE[stage, units].backup(copy)
    return path


def _step(run: Run, stage: str, units: str, job: tuple[str, str]) -> None:
    match stage:
        case "room":
            room = ["--room", "3m,4m", "--door", "1m,0m,0.9m", "--opening", "2m,2.5m,0.3m,0.2m"]
            bags = ["--bag-yield", "12l", "--bag-mass", "22kg", "--bag-water", "5l"]
            more = ["--waste", "5%", "--min-cover", "6mm", "--covering", "oak planks"]
            assert run("new", *room, "--units", units, *bags, *more, *job).code == 0
        case "grid":
            assert run("grid", "--spacing", "0.8m", "--edge", "15cm", *job).code == 0
        case "surveyed":
            _import(run, "floor", z_mm, job, "BM1,,,1100,0.2,1,benchmark")
            sights = ("--sight", "1283mm,860mm,25m,25m", "--sight", "1612mm,1219mm,55m,5m")
            run("check", "two-peg", *sights, *job)
        case "planned":
            assert run("plan", *job).code == 0
            assert run("markers", "--reach", "1.2m", *job).code == 0
        case "set":
            _set(run, job)
        case "pour planned":
            assert run("pour", "plan", *POUR, *job).code == 0
        case "poured":
            with Job.open(job[1]) as made:
                batches = len(made.batches())
            typed = "tick dam\n" + "batch\n" * batches + "stop\n"
            assert run("pour", "run", *job, typed=typed).code == 0
        case "finished":
            benchmark = "BM1,,,1098,0.2,2,benchmark"
            _import(run, "finished", lambda x, y: -1180.0, job, benchmark, setup="2")


def _import(
    run: Run,
    kind: str,
    height: Callable[..., Any],
    job: tuple[str, str],
    more: str,
    setup: str = "1",
) -> None:
    off = -2.0 if setup == "2" else 0.0
    with Job.open(job[1]) as made:
        points = made.points()
    rows = [
        f"{p.label},{p.x_mm},{p.y_mm},{off - height(p.x_mm, p.y_mm):.2f},0.3,{setup},{kind}"
        for p in points
    ]
    head = "label,x,y,reading,stderr,setup,kind"
    Path("table.csv").write_text("\n".join([head, *rows, more]) + "\n")
    done = run("import", "table.csv", "--unit", "mm", *job)
    assert done.code == 0, done.err


def _set(run: Run, job: tuple[str, str]) -> None:
    """Set all markers but the last with a tape, each first 4 mm too low."""
    with Job.open(job[1]) as made:
        targets = [marker.target_reading_mm for marker in made.markers()[:-1]]
        size = 25.4 if made.settings.units == "in" else 1.0
    typed = "".join(f"{(t + 4) / size:.4f}\n{t / size:.4f}\n" for t in targets)
    done = run("set", "--typed", "--skip-check", *job, typed=typed)
    assert done.code == 0, done.err
    with Job.open(job[1]) as made:
        assert sum(marker.is_set for marker in made.markers()) == len(targets)
