"""Areas and distances are worked by hand beside each check; shapely is the outside reference."""

import math
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from rig import room as plan
from rig.errors import BadInput
from rig.room import Outline

FT = 304.8
SQUARE = [(0, 0), (4000, 0), (4000, 3000), (0, 3000)]
# 6 x 5 m less a 3 x 2 m corner: 24 m2; rim 6 + 3 + 3 + 2 + 3 + 5 = 22 m
L_SHAPE = [(0, 0), (6000, 0), (6000, 3000), (3000, 3000), (3000, 5000), (0, 5000)]
# one wall slants: 4 x 3 m less a triangle of 1 x 3 / 2 = 10.5 m2
SLANTED = [(0, 0), (4000, 0), (3000, 3000), (0, 3000)]


def square(x: float, y: float, side: float) -> list[Any]:
    return [(x, y), (x + side, y), (x + side, y + side), (x, y + side)]


def l_with_hole_and_slant() -> Outline:
    walls = [(0, 0), (6000, 0), (5200, 3100), (3000, 3000), (3000, 5000), (0, 5000)]
    return plan.from_rings(walls, [square(800, 900, 437.5)])


# --- outlines ---------------------------------------------------------------------------------


def test_room_has_its_corner_at_the_origin_and_its_first_length_along_x() -> None:
    room = plan.room(12 * FT, 15 * FT)
    assert room.walls == ((0, 0), (12 * FT, 0), (12 * FT, 15 * FT), (0, 15 * FT))
    assert room.area_m2 == pytest.approx(180 * 0.09290304, rel=1e-12)  # NIST SP 811: 1 ft2
    assert room.perimeter_mm == pytest.approx(54 * FT)


def test_l_shape_less_an_opening_has_the_area_worked_by_hand() -> None:
    outline = plan.from_rings(L_SHAPE, [square(1000, 1000, 500)])
    assert outline.area_m2 == pytest.approx(24.0 - 0.25, rel=1e-12)
    assert outline.perimeter_mm == pytest.approx(22_000)
    assert outline.polygon.equals(shapely.Polygon(L_SHAPE, [square(1000, 1000, 500)]))


def test_corners_keep_their_order_and_lose_only_the_repeated_last() -> None:
    clockwise = L_SHAPE[::-1]
    outline = plan.from_rings([*clockwise, clockwise[0]])
    assert list(outline.walls) == clockwise
    assert outline.area_m2 == pytest.approx(24.0)


def test_rings_and_doors_survive_a_round_trip_through_plain_numbers() -> None:
    one = plan.with_door(plan.from_rings(L_SHAPE, [square(1000, 1000, 500)]), 500, 0, 900)
    doors = [(d.x_mm, d.y_mm, d.end_x_mm, d.end_y_mm) for d in one.doors]
    again = plan.from_rings([list(p) for p in one.walls], [list(one.openings[0])], doors)
    assert again == one


@pytest.mark.parametrize(
    ("walls", "openings", "reason"),
    [
        ([(0, 0), (4000, 0)], [], "the walls: fewer than three"),
        ([(0, 0), (4000, 0), (4000, 0), (0, 0)], [], "fewer than three"),
        ([(0, 0), (1000, 0), (3000, 0)], [], "the walls: no area"),
        (
            [(0, 0), (4000, 0), (0, 3000), (4000, 3000)],
            [],
            r"the walls: the rim crosses itself near \(2000, 1500\) mm",
        ),
        (  # two squares that meet in one corner
            [(0, 0), (1, 0), (1, 1), (2, 1), (2, 2), (1, 2), (1, 1), (0, 1)],
            [],
            "the walls: the rim crosses itself",
        ),
        ([(0, 0), (4000, 0), (4000, math.nan)], [], "wall corner 3 is not a finite"),
        ([(0, 0), (4000, 0), (4000, math.inf)], [], "wall corner 3 is not a finite"),
        ([(0, 0), (4000, 0), (4000, 3000, 7)], [], "wall corner 3 is not a pair"),
        ([(0, 0), (4000, 0), (4000, None)], [], "wall corner 3 is not a pair"),
        ([(0, 0), (4e9, 0), (4000, 3000)], [], "wall corner 2 is over 10 km"),
        (SQUARE, [square(500, 500, 300), square(9000, 0, 300)], "opening 2 lies outside the walls"),
        (SQUARE, [square(-300, 500, 400)], "opening 1 lies mostly outside the walls"),
        (SQUARE, [square(500, 500, 300), square(700, 700, 300)], "openings 1 and 2 overlap"),
        (SQUARE, [square(500, 500, 900), square(700, 700, 300)], "openings 1 and 2 overlap"),
        (SQUARE, [[(0, 1000), (4000, 1000), (4000, 1100), (0, 1100)]], "opening 1 cuts the room"),
        (
            SQUARE,
            [
                [(0, 1000), (2000, 1000), (2000, 1100), (0, 1100)],
                [(2000, 1000), (4000, 1000), (4000, 1100), (2000, 1100)],
            ],
            "opening 2 cuts the room",
        ),
        (SQUARE, [SQUARE], "opening 1 leaves no floor"),
        (SQUARE, [[(500, 500), (600, 500), (700, 500)]], "opening 1: no area"),
        (
            SQUARE,
            [[(500, 500), (900, 900), (900, 500), (500, 900)]],
            r"opening 1: the rim crosses itself near \(700, 700\)",
        ),
        (SQUARE, [[(500, 500), (900, math.nan), (900, 500)]], "opening 1, corner 2 is not"),
    ],
)
def test_unsound_outline_is_refused_by_name(
    walls: Any, openings: list[list[tuple[int, float]]], reason: str
) -> None:
    with pytest.raises(BadInput, match=reason):
        plan.from_rings(walls, openings)


