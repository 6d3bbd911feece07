import math
from typing import Any

import numpy as np
import pytest
import shapely

from rig.errors import CannotAnswer
from rig.flatness.line_layout import LinePoint, lay_lines
from rig.room import Outline, from_rings, room, with_door, with_opening
from rig.units import Units
from tests.kinds import Floats


def by_line(points: list[LinePoint]) -> dict[str, Floats]:
    found: dict[Any, Any] = {}
    for point in points:
        found.setdefault(point.label.split("-")[0], []).append((point.x_mm, point.y_mm))
    return {name: np.array(row) for name, row in found.items()}


HALL = with_door(with_opening(room(6000.0, 9000.0), 2500.0, 4000.0, 900.0, 700.0), 1000, 0, 900)
TURNED = from_rings([(0, 0), (6000, 1200), (4400, 9200), (-1600, 8000)])


@pytest.mark.parametrize("outline", [HALL, TURNED])
def test_lines_keep_the_minimum_rules(outline: Outline) -> None:
    lines = by_line(lay_lines(outline, 300.0))
    assert len(lines) >= 6
    rim = shapely.boundary(outline.polygon)
    for places in lines.values():
        steps = np.hypot(*np.diff(places, axis=0).T)
        assert steps == pytest.approx(300.0)
        assert len(places) >= 12  # 11 ft and eleven steps
        away = shapely.distance(shapely.points(places), rim)
        assert away.min() >= 609.0  # 2 ft, less a hair
    ends = [places[-1] - places[0] for places in lines.values()]
    ways = {round(math.degrees(math.atan2(y, x))) % 180 for x, y in ends}
    assert len(ways) == 2
    assert abs(np.diff(list(ways))[0]) == 90


def test_parallel_lines_stand_four_feet_apart_or_more() -> None:
    lines = by_line(lay_lines(room(5500.0, 6100.0), 304.8))
    across = sorted(p[0, 1] for p in lines.values() if abs(p[0, 1] - p[-1, 1]) < 1)
    assert np.diff(across).min() >= 4 * 304.8 - 1


def test_the_walk_goes_line_by_line_and_ends_by_the_door() -> None:
    points = lay_lines(HALL, 300.0)
    assert [point.order for point in points] == list(range(1, len(points) + 1))
    lines = by_line(points)
    jumps = [
        math.dist(a[-1], b[0])
        for a, b in zip(list(lines.values()), list(lines.values())[1:], strict=False)
    ]
    assert np.median(jumps) < 2500
    last = points[-1]
    door = HALL.doors[0].middle
    nearest = min(math.dist(end, door) for run in lines.values() for end in (run[0], run[-1]))
    assert math.dist((last.x_mm, last.y_mm), door) == pytest.approx(nearest)


def test_a_small_room_is_refused_with_the_reason() -> None:
    with pytest.raises(CannotAnswer, match=r"3\.35 m"):
        lay_lines(room(3000.0, 3500.0), 300.0)
    with pytest.raises(CannotAnswer, match="2 ft"):
        lay_lines(room(1100.0, 3500.0), 300.0, Units("in"))
