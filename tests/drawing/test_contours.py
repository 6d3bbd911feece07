"""Contours against what is known exactly, and against matplotlib's."""

import math

import numpy as np
import pytest
import shapely

from rig.drawing.contours import (
    between,
    contours_of,
    hatching,
    isoline,
    lattice_of,
    step_of,
)
from rig.room import room, with_opening
from rig.units import System, Units
from tests.kinds import Floats

ROOM = with_opening(room(4000.0, 3000.0), 1500.0, 1000.0, 600.0, 400.0)


def bowl(x: Floats, y: Floats) -> Floats:
    return 1e-6 * ((x - 2000.0) ** 2 + (y - 1500.0) ** 2)


def test_contours_of_a_bowl_are_circles() -> None:
    lattice = lattice_of(ROOM, bowl)
    for run in isoline(ROOM.polygon, lattice, 1.0):
        away = np.hypot(run[:, 0] - 2000.0, run[:, 1] - 1500.0)
        assert np.all(np.abs(away - 1000.0) < 1.0)
    inside = between(ROOM.polygon, lattice, -math.inf, 1.0)
    circle = shapely.Point(2000.0, 1500.0).buffer(1000.0, quad_segs=128)
    assert inside.area == pytest.approx(circle.intersection(ROOM.polygon).area, rel=2e-3)


def test_bands_fill_the_floor_and_nothing_else() -> None:
    found = contours_of(ROOM, lattice_of(ROOM, bowl), Units("mm"))
    assert sum(band.area for band in found.bands) == pytest.approx(ROOM.polygon.area, rel=1e-9)
    assert shapely.union_all(found.bands).difference(ROOM.polygon.buffer(0.01)).area < 1e-3
    for one in range(len(found.bands)):
        for other in range(one + 1, len(found.bands)):
            assert found.bands[one].intersection(found.bands[other]).area < 1e-3
    for level, runs in found.lines:
        assert level / found.step == pytest.approx(round(level / found.step))
        for run in runs:
            assert np.allclose(bowl(run[:, 0], run[:, 1]), level, atol=2e-3)


def test_lines_agree_with_those_of_matplotlib() -> None:
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib import pyplot

    def waves(x: Floats, y: Floats) -> Floats:
        return 3.0 * np.sin(x / 500.0) + 2.0 * np.cos(y / 700.0)

    outline = room(4000.0, 3000.0)
    lattice = lattice_of(outline, waves)
    for level in (-2.0, 0.5, 3.0):
        ours = sum(
            shapely.LineString(run).length for run in isoline(outline.polygon, lattice, level)
        )
        drawn = pyplot.contour(lattice.x_mm, lattice.y_mm, lattice.values, levels=[level])
        theirs = sum(shapely.LineString(run).length for run in drawn.allsegs[0] if len(run) > 1)
        assert ours == pytest.approx(theirs, rel=1e-6)
    pyplot.close("all")


def test_a_level_floor_is_one_band() -> None:
    found = contours_of(ROOM, lattice_of(ROOM, lambda x, y: 0 * x), Units("in"))
    assert len(found.bands) == 1
    assert not any(runs for _, runs in found.lines)


@pytest.mark.parametrize("units", ["in", "mm"])
@pytest.mark.parametrize("span", [0.0, 0.3, 7.0, 30.0, 214.0, 5000.0, 90_000.0])
def test_steps_are_round_and_bands_few(units: System, span: float) -> None:
    step = step_of(-span, 0.0, Units(units))
    assert span / step <= 8.0 + 1e-9
    if span <= 500:
        inches = step / 25.4 * 32
        assert units == "mm" or inches == pytest.approx(round(inches))


def test_hatching_is_as_long_as_its_spacing_says() -> None:
    area = shapely.box(0, 0, 1000, 800)
    lines = hatching(area, 20.0, 30.0)
    total = sum(shapely.LineString(line).length for line in lines)
    assert total * 20.0 == pytest.approx(area.area, rel=0.02)
