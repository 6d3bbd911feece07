"""What simulators write is read once; what the job tells is held against it."""

import json
from pathlib import Path

import numpy as np
import pytest

from rig.demo.score import wasted_shots
from rig.demo.truth import CrewTruth, TrueFloor, TrueShot, Truth, read
from rig.errors import DeviceUnavailable
from rig.room import raster, room


def shot(label: str, x_mm: float = 0.0, undone: bool = False) -> TrueShot:
    return TrueShot(
        label=label, x_mm=x_mm, y_mm=0.0, true_reading_mm=1200.0, time_s=1.0, undone=undone
    )


def test_the_floor_between_its_raster_is_bilinear() -> None:
    """Exact for z = 1 + 0.01 x + 0.02 y, as any linear surface is."""
    z = [[1.0 + 0.01 * x + 0.02 * y for x in range(0, 1200, 200)] for y in range(0, 1600, 200)]
    floor = TrueFloor(x0_mm=0.0, y0_mm=0.0, step_mm=200.0, z_mm=tuple(map(tuple, z)))
    cells = raster(room(1000.0, 1400.0), 50.0)
    assert floor.under(cells) == pytest.approx(1.0 + 0.01 * cells.x_mm + 0.02 * cells.y_mm)
    assert np.ptp(floor.under(cells)) > 20.0


def test_shots_undone_taken_again_or_beside_their_point_are_wasted() -> None:
    points = {"A1": (0.0, 0.0), "A2": (1000.0, 0.0)}
    taken = [shot("A1"), shot("A1"), shot("A2", undone=True), shot("A2", x_mm=1000.0)]
    assert wasted_shots(taken, points) == 2
    assert wasted_shots([shot("A2", x_mm=850.0)], points) == 1
    assert wasted_shots([shot("BM1", x_mm=5000.0)], points) == 0


def test_what_no_simulator_writes_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "truth.json"
    told = {"bags": 21, "yield_l": 10.9, "mixer_fails_after_batch": 8, "more": 1}
    path.write_text(json.dumps(told))
    assert read(CrewTruth, path).bags == 21
    with pytest.raises(DeviceUnavailable, match="truth"):
        read(Truth, path)
    with pytest.raises(DeviceUnavailable, match="nowhere"):
        read(Truth, tmp_path / "nowhere.json")