@pytest.mark.parametrize("sides", [(0, 1000), (1000, -1), (math.nan, 1000)])
def test_room_without_size_is_refused(sides: tuple[float, int]) -> None:
    with pytest.raises(BadInput, match="more than 0"):
        plan.room(*sides)


# --- openings ---------------------------------------------------------------------------------


def test_opening_that_touches_a_wall_is_cut_off() -> None:
    outline = plan.with_opening(plan.from_rings(SQUARE), 0, 1000, 600, 400)
    assert outline.area_m2 == pytest.approx(12 - 0.24)
    assert outline.openings == (((0, 1000), (600, 1000), (600, 1400), (0, 1400)),)
    assert outline.perimeter_mm == pytest.approx(14_000)
    assert not plan.contains(outline, 300, 1200)


def test_opening_that_reaches_past_a_wall_counts_inside_only() -> None:
    outline = plan.with_opening(plan.from_rings(SQUARE), -100, 1000, 600, 400)
    assert outline.area_m2 == pytest.approx(12 - 0.5 * 0.4)


def test_rounding_crumb_beside_an_opening_is_no_second_room() -> None:
    # the far corner of a duct along the slanted wall, rounded to 0.1 mm
    duct = [(3666.7, 1000), (3333.3, 2000), (3000, 2000), (3000, 1000)]
    outline = plan.from_rings(SLANTED, [duct])
    assert outline.polygon.geom_type == "Polygon"
    assert outline.area_m2 == pytest.approx(10.5 - 0.5, abs=1e-3)


def test_openings_may_share_an_edge() -> None:
    outline = plan.from_rings(SQUARE, [square(500, 500, 300), square(800, 500, 300)])
    assert outline.area_m2 == pytest.approx(12 - 2 * 0.09)


@pytest.mark.parametrize("size", [(0, 100), (100, -5), (math.nan, 5)])
def test_opening_without_size_is_refused(size: tuple[float, int]) -> None:
    with pytest.raises(BadInput, match="opening 1 must be more than 0"):
        plan.with_opening(plan.from_rings(SQUARE), 500, 500, *size)


# --- doors ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("given", "door"),
    [
        ((1000, 0, 800), (1000, 0, 1800, 0)),  # the way wall 1 runs
        ((1000, 20, 800), (1000, 0, 1800, 0)),  # within 25 mm: moved onto the wall
        ((4000, 500, 800), (4000, 500, 4000, 1300)),
        ((3000, 3000, 800), (3000, 3000, 2200, 3000)),  # wall 3 runs towards smaller x
        ((0, 0, 800), (0, 0, 800, 0)),  # at a corner: forwards on the wall that starts there
        ((4000, 0, 800), (4000, 0, 4000, 800)),
        ((0, 0, 4000), (0, 0, 4000, 0)),  # a whole wall
        ((-20, 0, 800), (0, 0, 800, 0)),
    ],
)
def test_door_lies_on_its_wall(given: tuple[int, int, int], door: tuple[int, ...]) -> None:
    (made,) = plan.with_door(plan.from_rings(SQUARE), *given).doors
    assert (made.x_mm, made.y_mm, made.end_x_mm, made.end_y_mm) == pytest.approx(door)
    assert made.width_mm == pytest.approx(given[2])


