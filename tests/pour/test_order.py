"""The front moves from the far end to the exit, shares add up, and nobody is walled in."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from rig.errors import BadInput
from rig.pour.order import Floor, exit_on, floor_of, leaves_a_way, order_of_pour, place_on
from rig.room import Outline, from_walls, raster_of, room, with_door, with_opening
from rig.units import Units
from tests.kinds import Floats


def laid(outline: Outline, cover: Callable[..., Any] = lambda x, y: 12.0 + 0.0 * x) -> Floor:
    cells = raster_of(outline, 1500)
    return floor_of(outline, cells, cover(cells.x_mm, cells.y_mm))


def rooms() -> dict[str, Outline]:
    plain = with_door(room(3658.0, 4572.0), 1219.0, 0.0, 914.0)
    ell, _ = from_walls("6m left 3m left 3m right 3m left 3m left 6m")
    ell = with_door(ell, 5000.0, 0.0, 800.0)
    return {
        "plain": plain,
        "post": with_opening(plain, 1500.0, 2000.0, 600.0, 600.0),
        "ell": ell,
        "ell and post": with_opening(ell, 1000.0, 1000.0, 500.0, 500.0),
        "long": with_door(room(2000.0, 9000.0), 500.0, 0.0, 800.0),
    }


@pytest.mark.parametrize("name", rooms())
@pytest.mark.parametrize("strip_mm", [300.0, 600.0, 1200.0])
def test_nobody_is_walled_in_and_every_cell_is_poured_once(name: str, strip_mm: float) -> None:
    outline = rooms()[name]
    floor = laid(outline, lambda x, y: 10.0 + 5.0 * np.sin(x / 700.0) * np.cos(y / 900.0))
    exit_mm = outline.doors[0].middle
    order = order_of_pour(floor, exit_mm, None, [1.0] * 24, 300.0, strip_mm)
    cells = [np.flatnonzero(order.batch_of == n) for n in range(24)]
    assert all(len(one) for one in cells)
    assert sum(map(len, cells)) == len(floor.x_mm)
    nothing = np.array([], dtype=int)
    assert leaves_a_way(floor, cells, nothing, floor.nearest(*exit_mm))
    # Strips count up, and the last is nearer to the exit than the first, on foot.
    strips = [batch.strip for batch in order.batches]
    assert strips == sorted(strips)
    assert order.batches[-1].way_mm < 0.3 * order.batches[0].way_mm


def test_a_wrong_order_is_seen_to_wall_someone_in() -> None:
    outline = rooms()["long"]
    floor = laid(outline)
    far_first = np.array_split(np.argsort(-floor.y_mm, kind="stable"), 6)
    exit_cell = floor.nearest(*outline.doors[0].middle)
    nothing = np.array([], dtype=int)
    assert leaves_a_way(floor, far_first, nothing, exit_cell)
    middle_first = [far_first[3], *far_first[:3], *far_first[4:]]
    assert not leaves_a_way(floor, middle_first, nothing, exit_cell)


def test_batches_share_the_volume_by_their_bags_and_the_floor_by_their_volume() -> None:
    floor = laid(rooms()["plain"], lambda x, y: 6.0 + x / 300.0)
    bags = [2.0] * 10 + [1.0]
    order = order_of_pour(floor, (1700.0, 0.0), None, bags, 252.0, 600.0)
    assert sum(b.volume_l for b in order.batches) == pytest.approx(252.0)
    assert [b.volume_l for b in order.batches] == pytest.approx([24.0] * 10 + [12.0])
    taken = np.bincount(order.batch_of, weights=floor.volume_l) / floor.volume_l.sum()
    cell = floor.volume_l.max() / floor.volume_l.sum()
    assert np.abs(taken - np.array(bags) / 21.0).max() < 2 * cell
    assert sum(b.area_m2 for b in order.batches) == pytest.approx(3.658 * 4.572, rel=1e-6)


def test_the_pour_starts_where_it_is_told() -> None:
    outline = rooms()["plain"]
    floor = laid(outline)
    for start in [(100.0, 4400.0), (3500.0, 4400.0), (1800.0, 4500.0), (3600.0, 2300.0)]:
        order = order_of_pour(floor, (1676.0, 0.0), start, [1.0] * 24, 300.0, 600.0)
        first = min(range(24), key=lambda n: np.hypot(
            order.batches[n].x_mm - start[0], order.batches[n].y_mm - start[1]))  # fmt: skip
        assert order.batches[first].strip == 1
        assert order.batches[0].n == 1
        away = np.hypot(order.batches[0].x_mm - start[0], order.batches[0].y_mm - start[1])
        assert away < 1500.0


def test_a_deep_place_is_filled_first_in_its_strip() -> None:
    outline = rooms()["plain"]

    def pit(x: Floats, y: Floats) -> Floats:
        return np.where(np.hypot(x - 900.0, y - 2300.0) < 450.0, 48.0, 8.0)

    order = order_of_pour(laid(outline, pit), (1676.0, 0.0), (3500.0, 4400.0), [1.0] * 30, 300.0,
                          900.0)  # fmt: skip
    deep = [batch for batch in order.batches if batch.deep]
    assert deep
    for batch in deep:
        strip = [b for b in order.batches if b.strip == batch.strip]
        assert [b.deep for b in strip] == sorted((b.deep for b in strip), reverse=True)
        assert abs(batch.y_mm - 2300.0) < 900.0


def test_bays_are_poured_one_after_another_and_do_not_meet_wet() -> None:
    floor = laid(rooms()["plain"])
    order = order_of_pour(floor, (1676.0, 0.0), None, [1.0] * 21, 250.0, 600.0, bays=2)
    bays = [batch.bay for batch in order.batches]
    assert bays == sorted(bays)
    assert set(bays) == {1, 2}
    assert all(bays[a] == bays[b] for a, b in order.seams)
    one = order_of_pour(floor, (1676.0, 0.0), None, [1.0] * 21, 250.0, 600.0)
    longest = [max(b - a for a, b in o.seams) for o in (one, order)]
    assert longest[1] < longest[0]


def test_seams_are_neighbours_and_every_batch_has_one() -> None:
    floor = laid(rooms()["plain"])
    order = order_of_pour(floor, (1676.0, 0.0), None, [1.0] * 21, 250.0, 600.0)
    assert {n for seam in order.seams for n in seam} == set(range(21))
    for a, b in order.seams:
        ours = np.flatnonzero(order.batch_of == a)
        theirs = np.flatnonzero(order.batch_of == b)
        gap = np.hypot(floor.x_mm[ours][:, None] - floor.x_mm[theirs],
                       floor.y_mm[ours][:, None] - floor.y_mm[theirs]).min()  # fmt: skip
        assert gap < 1.3 * floor.step_mm


def test_walked_ways_go_round_walls_and_are_at_most_three_per_cent_long() -> None:
    """Against straight lines in a bare room, and round the corner of an L by hand."""
    floor = laid(rooms()["plain"])
    corner = floor.nearest(0.0, 0.0)
    straight = np.hypot(floor.x_mm - floor.x_mm[corner], floor.y_mm - floor.y_mm[corner])
    ways = floor.ways_mm(corner)
    far = straight > 500.0
    assert (ways[far] / straight[far]).max() < 1.04
    assert (ways[far] / straight[far]).min() > 0.999
    ell = laid(rooms()["ell"])
    ways = ell.ways_mm(ell.nearest(5900.0, 2900.0))
    end = ell.nearest(2900.0, 5900.0)
    by_hand = 3000.0 + 3000.0  # along the wall to the inner corner at 3, 3 m, then along the other
    assert ways[end] == pytest.approx(by_hand, rel=0.06)


def test_places_off_the_floor_are_refused_by_name() -> None:
    outline = rooms()["ell"]
    with pytest.raises(BadInput, match="exit"):
        place_on(outline, "exit", 5000.0, 5000.0, Units("mm"))
    floor = laid(outline)
    with pytest.raises(BadInput, match="walled in"):
        order_of_pour(floor, (100.0, 100.0), (110.0, 100.0), [1.0] * 5, 60.0, 600.0)
    with pytest.raises(BadInput, match="nothing to pour"):
        order_of_pour(laid(outline, lambda x, y: -1.0 + 0 * x), (100.0, 100.0), None, [1.0], 6.0,
                      600.0)  # fmt: skip
    with pytest.raises(BadInput, match="bays"):
        order_of_pour(floor, (100.0, 100.0), None, [1.0] * 2, 60.0, 600.0, bays=3)


def test_an_exit_lies_at_a_wall_a_door_or_a_stair() -> None:
    outline = with_opening(room(6000.0, 6000.0), 950.0, 1900.0, 100.0, 200.0)  # a post
    outline = with_opening(outline, 2500.0, 2500.0, 1000.0, 1000.0)
    for at in ((0.0, 3000.0), (480.0, 3000.0), (6000.0, 6000.0), (2400.0, 3000.0)):
        assert exit_on(outline, *at, Units("mm")) == at
    with pytest.raises(BadInput, match=r"lies 0\.9 m from the nearest wall"):
        exit_on(outline, 900.0, 2000.0, Units("mm"))  # a post is no way out
    with pytest.raises(BadInput, match="outside the floor"):
        exit_on(outline, 3000.0, 3000.0, Units("mm"))
    with pytest.raises(BadInput, match="outside the floor"):
        exit_on(outline, 9000.0, 3000.0, Units("mm"))
