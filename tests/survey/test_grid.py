import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import cKDTree

from rig.errors import BadInput
from rig.room import Outline, from_rings, raster_of, room, with_door, with_opening
from rig.survey.grid import GridPoint, lay_out, named_apart
from tests.kinds import Floats

FT = 304.8

L_SHAPE = from_rings([(0, 0), (6000, 0), (6000, 2500), (2500, 2500), (2500, 7000), (0, 7000)])
DUMBBELL = from_rings(  # two rooms and a corridor too narrow for the edge
    [
        (0, 0), (3000, 0), (3000, 1200), (6000, 1200), (6000, 0), (9000, 0), (9000, 3000),
        (6000, 3000), (6000, 1490), (3000, 1490), (3000, 3000), (0, 3000),
    ]
)  # fmt: skip
SLIVER = with_opening(room(4000.0, 4000.0), 200.0, 500.0, 1500.0, 3000.0)
TRIANGLE = from_rings([(0, 0), (6000, 0), (0, 4000)])
POSTS = with_opening(with_opening(room(5000.0, 6000.0), 900.0, 900.0, 400.0, 400.0),
                     2500.0, 3000.0, 900.0, 300.0)  # fmt: skip
SHAPES = {
    "l": L_SHAPE, "dumbbell": DUMBBELL, "sliver": SLIVER, "triangle": TRIANGLE, "posts": POSTS,
    "room": room(12 * FT, 15 * FT), "corridor": room(900.0, 8000.0),
}  # fmt: skip


def xy(points: list[GridPoint]) -> Floats:
    return np.array([(p.x_mm, p.y_mm) for p in points])


def farthest(outline: Outline, points: list[GridPoint]) -> float:
    """The farthest that a place of the floor is from a point: corners and a fine raster."""
    cells = raster_of(outline, 8_000)
    corners = shapely.get_coordinates(outline.polygon)
    places = np.vstack([np.column_stack([cells.x_mm, cells.y_mm]), corners])
    return float(cKDTree(xy(points)).query(places)[0].max())


def test_a_plain_room() -> None:
    points = lay_out(room(12 * FT, 15 * FT), 3 * FT, 0.5 * FT)
    at = {p.label: (p.x_mm, p.y_mm) for p in points}
    assert len(points) == 5 * 6
    assert at["A1"] == pytest.approx((0.5 * FT, 0.5 * FT))
    assert at["E1"] == pytest.approx((11.5 * FT, 0.5 * FT))
    assert at["A6"] == pytest.approx((0.5 * FT, 14.5 * FT))
    xs = sorted({round(x, 6) for x, _ in at.values()})
    assert np.diff(xs) == pytest.approx(np.full(4, 11 * FT / 4))
    assert [p.order for p in points] == list(range(1, 31))


def test_a_room_that_divides_evenly_gets_no_needless_line() -> None:
    assert len(lay_out(room(13 * FT, 16 * FT), 3 * FT, 0.5 * FT)) == 5 * 6


def test_columns_beyond_z() -> None:
    labels = {p.label for p in lay_out(room(30000.0, 2000.0), 1000.0, 150.0)}
    assert {"A1", "Z1", "AA1", "AE3"} <= labels


@pytest.mark.parametrize("name", SHAPES)
def test_every_place_is_within_reach_and_every_point_on_the_floor(name: str) -> None:
    outline, spacing, edge = SHAPES[name], 3 * FT, 0.5 * FT
    points = lay_out(outline, spacing, edge)
    assert farthest(outline, points) <= spacing / math.sqrt(2) + edge * math.sqrt(2) + 1e-6
    assert len({p.label for p in points}) == len(points)
    assert sorted(p.order for p in points) == list(range(1, len(points) + 1))
    assert shapely.intersects_xy(outline.polygon, *xy(points).T).all()


@pytest.mark.parametrize("name", ["l", "triangle", "posts", "room"])
def test_points_keep_clear_of_walls_and_openings(name: str) -> None:
    outline, edge = SHAPES[name], 0.5 * FT
    rim = outline.polygon.boundary
    for p in lay_out(outline, 3 * FT, edge):
        assert shapely.Point(p.x_mm, p.y_mm).distance(rim) >= edge - 1e-6