def test_door_on_a_slanted_wall_follows_it() -> None:
    (door,) = plan.with_door(plan.from_rings(SLANTED), 3800, 600, 1000).doors
    # wall 2 runs from (4000, 0) by (-1, 3)/sqrt(10) a millimetre
    assert door.end_x_mm == pytest.approx(3800 - 1000 / math.sqrt(10))
    assert door.end_y_mm == pytest.approx(600 + 3000 / math.sqrt(10))
    assert door.middle == pytest.approx((3800 - 500 / math.sqrt(10), 600 + 1500 / math.sqrt(10)))


def test_doors_that_overlap_are_refused_also_on_a_slanted_wall() -> None:
    outline = plan.with_door(plan.from_rings(SLANTED), 3800, 600, 1000)
    along = (1 / math.sqrt(10), 3 / math.sqrt(10))
    beside = plan.with_door(outline, 3800 - 1000 * along[0], 600 + 1000 * along[1], 500)
    assert len(beside.doors) == 2
    with pytest.raises(BadInput, match=r"door 2 .* overlaps door 1 by 300 mm"):
        plan.with_door(outline, 3800 - 700 * along[0], 600 + 700 * along[1], 500)


def test_doors_are_kept_in_order() -> None:
    outline = plan.with_door(plan.with_door(plan.from_rings(SQUARE), 500, 0, 800), 4000, 500, 900)
    assert [door.width_mm for door in outline.doors] == pytest.approx([800, 900])
    assert plan.with_opening(outline, 1000, 1000, 300, 300).doors == outline.doors


@pytest.mark.parametrize(
    ("given", "reason"),
    [
        ((1000, 200, 800), r"door 1 .* not on a wall.*wall 1, is 200 mm \(8 in\) away"),
        ((2000, 0, 2500), r"does not fit on wall 1.*runs 2000 mm .* one way and 2000 mm"),
        ((3700, 0, 800), r"past the end of wall 1.*goes on for 300 mm.*--door 2900mm,0mm,800mm"),
        ((1000, 0, 0), "width must be more than 0"),
        ((1000, 0, -800), "width must be more than 0"),
        ((math.nan, 0, 800), "place is not a number"),
    ],
)
def test_door_off_the_walls_is_refused(given: tuple[float, int, int], reason: str) -> None:
    with pytest.raises(BadInput, match=reason):
        plan.with_door(plan.from_rings(SQUARE), *given)


@pytest.mark.parametrize(
    ("door", "reason"),
    [
        ((1000, 500, 1800, 500), r"door 1, from .* does not lie on one wall: it is 500 mm"),
        ((3500, 0, 4000, 500), "does not lie on one wall"),  # across a corner
        ((1000, 0, 1000, 0), "width"),
        ((1000, 0, math.nan, 0), "place is not a number"),
    ],
)
def test_kept_door_that_suits_the_walls_no_more_is_refused(
    door: tuple[float, ...], reason: str
) -> None:
    with pytest.raises(BadInput, match=reason):
        plan.from_rings(SQUARE, (), [door])


# --- the walk along the walls -----------------------------------------------------------------


def test_walk_that_closes_gives_the_room_it_went_round() -> None:
    outline, closing = plan.from_walls("12ft left 10ft left 12ft left 10ft left")
    assert closing == 0
    assert outline.walls == ((0, 0), (3657.6, 0), (3657.6, 3048), (0, 3048))


def test_walk_to_the_right_has_the_room_on_its_right() -> None:
    outline, closing = plan.from_walls(
        "12ft 6in right 5' right 3 ft LEFT 4ft 6in right 9'6\" Right 9 1/2ft"
    )
    assert closing == pytest.approx(0, abs=1e-9)
    # 12.5 x 9.5 ft less 3 x 4.5 ft at the corner, below the first wall
    assert outline.area_m2 == pytest.approx((12.5 * 9.5 - 3 * 4.5) * 0.09290304)
    assert min(y for _, y in outline.walls) == pytest.approx(-9.5 * FT)


def test_turns_other_than_square_are_given_in_degrees() -> None:
    # a right-angled triangle with two equal legs
    outline, closing = plan.from_walls("3m left 135deg 4.2426406871m left 135° 3m")
    assert closing < 1e-6
    assert outline.area_m2 == pytest.approx(4.5)


def test_closing_error_is_spread_by_the_compass_rule() -> None:
    outline, closing = plan.from_walls("4000mm left 3000mm left 4010mm left 3020mm")
    # the walk ends at (-10, -20) after 14 030 mm; each corner moves by its part of the way there
    assert closing == pytest.approx(math.hypot(10, 20))
    walked = np.array([0, 4000, 7000, 11010])
    raw = np.array([(0, 0), (4000, 0), (4000, 3000), (-10, 3000)])
    expected = raw + np.outer(walked / 14030, (10, 20))
    np.testing.assert_allclose(outline.walls, expected, rtol=1e-12, atol=1e-9)


