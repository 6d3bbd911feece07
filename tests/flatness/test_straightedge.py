import math
from functools import partial

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from rig.flatness.field import bearings, field_of, lines_at, longest_line
from rig.flatness.measures.edges import EdgeRule
from rig.flatness.rule import Edge
from rig.flatness.rules import load_rule
from rig.flatness.straightedge import (
    gaps,
    lay,
    share_within,
    shares,
    shortest_bad,
    triple,
    worst_placement,
)
from rig.room import contains, from_rings, room, with_opening
from tests.flatness.surfaces import by_hull, by_triples, cap, dish
from tests.kinds import Floats, there

ROOM = room(3657.6, 4572.0)
TEN_FEET = Edge(3048.0, 6.35, True)

profiles = arrays(float, st.integers(3, 40), elements=st.floats(-20, 20, allow_nan=False, width=32))


@settings(max_examples=60, deadline=None)
@given(profiles, st.integers(2, 45))
def test_gaps_equal_all_triples_and_the_convex_hull(z: Floats, steps: int) -> None:
    found = gaps(z, steps).max()
    assert found == pytest.approx(by_triples(z, steps), abs=1e-9)
    assert found == pytest.approx(by_hull(z, steps), abs=1e-6)


@settings(max_examples=60, deadline=None)
@given(profiles, st.integers(2, 45))
def test_a_triple_makes_the_gap_that_is_told(z: Floats, steps: int) -> None:
    gap, a, c, b = triple(z, steps)
    assert gap == pytest.approx(gaps(z, steps).max(), abs=1e-9)
    if gap > 0:
        assert a < c < b <= a + steps
        assert z[a] + (z[b] - z[a]) * (c - a) / (b - a) - z[c] == pytest.approx(gap, abs=1e-9)


@settings(max_examples=40, deadline=None)
@given(profiles, st.integers(2, 20), st.floats(0.05, 10))
def test_placements_are_bad_where_the_hull_says_so(z: Floats, steps: int, limit: float) -> None:
    reach = min(steps, len(z) - 1)
    end = np.arange(len(z)) + shortest_bad(z, steps, limit)
    for start in range(len(z) - reach):
        gap = by_triples(z[start : start + reach + 1], reach)
        if abs(gap - limit) > 1e-6:
            assert bool(end[start : start + reach + 1].min() <= start + reach) == (gap > limit)


def test_overhanging_ends_leave_no_gap() -> None:
    # A hump in the middle: both ends of the edge hang in the air, and that is no gap.
    x = np.linspace(-1, 1, 61)
    assert gaps(-(x**2) * 30, 60).max() == pytest.approx(0, abs=1e-12)


def test_a_dish_has_the_closed_form_gap() -> None:
    worst = worst_placement(dish(ROOM, 1e6), ROOM, [TEN_FEET])
    assert there(worst).gap_mm == pytest.approx(3048**2 / 8e6, rel=2e-3)
    assert there(worst).span_mm == pytest.approx(3048, abs=60)


def test_a_spherical_cap_has_the_sagitta() -> None:
    radius = 4e5
    worst = worst_placement(cap(ROOM, radius), ROOM, [TEN_FEET])
    # The steepest chord is the one whose sagitta, square to the level, is largest: far from the
    # foot the cap is steeper than a parabola by a part in a thousand here.
    assert there(worst).gap_mm == pytest.approx(radius - math.sqrt(radius**2 - 1524**2), rel=4e-3)


def test_a_dome_and_a_ridge_leave_no_gap_and_a_valley_its_depth() -> None:
    def sloped(x: Floats, y: Floats) -> Floats:
        return 0.004 * np.abs(x - 1828.8)

    def signed(sign: int, x: Floats, y: Floats) -> Floats:
        return sign * sloped(x, y)

    for sign in (1, -1):
        field = field_of(ROOM, 25.4, partial(signed, sign))
        worst = worst_placement(field, ROOM, [TEN_FEET])
        if sign < 0:
            assert worst is None or worst.gap_mm < 1e-6
        else:
            # Square across the valley the edge rests half its length up each side.
            assert there(worst).gap_mm == pytest.approx(0.004 * 1524, rel=5e-3)
            assert there(worst).bearing_deg == pytest.approx(0, abs=1)
            assert there(worst).x_mm == pytest.approx(1828.8, abs=30)


def test_a_sine_leaves_crest_to_crest_whatever_its_bearing() -> None:
    for turn in (0.0, 0.4, 1.2):

        def wave(x: Floats, y: Floats, t: float = turn) -> Floats:
            return np.asarray(2.0 * np.cos(2 * np.pi * (x * np.cos(t) + y * np.sin(t)) / 900.0))

        worst = worst_placement(field_of(ROOM, 25.4, wave), ROOM, [TEN_FEET])
        assert there(worst).gap_mm == pytest.approx(4.0, rel=5e-3)


