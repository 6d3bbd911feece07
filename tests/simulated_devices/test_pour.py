import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from rig.flatness.field import field_of
from rig.flatness.measures.edges import EdgeRule
from rig.flatness.model import Model, fit_surface, model_of
from rig.flatness.rules import load_rule
from rig.flatness.straightedge import worst_placement
from rig.room import room
from simulated_devices import Refused
from simulated_devices.floor import Floor, floor_from_file, make_floor
from simulated_devices.pour import TEXTURE_SD_MM, pour, write_floor
from tests.kinds import there

ROOM = (3657.6, 4572.0)
OUTLINE = room(*ROOM)


def poured(seed: int, fresh: float) -> Floor:
    floor = make_floor(seed, *ROOM)
    return pour(floor, (floor.highest_mm() + 8.0, 0.0, 0.0), seed, fresh=fresh)


def surveyed(floor: Floor, seed: int, spacing_mm: float = 600.0, noise_mm: float = 0.2) -> Model:
    rng = np.random.default_rng(seed)
    x, y = (
        a.ravel()
        for a in np.meshgrid(
            np.arange(150, ROOM[0] - 100, spacing_mm), np.arange(150, ROOM[1] - 100, spacing_mm)
        )
    )
    z = floor.height_mm(x, y) + noise_mm * rng.standard_normal(len(x))
    surface = fit_surface(x, y, z, np.full(len(x), noise_mm))
    return model_of(surface, OUTLINE, x, y, noise_mm, rng, 100)


def true_share(floor: Floor, rule: EdgeRule) -> float:
    field = field_of(OUTLINE, 25.4, lambda x, y: floor.height_mm(x, y))
    return there(worst_placement(field, OUTLINE, rule.edges(5855.0), 80, 5855.0)).share


@pytest.mark.parametrize(
    ("key", "fresh", "word"), [("click-lock", 1.0, "in"), ("bs8204-sr1", 12.0, "out")]
)
def test_the_finished_survey_proves_or_refutes_a_pour(key: str, fresh: float, word: str) -> None:
    rule = load_rule(key)
    assert isinstance(rule, EdgeRule)
    floor = poured(3, fresh)
    assert (true_share(floor, rule) <= 1.0) == (word == "in")
    assert rule.judge(OUTLINE, surveyed(floor, 3), 0.95).word == word


def test_a_perfect_pour_is_its_plane_less_what_shrinks() -> None:
    floor = make_floor(2, *ROOM)
    top = floor.highest_mm() + 10.0
    x, y = np.random.default_rng(0).uniform(0, 3000, (2, 200))
    depth = top - floor.height_mm(x, y)
    cured = pour(floor, (top, 0.0, 0.0), 2, fresh=0.0).height_mm(x, y)
    assert cured == pytest.approx(top - 0.004 * depth, abs=1e-9)


def test_the_floor_comes_through_where_it_stands_above_the_plane() -> None:
    floor = make_floor(2, *ROOM)
    low = pour(floor, (floor.highest_mm() - 5.0, 0.0, 0.0), 2)
    x, y = np.meshgrid(np.linspace(0, ROOM[0], 80), np.linspace(0, ROOM[1], 80))
    assert np.all(low.height_mm(x, y) >= floor.height_mm(x, y) - 1e-9)
    assert np.any(low.height_mm(x, y) == floor.height_mm(x, y))


def test_texture_does_not_heal_and_batches_leave_ridges() -> None:
    usual, none = poured(5, 1.0), poured(5, 0.0)
    x = np.linspace(1500, 1600, 400)
    y = np.linspace(300, 4300, 400)
    marks = usual.height_mm(x, y) - none.height_mm(x, y)
    assert np.std(np.diff(marks, 1)) > 0.05 * TEXTURE_SD_MM
    across, along = np.meshgrid(np.linspace(100, 3500, 1700), np.linspace(500, 4000, 8))
    seams = usual.height_mm(across, along) - none.height_mm(across, along)
    assert seams.max() - np.median(seams) > 0.3


def test_same_seed_same_pour() -> None:
    x, y = np.random.default_rng(1).uniform(0, 3000, (2, 50))
    again = [poured(4, 1.0).height_mm(x, y) for _ in range(2)]
    assert np.array_equal(*again)
    with pytest.raises(Refused):
        poured(4, -1.0)


def test_a_boxed_out_benchmark_stays_and_the_file_reads_back(tmp_path: Path) -> None:
    floor = make_floor(6, *ROOM)
    done = pour(floor, (floor.highest_mm() + 8.0, 0.0, 0.0), 6, keep=[(60.0, 2000.0)])
    assert done.height_mm(60.0, 2000.0) == floor.height_mm(60.0, 2000.0)
    assert done.height_mm(400.0, 2000.0) > floor.height_mm(400.0, 2000.0) + 5
    write_floor(tmp_path / "cured.json", done)
    again = floor_from_file(tmp_path / "cured.json")
    assert float(again.height_mm(60.0, 2000.0)) == pytest.approx(
        float(floor.height_mm(60.0, 2000.0)), abs=0.5
    )
    assert float(again.height_mm(1000.0, 1000.0)) == pytest.approx(
        float(done.height_mm(1000.0, 1000.0)), abs=1e-3
    )


def test_the_command_pours_a_file_and_refuses_what_it_cannot(tmp_path: Path) -> None:
    floor = make_floor(6, *ROOM)
    write_floor(tmp_path / "floor.json", floor)

    def call(*words: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, "-m", "simulated_devices.pour", *words], capture_output=True, text=True
        )

    files = ["--floor", str(tmp_path / "floor.json"), "--out", str(tmp_path / "out.json")]
    done = call(*files, "--plane=60")
    assert done.returncode == 0, done.stderr
    assert floor_from_file(tmp_path / "out.json").raster(500.0).min() > 55
    for wrong in (["--plane=high"], ["--plane=1,2"], ["--plane=60", "--keep", "3"]):
        refused = call(*files, *wrong)
        assert refused.returncode == 2
        assert "Traceback" not in refused.stderr