def test_points_do_not_crowd() -> None:
    for name in ("l", "triangle", "posts"):
        places = xy(lay_out(SHAPES[name], 3 * FT, 0.5 * FT))
        away = np.hypot(*(places[:, None] - places[None]).transpose(2, 0, 1))
        np.fill_diagonal(away, np.inf)
        assert away.min() > 0.25 * 3 * FT


def test_a_corridor_too_narrow_for_the_edge_is_measured_on_its_middle() -> None:
    inside = [p for p in lay_out(DUMBBELL, 3 * FT, 0.5 * FT) if 3000 < p.x_mm < 6000]
    assert len(inside) >= 2
    for p in inside:
        assert p.y_mm == pytest.approx(1345.0, abs=60.0)


@pytest.mark.parametrize("size", [(2 * FT, 12 * FT), (9 * FT, 1.5 * FT), (1.5 * FT, 1.5 * FT)])
def test_points_of_a_narrow_room_are_never_on_one_line(size: tuple[float, float]) -> None:
    places = xy(lay_out(room(*size), 3 * FT, 0.5 * FT))
    along, across = np.ptp(places, axis=0).max(), np.ptp(places, axis=0).min()
    assert across == pytest.approx(min(size) - FT)
    assert along == pytest.approx(max(size) - FT)


def test_the_walk_ends_at_the_door() -> None:
    outline = with_door(room(12 * FT, 15 * FT), 6 * FT, 0.0, 3 * FT)
    last = lay_out(outline, 3 * FT, 0.5 * FT)[-1]
    assert last.label == "D1"


def test_neighbours_are_no_farther_apart_than_the_spacing() -> None:
    @settings(max_examples=15, deadline=None)
    @given(
        width=st.floats(900.0, 9000.0),
        length=st.floats(900.0, 9000.0),
        spacing=st.floats(400.0, 2000.0),
        edge=st.floats(20.0, 400.0),
    )
    def check(width: float, length: float, spacing: float, edge: float) -> None:
        outline = room(width, length)
        points = lay_out(outline, spacing, edge)
        for axis in (0, 1):
            lines = np.unique(np.round(xy(points)[:, axis], 6))
            assert np.diff(lines).max(initial=0.0) <= spacing + 1e-6
        assert farthest(outline, points) <= (spacing + 2 * edge) / math.sqrt(2) + 1e-6

    check()


@settings(max_examples=15, deadline=None)
@given(
    cut_x=st.floats(300.0, 5000.0),
    cut_y=st.floats(300.0, 4000.0),
    spacing=st.floats(500.0, 1500.0),
    edge=st.floats(50.0, 140.0),
)
def test_odd_corners_are_covered(cut_x: float, cut_y: float, spacing: float, edge: float) -> None:
    outline = from_rings(
        [(0, 0), (5500, 0), (5500, cut_y), (cut_x, cut_y), (cut_x, 4500), (0, 4500)]
    )
    points = lay_out(outline, spacing, edge)
    assert farthest(outline, points) <= spacing / math.sqrt(2) + edge * math.sqrt(2) + 1e-6


@pytest.mark.parametrize(("spacing", "edge"), [(0.0, 150.0), (-1.0, 150.0), (900.0, 0.0),
                                               (900.0, -5.0), (math.nan, 150.0)])  # fmt: skip
def test_lengths_that_are_none_are_refused(spacing: float, edge: float) -> None:
    with pytest.raises(BadInput, match="more than nothing"):
        lay_out(room(3000.0, 3000.0), spacing, edge)


def test_an_edge_that_leaves_no_room_is_refused_with_the_largest_that_works() -> None:
    with pytest.raises(BadInput, match=r"largest that works here is (\d+) mm") as refused:
        lay_out(room(2000.0, 3000.0), 900.0, 1200.0)
    assert "999 mm" in str(refused.value)
    assert lay_out(room(2000.0, 3000.0), 900.0, 999.0)


def test_too_many_points_are_refused() -> None:
    with pytest.raises(BadInput, match="more than 5000 points"):
        lay_out(room(100_000.0, 100_000.0), 900.0, 150.0)
    with pytest.raises(BadInput, match="more than 5000 points"):
        lay_out(room(3000.0, 3000.0), 0.5, 150.0)


