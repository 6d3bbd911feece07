"""A step is named where it is; the table of `step_rates` tells how often, and how often wrongly."""

import numpy as np
import pytest

from rig.surface.floor_model import floor_model
from rig.surface.steps import find_step
from tests.surface.step_rates import named


@pytest.mark.parametrize("rows", [6, 12])  # with and without the floor fitted anew
def test_a_step_is_found_where_it_is_and_as_high_as_it_is(rows: int) -> None:
    rng = np.random.default_rng(3)
    x, y = (a.ravel() for a in np.meshgrid(np.linspace(0, 3500, rows), np.linspace(0, 4200, rows)))
    turn = np.radians(30.0)
    beyond = -(x - 1750) * np.sin(turn) + (y - 2100) * np.cos(turn) > 0
    z = 6.0 * beyond + 1.5 * np.sin(x / 1200) + 1e-3 * y + 0.3 * rng.standard_normal(len(x))
    step = find_step(floor_model().fit(x, y, z, 0.3))
    assert step is not None
    assert step.rise_mm == pytest.approx(6.0, abs=2.5 * step.stderr_mm)
    assert abs((step.bearing_deg - 30.0 + 90.0) % 180.0 - 90.0) < 20.0
    # The middle of the floor lies on the true line.
    bearing = np.radians(step.bearing_deg)
    off = -(1750 - step.x_mm) * np.sin(bearing) + (2100 - step.y_mm) * np.cos(bearing)
    assert abs(off) <= step.within_mm + 250.0


def test_steps_are_named_on_floors_that_have_one_and_not_on_others() -> None:
    assert sum(named("step", n, 5)[0] is not None for n in range(9)) >= 5
    for kind in ("smooth", "boards", "slab"):
        assert sum(named(kind, n, 5)[0] is not None for n in range(4)) == 0
