import math
from itertools import pairwise

import numpy as np
import pytest
import shapely

from rig.errors import BadInput
from rig.guidance.layout import MarkerPlace, lay_out_markers
from rig.room import Outline, from_rings, raster, room, with_door
from rig.units import MM_PER_FT

FT = MM_PER_FT

RECTANGLE = room(12 * FT, 15 * FT)
L_WITH_FLANGE = from_rings(
    [(0, 0), (6000, 0), (6000, 2000), (2500, 2000), (2500, 5000), (0, 5000)],
    [[(1000, 1000), (1120, 1000), (1120, 1120), (1000, 1120)]],
)
SLANTED = from_rings([(0, 0), (4000, 1500), (3000, 5000), (-500, 4000)])
CORRIDOR = room(9000, 900)
CREVICE = room(3000, 60)  # nowhere a hand clear of both walls
ROOMS_AND_NECK = from_rings(
    [
        *[(0, 0), (3000, 0), (3000, 1400), (6000, 1400), (6000, 0), (9000, 0)],
        *[(9000, 3000), (6000, 3000), (6000, 1480), (3000, 1480), (3000, 3000), (0, 3000)],
    ]
)
OUTLINES = {
    "rectangle": RECTANGLE,
    "L with a flange": L_WITH_FLANGE,
    "slanted": SLANTED,
    "corridor": CORRIDOR,
    "crevice": CREVICE,
    "two rooms and a neck": ROOMS_AND_NECK,
}


def farthest_mm(outline: Outline, markers: list[MarkerPlace]) -> float:
    """Brute force over a fine raster and every corner, none of the layout's own geometry."""
    cells = raster(outline, 20.0)
    corners = shapely.get_coordinates(outline.polygon)
    x = np.concatenate([cells.x_mm, corners[:, 0]])
    y = np.concatenate([cells.y_mm, corners[:, 1]])
    nearest = np.full(len(x), math.inf)
    for marker in markers:
        nearest = np.minimum(nearest, np.hypot(x - marker.x_mm, y - marker.y_mm))
    return float(nearest.max())


@pytest.mark.parametrize("reach_mm", [4 * FT, 600.0])
@pytest.mark.parametrize("outline", OUTLINES.values(), ids=OUTLINES.keys())
def test_no_place_is_farther_than_the_reach(outline: Outline, reach_mm: float) -> None:
    markers = lay_out_markers(outline, reach_mm)
    assert farthest_mm(outline, markers) <= reach_mm * (1 + 1e-9)


@pytest.mark.parametrize("outline", OUTLINES.values(), ids=OUTLINES.keys())
def test_every_marker_is_needed(outline: Outline) -> None:
    markers = lay_out_markers(outline, 4 * FT)
    between_mm = 20.0 / math.sqrt(2.0)  # a place may lie this far from the raster's next
    for n in range(len(markers)):
        assert farthest_mm(outline, markers[:n] + markers[n + 1 :]) > 4 * FT - between_mm


@pytest.mark.parametrize("name", ["rectangle", "L with a flange", "slanted", "corridor"])
def test_markers_stand_clear_of_walls_and_openings(name: str) -> None:
    floor = OUTLINES[name].polygon
    for marker in lay_out_markers(OUTLINES[name], 4 * FT):
        place = shapely.Point(marker.x_mm, marker.y_mm)
        assert floor.contains(place)
        assert floor.boundary.distance(place) >= 100.0 - 1e-6


@pytest.mark.parametrize("name", ["crevice", "two rooms and a neck"])
def test_where_there_is_no_room_markers_stand_as_clear_as_they_can(name: str) -> None:
    floor = OUTLINES[name].polygon
    for marker in lay_out_markers(OUTLINES[name], 4 * FT):
        place = shapely.Point(marker.x_mm, marker.y_mm)
        assert floor.contains(place)
        assert floor.boundary.distance(place) >= 15.0


def test_a_rectangle_gets_the_fewest_that_a_lattice_needs() -> None:
    # By hand: cells of 6 ft x 5 ft have a half diagonal of 3.91 ft, and the next coarser
    # lattices fail: 6 ft x 7 1/2 ft gives 4.80 ft, 12 ft x 5 ft 6.50 ft.
    markers = lay_out_markers(RECTANGLE, 4 * FT)
    assert sorted((round(m.x_mm / FT, 6), round(m.y_mm / FT, 6)) for m in markers) == [
        (3.0, 2.5),
        (3.0, 7.5),
        (3.0, 12.5),
        (9.0, 2.5),
        (9.0, 7.5),
        (9.0, 12.5),
    ]


def test_a_marker_in_the_middle_is_enough_where_it_reaches_every_corner() -> None:
    side = 4 * FT * math.sqrt(2.0)  # corners exactly at the reach
    (marker,) = lay_out_markers(room(side * 0.999999, side * 0.999999), 4 * FT)
    assert (marker.x_mm, marker.y_mm) == pytest.approx((side / 2, side / 2), abs=0.01)


def test_the_lattice_follows_a_slanted_room() -> None:
    turn = math.radians(30)

    def turned(x: float, y: float) -> tuple[float, float]:
        return (
            x * math.cos(turn) - y * math.sin(turn),
            x * math.sin(turn) + y * math.cos(turn),
        )

    corners = [(0, 0), (12 * FT, 0), (12 * FT, 15 * FT), (0, 15 * FT)]
    slanted = from_rings([turned(*corner) for corner in corners])
    assert len(lay_out_markers(slanted, 4 * FT)) == len(lay_out_markers(RECTANGLE, 4 * FT))


def test_the_walk_is_labelled_in_order_and_ends_at_the_door() -> None:
    outline = with_door(RECTANGLE, 1 * FT, 0.0, 3 * FT)
    markers = lay_out_markers(outline, 4 * FT)
    assert [marker.label for marker in markers] == [f"M{n}" for n in range(1, 7)]
    door_x, door_y = outline.doors[0].middle
    to_door = [math.hypot(m.x_mm - door_x, m.y_mm - door_y) for m in markers]
    assert to_door[-1] == min(to_door)
    walked = sum(math.dist((a.x_mm, a.y_mm), (b.x_mm, b.y_mm)) for a, b in pairwise(markers))
    assert walked == pytest.approx(5 * 5 * FT + FT, abs=1.1 * FT)  # four steps of 5 ft, one of 6


def test_the_same_outline_gives_the_same_layout() -> None:
    assert lay_out_markers(L_WITH_FLANGE, 900.0) == lay_out_markers(L_WITH_FLANGE, 900.0)


@pytest.mark.parametrize("reach_mm", [0.0, -100.0, math.nan, math.inf])
def test_a_reach_of_nothing_is_refused(reach_mm: float) -> None:
    with pytest.raises(BadInput, match="reach"):
        lay_out_markers(RECTANGLE, reach_mm)


@pytest.mark.parametrize("reach_mm", [1e-6, 10.0, 60.0])
def test_more_markers_than_anybody_sets_are_refused(reach_mm: float) -> None:
    with pytest.raises(BadInput, match="2000 markers"):
        lay_out_markers(RECTANGLE, reach_mm)