def test_walk_that_misses_by_too_much_is_refused_with_the_error_and_its_direction() -> None:
    with pytest.raises(BadInput, match="miss their start by 1 ft") as caught:
        plan.from_walls("12ft left 10ft left 11ft left 10ft")
    assert re.search(r"2\.3 % of the walk.*1 ft too far ahead", str(caught.value))
    with pytest.raises(BadInput, match=r"0\.4 m too far to the right"):
        plan.from_walls("4m left 3m left 4m left 3.4m")
    with pytest.raises(BadInput, match=r"0\.5 m too far back"):
        plan.from_walls("4m left 3m left 4.5m left 3m")


def test_closing_error_of_two_per_cent_is_the_most_that_is_taken() -> None:
    # 14 280 mm walked may miss by 285.6 mm
    assert plan.from_walls("4000mm left 3000mm left 4000mm left 3280mm")[1] == pytest.approx(280)
    with pytest.raises(BadInput, match="miss their start"):
        plan.from_walls("4000mm left 3000mm left 4000mm left 3290mm")


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("", "fewer than three walls"),
        ("12ft", "fewer than three walls"),
        ("12ft right 10ft", "fewer than three walls"),
        ("12 right 10ft right 12ft right 10ft", "wall 1 of the walk .*unit is missing"),
        ("12ft right right 10ft right 12ft", "wall 2 of the walk .*empty"),
        ("12ft up 10ft right 12ft right 10ft", "wall 1 of the walk .*turns are written left"),
        ("12ft right 10ft right -12ft right 10ft", "wall 3 of the walk .*more than 0"),
        ("12ft right 10ft right 0ft right 10ft", "wall 3 of the walk .*more than 0"),
        ("12ft right 180deg 10ft right 12ft right 10ft", "turn after wall 1"),
        ("2m left 2m left 1m left 3m right 1m right 1m", r"crosses itself near \(1000, 0\)"),
    ],
)
def test_walk_that_cannot_be_followed_is_refused(text: str, reason: str) -> None:
    with pytest.raises(BadInput, match=reason):
        plan.from_walls(text)


# --- files ------------------------------------------------------------------------------------


def test_wkt_polygon_holds_walls_and_openings(tmp_path: Path) -> None:
    file = tmp_path / "room.wkt"
    file.write_text(
        "POLYGON ((0 0, 6 0, 6 3, 3 3, 3 5, 0 5, 0 0),\n (1 1, 1.5 1, 1.5 1.5, 1 1.5, 1 1))\n"
    )
    outline = plan.from_file(file, "m")
    assert list(outline.walls) == L_SHAPE
    assert outline.area_m2 == pytest.approx(23.75)


def test_csv_takes_ring_0_as_the_walls_wherever_it_stands(tmp_path: Path) -> None:
    file = tmp_path / "room.csv"
    file.write_text(
        "\ufeffRing, X ,y\n1,4,4\n1,5,4\n1,5,5 1/2\n0,0,0\n0,12' 6\",0\n\n0,12 1/2,10\n0,0,10\n"
    )
    outline = plan.from_file(str(file), "ft")
    assert outline.walls == ((0, 0), (3810, 0), (3810, 3048), (0, 3048))
    assert outline.area_m2 == pytest.approx((125 - 0.75) * 0.09290304)


def test_csv_without_ring_0_takes_the_first_as_the_walls(tmp_path: Path) -> None:
    file = tmp_path / "room.csv"
    rows = [("walls", *p) for p in SQUARE] + [("post", *p) for p in square(500, 500, 300)]
    file.write_text("ring,x,y\n" + "".join(f"{r},{x},{y}\n" for r, x, y in rows))
    outline = plan.from_file(file, "mm")
    assert list(outline.walls) == SQUARE
    assert len(outline.openings) == 1


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("", "is empty; it needs a heading ring,x,y"),
        ("x,y\n0,0\n", "line 1: column 'ring' is missing; the heading is ring,x,y"),
        ("ring,x,y\n", "heading but no rows"),
        ("ring,x,y\n0,0,0\n0,1\n", "line 3: 2 cells"),
        ("ring,x,y\n0,0,0\n0,4,zero\n", "line 3: y “zero”"),
        ("ring,x,y\n0,0,0\n0,nan,0\n", "line 3: x “nan”"),
        ("ring,x,y\n0,0,0\n0,1,0\n", "fewer than three"),
        ("POLYGON ((0 0, 4 0, 4 3))", "not sound WKT"),
        ("POLYGON ((0 0, 4 0, 4 x, 0 0))", "not sound WKT"),
        ("POLYGON EMPTY", "holds nothing"),
        ("POINT (1 2)", "holds a Point"),
        ("MULTIPOLYGON (((0 0, 4 0, 4 3, 0 0)))", "holds a MultiPolygon"),
        ("POLYGON ((0 0, 4 0, 4 3, 0 3, 0 0), (9 9, 9.5 9, 9 9.5, 9 9))", "opening 1 lies outside"),
        ("POLYGON ((0 0, 4 0, 0 3, 4 3, 0 0))", "the walls: the rim crosses itself"),
    ],
)
def test_file_without_a_sound_outline_is_refused(tmp_path: Path, text: str, reason: str) -> None:
    file = tmp_path / "room.txt"
    file.write_text(text)
    with pytest.raises(BadInput, match=reason):
        plan.from_file(file, "m")


