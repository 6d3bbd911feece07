"""The floor in characters: the right step in the right place, the door at the bottom."""

import numpy as np
import pytest

from rig.drawing.characters import floor_in_characters
from rig.drawing.look import Look
from rig.room import Outline, room, with_door, with_opening
from rig.study.floor_answer import HighPoint, LowPoint
from rig.units import Units
from tests.kinds import Floats


def tilted(x: Floats, y: Floats) -> Floats:
    """Falls 8 mm a metre along y."""
    return -1000.0 - 0.008 * np.asarray(y) + 0.0 * np.asarray(x)


HIGH = HighPoint(x_mm=100.0, y_mm=10.0, z_mm=-1000.0, upper_mm=-999.0)
LOW = LowPoint(x_mm=1000.0, y_mm=3990.0, z_mm=-1032.0, lower_mm=-1033.0)
ROOM = with_opening(
    with_door(room(3000.0, 4000.0), 1000.0, 0.0, 900.0), 2000.0, 2000.0, 600.0, 800.0
)


def drawn(outline: Outline, columns: int = 56) -> list[str]:
    return floor_in_characters(outline, Look(Units("mm")), tilted, HIGH, LOW, columns)


def test_digits_count_the_steps_below_the_high_point() -> None:
    lines = drawn(ROOM)
    rows = [line[1:-1] for line in lines if line.startswith("|")]
    assert len({len(line) for line in lines if line[0] in "|+"}) == 1
    n = len(rows)
    for k, row in enumerate(rows):
        y = 4000.0 * (n - k - 0.5) / n
        step = int(0.008 * y / 5.0)
        assert set(row) <= {str(step), " ", "^", "v"}, (k, row)
    assert "^" in rows[-1]
    assert "v" in rows[0]
    assert "5 mm" in " ".join(lines)


def test_an_opening_is_left_blank_and_the_door_is_a_gap_below() -> None:
    lines = drawn(ROOM)
    rows = [line[1:-1] for line in lines if line.startswith("|")]
    middle = rows[len(rows) // 2 - 3]
    assert " " in middle[int(0.7 * len(middle)) : int(0.85 * len(middle))]
    assert " " not in rows[-2]
    wall = next(line for line in lines[1:] if line.startswith("+"))
    assert "door" in wall
    assert wall.index("door") / len(wall) == pytest.approx(1450 / 3000, abs=0.08)


def test_a_room_entered_from_its_far_side_is_turned_round() -> None:
    outline = with_door(room(3000.0, 4000.0), 2000.0, 4000.0, 900.0)
    rows = [line[1:-1] for line in drawn(outline) if line.startswith("|")]
    assert "^" in rows[0]  # the high point lies at the wall over against the door
    assert rows[0].rindex("^") > len(rows[0]) / 2  # seen from there it is to the right


@pytest.mark.parametrize("columns", [5, 20, 56, 300])
def test_it_fits_the_terminal(columns: int) -> None:
    lines = drawn(room(30_000.0, 2_000.0), columns)
    assert max(len(line) for line in lines if line[0] in "|+") <= max(min(columns, 58), 6)
    assert len(lines) < 30


def test_a_flat_floor_is_all_nought() -> None:
    high = HighPoint(z_mm=-5.0, x_mm=10.0, y_mm=10.0, upper_mm=-5.0)
    low = LowPoint(z_mm=-5.0, x_mm=10.0, y_mm=10.0, lower_mm=-5.0)
    lines = floor_in_characters(ROOM, Look(Units("in")), lambda x, y: -5.0 + 0 * x, high, low, 40)
    assert {c for line in lines if line[0] == "|" for c in line[1:-1]} <= {"0", " ", "^", "v"}