def labels(points: list[GridPoint]) -> list[str]:
    return [point.label for point in points]


def at(*labelled: tuple[str, int, int]) -> list[GridPoint]:
    return [GridPoint(label, x, y, n) for n, (label, x, y) in enumerate(labelled, 1)]


def test_a_closer_grid_keeps_the_labels_of_shots_and_goes_on_with_free_letters() -> None:
    wide = at(("A1", 0, 0), ("B1", 1000, 0))
    close = at(("A1", 0, 0), ("B1", 500, 0), ("C1", 1000, 0))
    shots = [(p.label, p.x_mm + 4.0, p.y_mm) for p in wide]
    named = named_apart(close, shots)
    assert labels(named) == ["A1", "C1", "B1"]
    assert [(p.x_mm, p.y_mm, p.order) for p in named] == [(p.x_mm, p.y_mm, p.order) for p in close]
    assert labels(named_apart(close, [])) == ["A1", "B1", "C1"]
    assert named_apart(named, [(p.label, p.x_mm, p.y_mm) for p in named]) == named


def test_no_point_has_the_label_of_a_shot_elsewhere() -> None:
    shots = [("A1", 5, 900), ("Z1", 300, 300), ("AA1", 600, 600), ("AA2", 0, 50)]
    assert labels(named_apart(at(("A1", 0, 0), ("A2", 0, 50)), shots)) == ["B1", "AA2"]
    moved = named_apart(at(("A1", 0, 0), ("A2", 0, 100), ("Z9", 9, 900)), shots)
    assert labels(moved) == ["B1", "B2", "A1"]
    assert labels(named_apart(at(("Y1", 9, 9), ("A1", 0, 0)), shots)) == ["AB1", "D1"]
    assert labels(
        named_apart(
            at(
                ("A1", 0, 0),
            ),
            [("oak", 0, 0), ("a1", 9, 99)],
        )
    ) == ["A1"]


def test_lines_stay_whole() -> None:
    lines = at(("F1-1", 0, 0), ("F1-2", 300, 0), ("F2-1", 0, 900))
    shots = [(p.label, p.x_mm, p.y_mm) for p in lines]
    assert labels(named_apart(lines, shots)) == ["F1-1", "F1-2", "F2-1"]
    aside = [(label, x, y + 600) for label, x, y in shots]
    assert labels(named_apart(lines, aside)) == ["F3-1", "F3-2", "F4-1"]


def test_a_tenth_of_the_points_are_paired_and_walked_one_after_the_other() -> None:
    alone = lay_out(SHAPES["room"], 914.4, 152.4)
    paired = lay_out(SHAPES["room"], 914.4, 152.4, pairs=True)
    added = [p for p in paired if p.label not in {one.label for one in alone}]
    assert len(added) == round(0.1 * len(alone))
    where = {one.label: (one.x_mm, one.y_mm) for one in alone}
    assert {p.label: (p.x_mm, p.y_mm) for p in paired if p.label in where} == where
    for one in added:
        near = [
            p
            for p in paired
            if p is not one and math.dist((p.x_mm, p.y_mm), (one.x_mm, one.y_mm)) < 300.0
        ]
        assert [round(math.dist((p.x_mm, p.y_mm), (one.x_mm, one.y_mm)), 1) for p in near] == [
            228.6
        ]
        assert abs(near[0].order - one.order) == 1
        assert near[0].label[0] == one.label[0]


def test_lines_never_beat_with_joists() -> None:
    # 11 ft in four steps is 33 in, which meets joists at 16 in at nearly the same place each time.
    alone = lay_out(SHAPES["room"], 914.4, 152.4)
    across = sorted({round(p.x_mm, 1) for p in alone})
    assert (across[1] - across[0]) / 406.4 == pytest.approx(2.0625)
    apart = lay_out(SHAPES["room"], 914.4, 152.4, beats_mm=(406.4, None))
    lines = sorted({round(p.x_mm, 1) for p in apart})
    times = (lines[1] - lines[0]) / 406.4
    assert len(lines) == len(across) + 1
    assert abs(times - round(times)) > 0.12
    assert {round(p.y_mm, 1) for p in apart} == {round(p.y_mm, 1) for p in alone}