def test_file_that_cannot_be_read_is_refused(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="There is no file"):
        plan.from_file(tmp_path / "none.wkt", "m")
    with pytest.raises(BadInput, match="cannot be read"):
        plan.from_file(tmp_path, "m")
    (tmp_path / "picture").write_bytes(b"\x89PNG\xff\x00")
    with pytest.raises(BadInput, match="no text file"):
        plan.from_file(tmp_path / "picture", "m")
    (tmp_path / "room.wkt").write_text("POLYGON ((0 0, 4 0, 4 3, 0 0))")
    with pytest.raises(BadInput, match="use mm, cm, m, in or ft"):
        plan.from_file(tmp_path / "room.wkt", "yd")


# --- points and rasters -----------------------------------------------------------------------


def test_contains_tells_the_floor_from_openings_and_outside() -> None:
    outline = plan.from_rings(L_SHAPE, [square(1000, 1000, 500)])
    x = np.array([[500, 1250, 5000], [0, 3000, np.nan]])
    y = np.array([[500, 1250, 4000], [0, 5000, 1000]])
    expected = [[True, False, False], [True, True, False]]
    assert plan.contains(outline, x, y).tolist() == expected
    assert plan.contains(outline, 500, [500, 9000]).tolist() == [True, False]


def test_contains_takes_points_on_a_slanted_wall() -> None:
    t = np.linspace(0, 1, 101)
    outline = plan.from_rings(SLANTED)
    assert plan.contains(outline, 4000 - 1000 * t, 3000 * t).all()
    assert not plan.contains(outline, 4000.1 - 1000 * t, 3000 * t).any()


@pytest.mark.parametrize("step", [50.8, 73.0, 400.0, 20_000.0])
def test_raster_adds_up_to_the_floor(step: float) -> None:
    outline = l_with_hole_and_slant()
    made = plan.raster(outline, step)
    assert made.area_mm2.sum() == pytest.approx(outline.polygon.area, rel=1e-9)
    assert made.share.min() > 0
    assert made.share.max() <= 1
    # the centroid of the whole is that of the parts: shapely's is the reference
    centroid = outline.polygon.centroid
    assert np.average(made.x_mm, weights=made.share) == pytest.approx(centroid.x, rel=1e-9)
    assert np.average(made.y_mm, weights=made.share) == pytest.approx(centroid.y, rel=1e-9)


def test_raster_centroids_stay_in_their_own_cells() -> None:
    outline, step = l_with_hole_and_slant(), 73.0
    made = plan.raster(outline, step)
    column, row = np.floor(made.x_mm / step), np.floor(made.y_mm / step)
    assert len(set(zip(column, row, strict=True))) == made.share.size
    whole = made.share == 1.0
    assert 0.8 < whole.mean() < 1
    np.testing.assert_allclose(made.x_mm[whole], (column[whole] + 0.5) * step)
    for k in np.flatnonzero(~whole):
        box = shapely.box(*(step * np.array([column[k], row[k], column[k] + 1, row[k] + 1])))
        assert made.share[k] * step**2 == pytest.approx(box.intersection(outline.polygon).area)


def test_raster_of_a_room_that_the_step_divides_has_no_border_cells() -> None:
    made = plan.raster(plan.room(1200, 900), 300)
    assert made.share.tolist() == [1.0] * 12
    assert made.x_mm[:5].tolist() == [150, 450, 750, 1050, 150]
    assert made.y_mm[:5].tolist() == [150, 150, 150, 150, 450]


