"""What is pointed out of shots before anybody relies on them, and what must not be."""

import warnings

import numpy as np
import pytest

from rig.target.level import chance_min_cover
from rig.target.lowest import Wishes
from rig.target.sloped import choose_plane
from rig.units import Units
from tests.cli.conftest import Run, run

__all__ = ["run"]

CORNERS = ((200, 200), (3400, 200), (200, 4300), (3400, 4300), (1800, 2000))


def shot(run: Run, readings: list[str], room: str = "12ft,15ft") -> list[str]:
    """Import so many shots of a room and return what the floor says is odd."""
    assert run("new", "--room", room, "--units", "mm", "--min-cover", "6mm").code == 0
    rows = [f"P{n},{x},{y},{reading}" for n, ((x, y), reading)
            in enumerate(zip(CORNERS, readings, strict=False))]  # fmt: skip
    with open("shots.csv", "w") as file:
        file.write("label,x,y,reading\n" + "\n".join(rows) + "\n")
    told = run("import", "shots.csv", "--unit", "mm", "--json")
    assert told.code == 0, told.err
    odd: list[str] = [*told.json["warnings"], *run("floor", "--json").json["warnings"]]
    return odd


def test_four_shots_for_a_room_are_said_to_be_few(run: Run) -> None:
    told = shot(run, ["1200", "1203", "1207", "1201"])
    assert any("4 shots are few for 16.7 m²: each stands for 4.18 m²" in text for text in told)


def test_readings_in_metres_taken_for_millimetres_are_doubted_at_once(run: Run) -> None:
    told = shot(run, ["1.2", "1.203", "1.207", "1.201", "1.2"])
    assert sum("over the floor, which no laser does" in text for text in told) == 2


def test_a_floor_of_equal_readings_warns_of_nothing_in_the_arithmetic(run: Run) -> None:
    from rig.surface.look_out import heavy_tails

    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert heavy_tails(np.zeros(30)) == 1.0


def test_a_sloped_plane_is_never_told_less_sure_than_it_was_chosen() -> None:
    rng = np.random.default_rng(30)
    x, y = (
        axis.ravel() for axis in np.meshgrid(np.linspace(0, 4000, 12), np.linspace(0, 5000, 14))
    )
    floor = -1200.0 + 0.004 * x + rng.normal(0.0, 2.0, x.size)
    draws = (floor + rng.normal(0.0, 1.0, (400, x.size))).astype(np.float32)
    wishes = Wishes(x, y, np.full(x.size, 1e4), floor, draws, 6.0, 0.005)
    chosen = choose_plane(wishes, 0.95, lambda x_mm, y_mm: "", Units("mm"))
    told = chance_min_cover(chosen.plane, draws, x, y, 6.0)
    assert told == pytest.approx(chosen.chance)
    assert told >= 0.95
