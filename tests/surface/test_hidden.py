"""The full table, told against kept, is `python -m tests.surface.calibration --told 90`."""

import numpy as np
import pytest

from rig.surface.gaussian_process import GaussianProcess
from rig.surface.hidden import HIGH_MM, LOW_MM, Ceiling, chance_beside_hump, chance_on_curled_slab
from rig.surface.looked import Looked
from tests.kinds import Floats
from tests.surface.calibration import run_told

X, Y = (a.ravel() for a in np.meshgrid(np.arange(75.0, 3600, 150), np.arange(75.0, 4500, 150)))


def flat(apart_mm: float, z_mm: Floats | None = None) -> GaussianProcess:
    x, y = (
        a.ravel()
        for a in np.meshgrid(np.arange(150.0, 3600, apart_mm), np.arange(150.0, 4500, apart_mm))
    )
    model = GaussianProcess(2.5, "plane", 1.0, 1500.0, 0.16)
    return model.fit(x, y, np.zeros(len(x)) if z_mm is None else z_mm, 0.3)


def over(height_mm: float, model: GaussianProcess | None = None) -> Ceiling:
    draws = np.zeros((100, len(X)))
    if model is not None:
        draws += model.predict(X, Y)[0]
    return Ceiling(X, Y, np.full(len(X), 150.0**2), draws, np.full(len(X), height_mm))


@pytest.mark.parametrize(
    ("height_mm", "kept"), [(0.0, 0.0), ((LOW_MM + HIGH_MM) / 2, 0.5), (HIGH_MM, 1.0)]
)
def test_on_a_flat_floor_as_many_humps_break_the_height_as_are_higher(
    height_mm: float, kept: float
) -> None:
    """With hardly a shot, humps are as likely of any height from the lowest to the highest."""
    corner = GaussianProcess(2.5, "plane", 1.0, 1500.0, 0.16)
    corner.fit(np.array([0.0, 1, 0, 1]), np.array([0.0, 0, 1, 1]), np.zeros(4), 0.3)
    told = chance_beside_hump(corner, over(height_mm), np.random.default_rng(1))
    assert told == pytest.approx(kept, abs=0.05)


def test_shots_close_together_and_looks_leave_no_hump_to_tell_of() -> None:
    assert chance_beside_hump(flat(900.0), over(1.0), np.random.default_rng(2)) == 0.0
    assert chance_beside_hump(flat(450.0), over(1.0), np.random.default_rng(2)) is None
    rows = [Looked((10.0, y), (3600.0, y)) for y in np.arange(150.0, 4500.0, 250.0)]
    assert chance_beside_hump(flat(900.0), over(1.0), np.random.default_rng(2), rows) is None


def test_shots_speak_for_a_slab_or_against_one() -> None:
    x, y = flat(600.0).x_mm, flat(600.0).y_mm
    curled = sum(
        4.0 * np.maximum(1.0 - np.abs((at - 900.0 + 1500.0) % 3000.0 - 1500.0) / 600.0, 0.0) ** 2
        for at in (x, y)
    )
    slab = flat(600.0, np.asarray(curled))
    assert slab.predict(X, Y)[0].max() < 4.0  # no shot stands on a crossing, which is 8 mm high
    told = [
        chance_on_curled_slab(slab, over(height, slab), np.random.default_rng(3))
        for height in (4.0, 8.0)
    ]
    assert told[0] is not None
    assert told[1] is not None
    assert told[0] < 0.2
    assert told[1] > told[0]
    assert chance_on_curled_slab(flat(450.0), over(5.0), np.random.default_rng(3)) is None


def test_the_tables_of_the_guide_name_kinds_and_what_is_told(
    capsys: pytest.CaptureFixture[str],
) -> None:
    judged = run_told(1, seed=3, kinds=("slab", "hump"))
    told = capsys.readouterr().out
    for word in ("| slab |", "| hump |", "| without slab |", "beside hump", "| hump (1) |"):
        assert (word in told) == (word != "| without slab |")  # nothing else is seen by a grid
    assert judged["hump"][0].beside_hump is not None