@given(
    st.floats(min_value=500, max_value=9000),
    st.floats(min_value=500, max_value=9000),
    st.floats(min_value=-0.9, max_value=0.9),
    st.floats(min_value=90, max_value=700),
)
@settings(max_examples=40, deadline=None)
def test_raster_adds_up_for_any_trapezium(
    width: float, length: float, slant: float, step: float
) -> None:
    walls = [(0, 0), (width, 0), (width * (1 - max(slant, 0)), length), (-width * slant, length)]
    outline = plan.from_rings(walls if slant < 0 else [*walls[:3], (0, length)])
    total = plan.raster(outline, step).area_mm2.sum()
    assert total == pytest.approx(outline.polygon.area, rel=1e-9)


@pytest.mark.parametrize("most", [1, 2, 10, 300, 5000])
def test_raster_of_is_as_fine_as_its_cells_allow(most: int) -> None:
    outline = l_with_hole_and_slant()
    made = plan.raster_of(outline, most)
    assert made.share.size <= most
    assert made.share.size > 0.8 * most or most < 100
    assert made.area_mm2.sum() == pytest.approx(outline.polygon.area, rel=1e-9)


def test_senseless_raster_is_refused() -> None:
    for step in (0, -5, math.nan):
        with pytest.raises(BadInput, match="more than 0"):
            plan.raster(plan.room(4000, 3000), step)
    with pytest.raises(BadInput, match="too fine"):
        plan.raster(plan.room(4000, 3000), 0.1)
    with pytest.raises(BadInput, match="at least one cell"):
        plan.raster_of(plan.room(4000, 3000), 0)


# --- places -----------------------------------------------------------------------------------


def test_place_is_told_from_the_door_looking_in() -> None:
    outline = plan.with_door(plan.room(12 * FT, 15 * FT), 4 * FT, 0, 3 * FT)
    assert plan.where(outline, 4 * FT, 6 * FT, "in") == (
        "6 ft from the door wall, 4 ft from the left wall"
    )
    assert plan.where(outline, 11 * FT, 13.5 * FT, "in") == (
        "1 ft 6 in from the far wall, 1 ft from the right wall"
    )
    assert plan.where(outline, 4 * FT, 6 * FT, "mm") == (
        "1.83 m from the door wall, 1.22 m from the left wall"
    )


@pytest.mark.parametrize("reverse", [False, True])
@pytest.mark.parametrize(
    ("door", "names"),
    [
        ((1500, 0, 2300, 0), ("door", "left")),
        ((4000, 1000, 4000, 1800), ("left", "far")),
        ((1500, 3000, 2300, 3000), ("far", "right")),
        ((0, 1000, 0, 1800), ("right", "door")),
    ],
)
def test_wall_names_turn_with_the_door_and_not_with_the_order_of_corners(
    door: tuple[int, ...], names: tuple[str, str], reverse: bool
) -> None:
    # at (500, 400) the nearest walls are y = 0 and x = 0
    outline = plan.from_rings(SQUARE[::-1] if reverse else SQUARE, (), [door])
    below, beside = (f"{name} wall" for name in names)
    offsets = dict(plan.wall_offsets(outline, 500, 400))
    assert offsets == pytest.approx({below: 400, beside: 500})


def test_walls_are_numbered_in_the_order_given_where_there_is_no_door() -> None:
    outline = plan.from_rings(SQUARE)
    assert plan.wall_offsets(outline, 500, 400) == (("wall 1", 400), ("wall 4", 500))
    assert plan.where(outline, 3500, 2600, "mm") == "0.5 m from wall 2, 0.4 m from wall 3"


def test_door_and_far_walls_come_first() -> None:
    outline = plan.from_rings(SQUARE, (), [(1500, 0, 2300, 0)])
    assert [name for name, _ in plan.wall_offsets(outline, 100, 1400)] == ["door wall", "left wall"]
    assert [name for name, _ in plan.wall_offsets(outline, 100, 2900)] == ["far wall", "left wall"]


def test_offsets_in_an_l_shape_are_taken_from_walls_in_sight() -> None:
    outline = plan.from_rings(L_SHAPE)
    # in the right leg: wall 3 (y = 3000) is near; wall 4 (x = 3000, above) has no foot there
    assert plan.wall_offsets(outline, 4000, 2500) == (("wall 2", 2000), ("wall 3", 500))
    # in the upper leg wall 4 is the nearer of the sides
    assert plan.wall_offsets(outline, 2500, 4600) == (("wall 4", 500), ("wall 5", 400))


