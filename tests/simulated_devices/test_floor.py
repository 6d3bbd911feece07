import json
from pathlib import Path

import numpy as np
import pytest

from simulated_devices import Refused
from simulated_devices.floor import floor_from_file, make_floor
from tests.kinds import Floats

ROOM = (3657.6, 4572.0)


def somewhere(n: int = 500) -> tuple[Floats, Floats]:
    rng = np.random.default_rng(0)
    return rng.uniform(0, ROOM[0], n), rng.uniform(0, ROOM[1], n)


def test_same_seed_same_floor_and_other_seed_another() -> None:
    x, y = somewhere()
    first, again, other = (make_floor(seed, *ROOM).height_mm(x, y) for seed in (4, 4, 5))
    assert np.array_equal(first, again)
    assert np.max(np.abs(first - other)) > 1.0


def test_a_place_has_one_height_however_it_is_asked_for() -> None:
    floor = make_floor(4, *ROOM)
    x, y = somewhere(20)
    together = floor.height_mm(x, y)
    assert [float(floor.height_mm(a, b)) for a, b in zip(x, y, strict=True)] == list(together)


@pytest.mark.parametrize("kind", ["subfloor", "slab"])
def test_range_is_that_of_a_floor_worth_levelling(kind: str) -> None:
    for seed in range(12):
        assert 13.0 < np.ptp(make_floor(seed, *ROOM, kind).raster(50.0)) < 33.0


def test_roughness_has_its_spread_and_is_correlated_over_some_30_mm() -> None:
    x, y = somewhere(4000)

    def fine(dx: float) -> Floats:
        rough, smooth = (
            make_floor(4, *ROOM, rough=flag).height_mm(x + dx, y) for flag in (True, False)
        )
        return np.asarray(rough - smooth)

    assert np.std(fine(0.0)) == pytest.approx(0.15, rel=0.1)
    assert np.corrcoef(fine(0.0), fine(5.0))[0, 1] > 0.8
    assert abs(np.corrcoef(fine(0.0), fine(90.0))[0, 1]) < 0.1


def test_seams_stand_out_of_plywood_only() -> None:
    y = np.linspace(1100, 1340, 500)  # across the first long seam, 4 ft from the wall

    def bend(kind: str) -> float:
        z = make_floor(4, *ROOM, kind, rough=False).height_mm(np.full_like(y, 700.0), y)
        return float(np.max(np.abs(np.diff(z, 2))))

    assert bend("subfloor") > 5 * bend("slab")


def test_floor_file_is_bilinear_between_its_points(tmp_path: Path) -> None:
    path = tmp_path / "floor.json"
    raster = {"x0_mm": 0, "y0_mm": 0, "step_mm": 1000, "z_mm": [[0, 1, 2], [4, 5, 8]]}
    path.write_text(json.dumps(raster))
    floor = floor_from_file(path)
    assert (floor.width_mm, floor.length_mm) == (2000, 1000)
    assert float(floor.height_mm(500, 0)) == 0.5
    assert float(floor.height_mm(1500, 500)) == pytest.approx((1 + 2 + 5 + 8) / 4)
    assert float(floor.height_mm(2500, 2000)) == 8


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("{", "not JSON"),
        ("[1]", "not a raster"),
        ('{"x0_mm": 0, "y0_mm": 0, "step_mm": 10}', "z_mm"),
        ('{"x0_mm": 0, "y0_mm": 0, "step_mm": 0, "z_mm": [[0,1],[1,2]]}', "step_mm"),
        ('{"x0_mm": 0, "y0_mm": 0, "step_mm": 500, "z_mm": [[0,1],[1]]}', "not a raster"),
        ('{"x0_mm": 0, "y0_mm": 0, "step_mm": 500, "nx": 3, "z_mm": [[0,1],[1,2]]}', "ny rows"),
    ],
)
def test_a_bad_floor_file_is_refused_by_name(tmp_path: Path, text: str, says: str) -> None:
    path = tmp_path / "floor.json"
    path.write_text(text)
    with pytest.raises(Refused, match=says):
        floor_from_file(path)


def test_impossible_rooms_and_kinds_are_refused() -> None:
    with pytest.raises(Refused, match="side"):
        make_floor(1, 0.0, 1000.0)
    with pytest.raises(Refused, match="kind"):
        make_floor(1, *ROOM, "moon")
