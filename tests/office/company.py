"""A company's jobs made up quickly: what their plans stated and what their pours took is known.

The files are real job files; plans and pours are written as floor-rig keeps them, so that nothing
has to be reckoned for them. `python -m tests.office.company FOLDER N` makes so many.
"""

import math
import random
import sqlite3
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from rig.job import Job
from rig.job.settings import Settings
from rig.products import Product, Used

WALLS = [(0.0, 0.0), (5000.0, 0.0), (5000.0, 4000.0), (0.0, 4000.0)]
BAG_L, WASTE = 12.0, 0.05
DAY_S = 86400.0
START_S = 1.75e9
RULES = ("din18202-3", "a108-small", "e1155")


@dataclass(frozen=True)
class Made:
    """A job that was made, and what is true of it."""

    path: Path
    crew: str
    product: str
    temperature_c: float
    log_factor: float


@dataclass(frozen=True)
class World:
    """How crews, products and jobs differ, as standard deviations of the log of the bags."""

    crews: int = 6
    products: int = 3
    crew_sd: float = 0.08
    product_sd: float = 0.05
    job_sd: float = 0.06
    confidence: float = 0.95
    points: int = 20
    stated_sd: float | None = None
    """Of the log; without it the jobs state what is true of a job of an average crew."""


def company(folder: Path, jobs: int, world: World = World(), seed: int = 1) -> Iterator[Made]:
    """Make jobs in a folder, one file each."""
    rng = random.Random(seed)
    crews = {f"crew {n}": rng.gauss(0.0, world.crew_sd) for n in range(world.crews)}
    products = {f"mix {n}": rng.gauss(0.0, world.product_sd) for n in range(world.products)}
    for nth in range(jobs):
        crew, product = rng.choice(sorted(crews)), rng.choice(sorted(products))
        temperature_c = rng.uniform(8.0, 28.0)
        log_factor = 0.02 + crews[crew] + products[product] + rng.gauss(0.0, world.job_sd)
        path = folder / f"job-{nth:05d}.sqlite"
        made = Made(path, crew, product, temperature_c, log_factor)
        _write(made, rng, world, START_S + nth * 3 * DAY_S)
        yield made


def _write(made: Made, rng: random.Random, world: World, at_s: float) -> None:
    compound = Product(name=made.product, bag_yield_l=BAG_L, bag_mass_kg=22.0)
    settings = Settings(
        units="mm", min_cover_mm=6.0, bag_yield_l=BAG_L, bag_mass_kg=22.0, waste_share=WASTE,
        crew=made.crew, laser_name=f"L{1 + int(made.crew[-1]) % 2}", floor="concrete",
        covering="tile", product=Used(compound=compound),
    )  # fmt: skip
    with Job.create(made.path, settings, WALLS) as job:
        points = [
            (f"{chr(65 + n % 5)}{1 + n // 5}", 500.0 + 1000 * (n % 5), 400.0 + 800.0 * (n // 5), n)
            for n in range(world.points)
        ]
        job.set_points(points)
        rows = [
            {"point": label, "x_mm": x, "y_mm": y, "reading_mm": 1200.0 + rng.gauss(0, 5),
             "stderr_mm": 0.2}
            for label, x, y, _ in points
        ]  # fmt: skip
        job.import_shots(rows)
        error = 0.05 + 0.0004 * (at_s - START_S) / DAY_S + rng.gauss(0, 0.01)
        for n in range(2):
            result = {"error_mm_per_m": error, "stderr_mm_per_m": 0.02, "limit_mm_per_m": 0.4,
                      "verdict": "in", "ok": True}  # fmt: skip
            job.add_check("two-peg" if n == 0 else "repeat", {}, result, True)
        _plan_and_pour(job, made, rng, world, at_s)
    with sqlite3.connect(made.path) as plain:
        for marker in range(1, 4):
            plain.execute(
                "UPDATE marker SET residual_mm = ?, set_utc_s = ? WHERE id = ?",
                (rng.gauss(0.0, 0.4), at_s, marker),
            )
        # The days that these jobs were done on.
        plain.execute("UPDATE job SET made_utc_s = ?", (at_s,))
        plain.execute("UPDATE event SET utc_s = ? + id", (at_s,))
        plain.execute("UPDATE shot SET utc_s = ? + id", (at_s,))
        plain.execute("UPDATE plan SET utc_s = ?", (at_s + 40,))
        plain.execute('UPDATE "check" SET utc_s = ?', (at_s + 30,))
    plain.close()


def _plan_and_pour(job: Job, made: Made, rng: random.Random, world: World, at_s: float) -> None:
    volume_l = rng.uniform(150.0, 600.0)
    stated = volume_l * (1.0 + WASTE) / BAG_L
    every_sd = math.sqrt(world.crew_sd**2 + world.product_sd**2 + world.job_sd**2)
    sd = every_sd if world.stated_sd is None else world.stated_sd
    z = _quantile(world.confidence)
    stock_l = stated * BAG_L * z * sd
    buy = math.ceil(stated + stock_l / BAG_L)
    plan = job.save_plan(
        {"target": "level"},
        {
            "confidence": world.confidence,
            "volume_l": {"mean": volume_l, "p95": volume_l * 1.03, "per_bag": BAG_L},
            "bags": {"p50": math.ceil(stated), "p95": buy, "waste": 1, "waste_share": WASTE,
                     "buy": buy},
            "safety": {"confidence": world.confidence, "stock_l": stock_l, "bags": stock_l / BAG_L,
                       "shares": {}},
            "cover_mm": {"min": 6.0, "mean": 15.0, "max": 30.0},
            "chance_min_cover": 0.96,
        },
        -1180.0, 0.0, 0.0,
    )  # fmt: skip
    job.save_markers(
        [
            {"label": f"M{n}", "x_mm": 700.0 * n, "y_mm": 900.0, "order": n,
             "target_reading_mm": 1180.0, "stick_out_mm": 15.0, "stick_out_stderr_mm": 0.4}
            for n in range(1, 5)
        ],
        plan_id=plan.id,
    )  # fmt: skip
    session = job.start_session("pour", "1", "test", "", {}, "boot", at_s)
    job.log_event(session, 0.0, at_s, "site", {"what": "air", "value": made.temperature_c})
    batches = [{"n": n, "volume_l": volume_l / 10} for n in range(1, 11)]
    data = {"plan_id": plan.id, "inputs": {}, "result": {"batches": batches}}
    job.log_event(session, 0.0, at_s, "pour_plan", data)
    used = stated * math.exp(made.log_factor)
    interval_s = 300.0 * math.exp(rng.gauss(0.1, 0.1))
    ended = {"batches": 10, "bags_used": used, "share": 1.0, "yield_l": 11.5,
             "yield_stderr_l": 0.2, "interval_s": interval_s, "planned_interval_s": 300.0,
             "unticked": []}  # fmt: skip
    job.log_event(session, 1.0, at_s, "pour_done", ended)
    for kind, verdict in (("floor", "out"), ("finished", rng.choice(("in", "in", "unsure")))):
        proof = {"rule": rng.choice(RULES), "kind": kind, "verdict": verdict, "chance": 0.9,
                 "share_in": 0.97, "ff": 40.0, "fl": 30.0,
                 "worst": {"gap_mm": 2.0, "limit_mm": 4.0}}  # fmt: skip
        job.log_event(session, 1.0, at_s, "proof", proof)
    job.flush()


def _quantile(share: float) -> float:
    from statistics import NormalDist

    return NormalDist().inv_cdf(share)


if __name__ == "__main__":
    for made in company(Path(sys.argv[1]), int(sys.argv[2])):
        print(made.path)