def test_wall_behind_another_is_not_measured_from() -> None:
    # a U: its legs are 2 m wide, the notch between them 1 m
    walls = [(0, 0), (5000, 0), (5000, 4000), (3000, 4000), (3000, 1000), (2000, 1000)]
    outline = plan.from_rings([*walls, (2000, 4000), (0, 4000)])
    for x, y in ((1900, 2500), (3100, 2500), (1000, 3900), (2500, 500)):
        for name, distance in plan.wall_offsets(outline, x, y):
            k = int(name.removeprefix("wall ")) - 1
            a, b = outline.walls[k], outline.walls[(k + 1) % 8]
            wall = shapely.LineString([a, b])
            tape = shapely.shortest_line(shapely.Point(x, y), wall)
            assert tape.length == pytest.approx(distance)
            assert shapely.Polygon(outline.walls).buffer(0.001).covers(tape)


def test_wall_that_stands_back_beside_the_door_wall_is_not_taken_for_it() -> None:
    # looking in from (1500, 0), the step at y = 1000 faces as the door wall does
    walls = [(0, 0), (3000, 0), (3000, 1000), (5000, 1000), (5000, 4000), (0, 4000)]
    outline = plan.from_rings(walls, (), [(1000, 0, 1900, 0)])
    assert plan.wall_offsets(outline, 4500, 1200) == (
        ("far wall", 2800),
        ("right wall at the back", 500),
    )


def test_offsets_from_a_slanted_wall_are_square_to_it() -> None:
    outline = plan.from_rings(SLANTED)
    # wall 2 is 3x + y = 12000; from (3300, 1600): |9900 + 1600 - 12000| / sqrt(10)
    # the foot on wall 3 (y = 3000) is past its end at x = 3000, so wall 1 serves, though farther
    (first, far), (second, near) = plan.wall_offsets(outline, 3300, 1600)
    assert (first, far) == ("wall 1", 1600)
    assert second == "wall 2"
    assert near == pytest.approx(500 / math.sqrt(10))


def test_walls_nearly_parallel_do_not_place_a_point() -> None:
    # a wedge: walls 1 and 3 meet at 8 degrees
    outline = plan.from_rings([(0, 0), (7000, 0), (7000, 1500), (0, 500)])
    names = [name for name, _ in plan.wall_offsets(outline, 3500, 450)]
    assert names in (["wall 1", "wall 2"], ["wall 1", "wall 4"])


def test_place_without_two_walls_in_reach_is_told_from_a_corner_in_sight() -> None:
    # a thin slanting strip: near its tip only the two long walls have a foot
    walls = [(0, 0), (400, 0), (4400, 4000), (4000, 4000)]
    outline = plan.from_rings(walls, (), [(2000, 1600, 2700, 2300)])
    offsets = dict(plan.wall_offsets(outline, 2200, 2000))
    (corner,) = [name for name in offsets if name.startswith("corner of ")]
    assert f"from the {corner}" in plan.where(outline, 2200, 2000)
    # the strip's long walls are x - y = 0 and x - y = 400; the nearest corner is (4000, 4000)
    assert sorted(offsets.values()) == pytest.approx([200 / math.sqrt(2), math.hypot(1800, 2000)])


def test_no_tape_is_led_over_an_opening_where_another_wall_is_free() -> None:
    outline = plan.from_rings(SQUARE, [[(100, 400), (600, 400), (600, 1200), (100, 1200)]])
    assert dict(plan.wall_offsets(outline, 900, 700)) == {"wall 1": 700, "wall 2": 3100}


L_HOUSE = [(0, 0), (6000, 0), (6000, 3000), (3600, 3000), (3600, 5400), (0, 5400)]


def test_walls_that_face_one_way_are_told_apart_by_what_the_door_sees() -> None:
    outline = plan.from_rings(L_HOUSE, (), [(1000, 0, 1900, 0)])
    assert [name for name, _, _ in plan.named_walls(outline)] == [
        "door wall",
        "right wall by the door",
        "far wall on the right",
        "right wall at the back",
        "far wall on the left",
        "left wall",
    ]
    # a chimney of 300 mm on the far wall: its cheeks are seen as such
    far = [(5000, 4000), (3000, 4000), (3000, 3700), (2000, 3700), (2000, 4000), (0, 4000)]
    outline = plan.from_rings([(0, 0), (5000, 0), *far], (), [(1000, 0, 1900, 0)])
    assert [name for name, _, _ in plan.named_walls(outline)] == [
        "door wall",
        "right wall",
        "far wall on the right",
        "short left wall",
        "far wall in the middle",
        "short right wall",
        "far wall on the left",
        "left wall",
    ]


