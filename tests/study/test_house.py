"""One order for several rooms, against simulation.

`python -m tests.study.test_house 200` makes up that many houses, surveys them, and counts how often
the stated 95 % of the order held what the rooms took.
"""

import sys
import tempfile
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from rig.job.settings import Settings
from rig.job.store import Job
from rig.quantities.bags import sheet_of
from rig.quantities.safety import PLANE_SD_MM, WASTE_SD_SHARE, YIELD_SD_SHARE, Floor, joint_stock
from rig.room import Outline, moved_to, raster, room
from rig.study.house_plan import HousePlan, house_plan
from rig.study.picture import picture_of
from rig.study.plane import PlanWish
from rig.study.rooms import add_room, each_room
from tests.flatness.error_rates import waves

SETTINGS = Settings(units="mm", min_cover_mm=5.0, bag_yield_l=12.0, waste_share=0.05)
LINE_MM = 1200.0  # over the true floors' own zero
Floats = NDArray[np.float64]


def made_up(path: Path, seed: int) -> tuple[Job, list[tuple[Outline, Floats]]]:
    """A job of two rooms, surveyed; each room with its true floor on a 10 cm raster."""
    rng = np.random.default_rng(seed)
    sizes = rng.uniform(2200, 4200, (2, 2))
    rooms = [room(*sizes[0]), moved_to(room(*sizes[1]), float(sizes[0][0]) + 100.0, 0.0)]
    job = Job.create(path, SETTINGS, rooms[0].walls)
    add_room(job, "two", rooms[1])
    truth, rows = [], []
    for n, outline in enumerate(rooms):
        field = waves(rng)
        scale = rng.uniform(0.15, 0.35)
        (left, low), (right, high) = np.min(outline.walls, axis=0), np.max(outline.walls, axis=0)
        x, y = (
            one.ravel()
            for one in np.meshgrid(
                np.linspace(left + 150, right - 150, round((right - left) / 700) + 1),
                np.linspace(low + 150, high - 150, round((high - low) / 700) + 1),
            )
        )
        shots = scale * field(x, y) + rng.normal(0, 0.4, len(x))
        rows += [
            {
                "point": f"R{n}P{k}",
                "x_mm": a,
                "y_mm": b,
                "reading_mm": LINE_MM - z,
                "stderr_mm": 0.4,
            }
            for k, (a, b, z) in enumerate(zip(x, y, shots, strict=True))
        ]
        cells = raster(outline, 100.0)
        truth.append((outline, scale * np.asarray(field(cells.x_mm, cells.y_mm))))
    job.import_shots(rows)
    return job, truth


def need_l(plan: HousePlan, volumes_l: Floats, rng: np.random.Generator) -> Floats:
    """What rooms take, waste included: their volumes (rooms, draws), and what else goes astray."""
    draws = volumes_l.shape[1]
    areas = np.array([one.area_m2 for one in plan.rooms])
    poured = volumes_l + PLANE_SD_MM * areas[:, None] * rng.standard_normal(volumes_l.shape)
    mean = plan.volume_l.mean
    waste = SETTINGS.waste_share or 0.0
    need: Floats = (
        poured.sum(axis=0) * (1.0 + waste)
        + mean * (1.0 + waste) * YIELD_SD_SHARE * rng.standard_normal(draws)
        + mean * waste * WASTE_SD_SHARE * rng.standard_normal(draws)
    )
    return need


def stated_l(plan: HousePlan) -> float:
    """Need that the order covers 95 times in 100, before it is rounded up to bags."""
    return plan.volume_l.mean * (1.0 + plan.bags.waste_share) + plan.safety.stock_l


def test_the_joint_95_percent_is_that_of_2000_draws(tmp_path: Path) -> None:
    """Draws of both floors by conditional simulation, joined with draws of all else."""
    job, _ = made_up(tmp_path / "j.sqlite", 3)
    plan = house_plan(job)
    volumes = []
    with each_room(job) as rooms:
        for one, told in zip(rooms, plan.rooms, strict=True):
            assert one.room is not None
            picture = picture_of(one, one.room.outline, 0.95, 600, 2000)
            area = picture.cells.share * picture.cells.step_mm**2
            over = told.plane.a - picture.extremes.smooth_mm.astype(float)
            volumes.append(over @ area * 1e-6)
    job.close()
    need = need_l(plan, np.array(volumes), np.random.default_rng(1))
    held = float(np.mean(need <= stated_l(plan)))
    assert 0.93 <= held <= 0.97  # 2000 draws: a standard error of 0.5 %
    assert plan.volume_l.p95 < sum(one.volume_l.p95 for one in plan.rooms)


def test_the_doubt_of_the_volume_is_there_at_even_odds_too(tmp_path: Path) -> None:
    """It is of the floors, whatever confidence the plane is chosen at."""
    job, _ = made_up(tmp_path / "j.sqlite", 3)
    with job:
        even, sure = (house_plan(job, PlanWish(confidence=one)).volume_l for one in (0.5, 0.95))
    assert even.p95 - even.mean == pytest.approx(sure.p95 - sure.mean, rel=1e-6)
    assert sure.sd_l > 0


def test_an_order_of_one_room_is_that_of_the_room() -> None:
    """Two alike rooms: own doubts add in squares, what is common to them adds up."""
    sheet = sheet_of(SETTINGS)
    one = joint_stock([Floor(100.0, 4.0, 0.0, 0.0)], sheet)
    two = joint_stock([Floor(100.0, 4.0, 0.0, 0.0)] * 2, sheet)
    both = joint_stock([Floor(100.0, 0.0, 4.0, 0.0)] * 2, sheet)
    assert two.mean_l == 2 * one.mean_l
    assert one.sd_l < two.sd_l < both.sd_l == 2 * one.sd_l


def held_in(houses: int, draws: int = 200) -> float:
    """How often, over so many houses, the order held what the true floors took.

    Each house is poured so many times: its floors stay, all else goes astray anew.
    """
    held = 0.0
    rng = np.random.default_rng(7)
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(houses):
            job, truth = made_up(Path(folder) / f"{seed}.sqlite", seed)
            plan = house_plan(job)
            job.close()
            volumes = []
            for told, (outline, true_mm) in zip(plan.rooms, truth, strict=True):
                cells = raster(outline, 100.0)
                over_mm = told.plane.a + LINE_MM - true_mm
                volumes.append(float(over_mm @ cells.area_mm2) * 1e-6)
            need = need_l(plan, np.repeat(np.array(volumes)[:, None], draws, axis=1), rng)
            held += float(np.mean(need <= stated_l(plan)))
    return held / houses


if __name__ == "__main__":
    houses = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    print(f"over {houses} houses the order held {held_in(houses):.1%} of pours")