def test_the_search_with_bounds_finds_what_the_whole_search_finds(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    rng = np.random.default_rng(5)
    field = field_of(
        ROOM,
        50.8,
        lambda x, y: 2 * np.sin(x / 400) * np.cos(y / 310) + 0.2 * rng.standard_normal(len(x)),
    )
    quick = worst_placement(field, ROOM, [TEN_FEET], 60)
    monkeypatch.setattr("rig.flatness.straightedge._COARSE_STEPS", 10**9)
    whole = worst_placement(field, ROOM, [TEN_FEET], 60)
    assert there(quick).gap_mm == pytest.approx(there(whole).gap_mm, abs=1e-12)


def test_draws_are_judged_like_single_surfaces() -> None:
    rng = np.random.default_rng(6)
    field = field_of(ROOM, 150.0, lambda x, y: rng.standard_normal((len(x), 3)))
    drawn = shares(field, ROOM, [TEN_FEET], 40)
    for k in range(3):
        single = type(field)(field.x0_mm, field.y0_mm, field.step_mm, field.z_mm[..., k])
        assert shares(single, ROOM, [TEN_FEET], 40)[0] == pytest.approx(drawn[k], abs=1e-12)
        # In the single search more bearings may be looked at, never fewer.
        assert there(worst_placement(single, ROOM, [TEN_FEET], 40)).share >= drawn[k] - 1e-9


def test_openings_are_not_bridged() -> None:
    # A trench across the room under an opening as wide: no edge may be laid over it.
    slotted = with_opening(ROOM, 300.0, 2000.0, 3057.6, 600.0)

    def trench(x: Floats, y: Floats) -> Floats:
        return np.where((y > 2030) & (y < 2570) & (x > 330) & (x < 3327), -20.0, 0.0)

    field = field_of(ROOM, 25.0, trench)
    assert there(worst_placement(field, ROOM, [TEN_FEET])).gap_mm > 19
    over = worst_placement(field, slotted, [TEN_FEET])
    assert over is None or over.gap_mm < 1e-6


def test_edges_lie_wholly_on_the_floor() -> None:
    bent = from_rings([(0, 0), (5000, 0), (5000, 1500), (2000, 1500), (2000, 4000), (0, 4000)])
    for bearing in np.linspace(0, 3.1, 17):
        lines = lines_at(bent, float(bearing), 60.0, 50.0, 0.0)
        x, y, past = lines.places()
        assert contains(bent, x[past == 0], y[past == 0]).all()
        # Nothing of the floor is left out either: the lines add up to its area.
        apart = 60.0
        area = lines.length_mm.sum() * apart
        assert area == pytest.approx(bent.polygon.area, rel=0.05)


def test_a_room_smaller_than_the_edge_uses_the_longest_that_fits() -> None:
    small = room(1500.0, 2000.0)
    assert longest_line(small) == pytest.approx(2500.0, rel=1e-6)
    laid = lay(TEN_FEET, longest_line(small), 50.0)
    assert laid.cut
    assert laid.length_mm == pytest.approx(2500.0, rel=1e-6)
    worst = worst_placement(dish(small, 1e6, 25.0), small, [TEN_FEET])
    assert there(worst).gap_mm == pytest.approx(2500**2 / 8e6, rel=0.03)


def test_an_edge_that_just_fits_is_not_cut() -> None:
    narrow = room(3048.0, 3048.0)
    assert not lay(TEN_FEET, longest_line(narrow), 50.0).cut
    field = field_of(narrow, 25.4, lambda x, y: 0.01 * np.abs(x - 1524.0))
    assert there(worst_placement(field, narrow, [TEN_FEET])).gap_mm == pytest.approx(
        15.24, rel=0.01
    )


def test_a_growing_limit_is_held_at_the_distance_of_the_supports() -> None:
    rule = load_rule("din18202-3")
    assert isinstance(rule, EdgeRule)
    worst = worst_placement(dish(ROOM, 3e5), ROOM, rule.edges(longest_line(ROOM)), 60)
    # On a dish the gap is d²/8R: find the span where it is largest against the table.
    spans = np.arange(100, 5855, 5.0)
    best = max(d**2 / (8 * 3e5) / there(rule.limit_mm(d)) for d in spans)
    assert there(worst).share == pytest.approx(best, rel=0.03)
    assert there(worst).limit_mm == pytest.approx(rule.limit_mm(there(worst).span_mm), abs=1.01)


def test_share_within_counts_placements() -> None:
    # A valley along y: only edges that cross it are bad, and more of them the lower the limit.
    field = field_of(ROOM, 50.0, lambda x, y: 0.01 * np.abs(x - 1828.8))
    low, high = (share_within(field, ROOM, [Edge(2000.0, limit, True)], 24) for limit in (2.0, 9.0))
    assert 0.2 < there(low) < there(high) < 1.0
    assert share_within(field, ROOM, [Edge(2000.0, 11.0, True)], 24) == 1.0


def test_bearings_are_close_and_hold_the_walls() -> None:
    turned = from_rings([(0, 0), (3000, 700), (2300, 3700), (-700, 3000)])
    found = bearings(turned, 3048.0, 50.0, 400)
    wall = math.atan2(700, 3000)
    assert np.min(np.abs(found - wall)) < 1e-9
    assert np.diff(found).max() * 3048 / 2 <= 50.0 * 1.01