def rooms_of_boxes(seed: int) -> plan.Outline:
    """A room of square corners with many walls, by chance."""
    rng = np.random.default_rng(seed)
    boxes = [
        shapely.box(x, y, x + w, y + h)
        for x, y, w, h in rng.integers(2, 9, (5, 4)) * 500.0 - (0, 0, 400, 400)
    ]
    joined = shapely.union_all([*boxes, shapely.box(1000, 1000, 3000, 3000)])
    largest = max(shapely.get_parts(joined), key=shapely.area)
    walls = shapely.simplify(shapely.Polygon(largest.exterior), 1.0).exterior.coords[:-1]
    bare = plan.from_rings(walls)
    (x, y), (end_x, end_y) = max(
        ((a, b) for _, a, b in plan.named_walls(bare)), key=lambda ends: math.dist(*ends)
    )
    middle = ((x + end_x) / 2, (y + end_y) / 2)
    return plan.from_rings(walls, (), [(*middle, 0.7 * end_x + 0.3 * x, 0.7 * end_y + 0.3 * y)])


def test_no_name_comes_twice_and_every_place_has_two_free_measures() -> None:
    for seed in range(30):
        outline = rooms_of_boxes(seed)
        walls = {name: (a, b) for name, a, b in plan.named_walls(outline)}
        assert len(walls) == len(outline.walls), seed
        room = outline.polygon.buffer(0.001)
        rng = np.random.default_rng(seed)
        x, y = rng.uniform(1000, 8000, (2, 40))
        for place in zip(x, y, strict=True):
            if not outline.polygon.contains(shapely.Point(place)):
                continue
            offsets = plan.wall_offsets(outline, *place)
            for name, distance in offsets:
                tape = shapely.shortest_line(shapely.Point(place), shapely.LineString(walls[name]))
                assert tape.length == pytest.approx(distance), (seed, place, name)
                assert room.covers(tape), (seed, place, name)


def test_two_walls_of_one_name_are_not_given_together() -> None:
    # an octagon: a diagonal would share the name of its neighbour
    c, s = 1000, 1000 + 1000 * math.sqrt(2)
    walls = [(c, 0), (s, 0), (s + c, c), (s + c, s), (s, s + c), (c, s + c), (0, s), (0, c)]
    outline = plan.from_rings(walls, (), [(1500, 0, 2300, 0)])
    for x, y in ((600, 600), (1500, 1000), (600, 2000), (2900, 2900), (1707, 1707)):
        (one, _), (other, _) = plan.wall_offsets(outline, x, y)
        assert one != other


@given(st.floats(min_value=0, max_value=6000), st.floats(min_value=0, max_value=5000))
@settings(deadline=None)
def test_offsets_lead_back_to_the_place(x: float, y: float) -> None:
    outline = plan.from_rings(L_SHAPE)
    if not plan.contains(outline, x, y):
        return
    told = dict(plan.wall_offsets(outline, x, y))
    lines = {"wall 1": ("y", 0), "wall 2": ("x", 6000), "wall 3": ("y", 3000)}
    lines |= {"wall 4": ("x", 3000), "wall 5": ("y", 5000), "wall 6": ("x", 0)}
    axes = {axis: (at, distance) for name, distance in told.items() for axis, at in [lines[name]]}
    for axis, value in (("x", x), ("y", y)):
        at, distance = axes[axis]  # one wall for each axis: never two parallel ones
        assert abs(value - at) == pytest.approx(distance, abs=1e-6)


def test_place_on_a_wall_or_in_a_doorway_is_told() -> None:
    outline = plan.from_rings(SQUARE, (), [(1500, 0, 2300, 0)])
    expected = "0 m from the door wall, 1.9 m from the left wall"
    assert plan.where(outline, 1900, 0, "mm") == expected
    assert plan.where(outline, 1900, -20, "mm") == expected


@pytest.mark.parametrize("place", [(-500, 500), (4000, 4000), (math.nan, 500)])
def test_place_outside_is_refused(place: tuple[float, int]) -> None:
    with pytest.raises(BadInput, match="lies outside the walls"):
        plan.wall_offsets(plan.from_rings(SQUARE), *place)


def test_a_place_beyond_the_walls_is_told_by_its_coordinates() -> None:
    outline = plan.from_rings(SQUARE)
    assert plan.where(outline, -500.0, 4250.0, "mm") == "outside the walls, x -0.5 m, y 4.25 m"


def test_measures_meet_their_walls_square() -> None:
    outline = plan.room(4000.0, 3000.0)
    feet = plan.wall_feet(outline, 1000.0, 700.0)
    assert sorted(feet) == [((0.0, 700.0), 1000.0), ((1000.0, 0.0), 700.0)]
    for ((x, y), distance), (_, told) in zip(
        feet, plan.wall_offsets(outline, 1000.0, 700.0), strict=True
    ):
        assert math.hypot(x - 1000.0, y - 700.0) == pytest.approx(distance) == told
