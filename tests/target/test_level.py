import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.errors import BadInput
from rig.target.level import (
    Plane,
    chance_min_cover,
    check_cover_limits,
    cover_of,
    hold_level,
    level_plane,
    lifts,
)
from rig.units import Units

X, Y = np.array([0.0, 1000, 2000]), np.array([0.0, 500, 0])


def test_plane_is_worked_out_at_places() -> None:
    np.testing.assert_allclose(Plane(1.0, 0.001, -0.002).at(X, Y), [1.0, 1.0, 3.0])


def test_worked_example_of_the_trade() -> None:
    """Line 1 3/4 in above the high point, cover 1/4 in: every top 1 1/2 in below the line.

    Common practice, no source; where the floor reads 2 1/4 in, the marker sticks out 3/4 in.
    """
    readings = 25.4 * np.array([1.75, 2.25, 2.0])
    plane = level_plane(-readings[None, :], 25.4 * 0.25)
    assert plane.a == pytest.approx(-25.4 * 1.5)
    assert plane.a - -readings[1] == pytest.approx(25.4 * 0.75)


def test_plane_of_one_place_is_the_normal_quantile_above_it() -> None:
    """For one place of N(-40, 2²) the answer is in every table: -40 + 1.645 × 2 + 6."""
    draws = -40 + 2 * np.random.default_rng(0).standard_normal((200_000, 1))
    assert level_plane(draws, 6.0).a == pytest.approx(-40 + 1.6449 * 2 + 6, abs=0.05)


@given(
    st.integers(2, 60),
    st.integers(1, 6),
    st.floats(0.5, 0.99),
    st.floats(0, 20),
    st.integers(0, 99),
)
def test_plane_keeps_its_promise_and_no_lower_one_does(
    n: int, m: int, confidence: float, cover: float, seed: int
) -> None:
    draws = np.random.default_rng(seed).normal(-1000, 3, (n, m))
    x = np.zeros(m)
    plane = level_plane(draws, cover, confidence)
    assert chance_min_cover(plane, draws, x, x, cover) >= confidence
    lower = Plane(plane.a - 1e-4)
    assert chance_min_cover(lower, draws, x, x, cover) < confidence + 1 / n


def test_chance_counts_draws_with_all_places_covered() -> None:
    draws = np.array([[0.0, 0, 0], [5, 0, 0], [0, 0, 8], [9, 9, 9]])
    assert chance_min_cover(Plane(10.0), draws, X, Y, 5.0) == 0.5
    assert chance_min_cover(Plane(10.0), draws, X, Y, 0.0) == 1.0
    assert chance_min_cover(Plane(10.0, 0.0, 0.0), draws, X, Y, 11.0) == 0.0


def test_held_height_that_leaves_the_cover_is_taken() -> None:
    assert hold_level(-30.0, X, Y, [-50.0, -40, -60], 10.0, Units("mm")) == Plane(-30.0)


def test_held_height_that_breaks_the_cover_is_refused_with_place_and_remedy() -> None:
    with pytest.raises(BadInput) as refused:
        hold_level(-33.25, X, Y, [-50.0, -40, -60], 10.0, Units("mm"))
    text = str(refused.value)
    assert "leaves 6.8 mm of cover at x 1 m, y 0.5 m" in text or "leaves 6.7 mm" in text
    assert "minimum cover is 10 mm" in text
    assert "Raise it by 3.3 mm" in text


def test_the_remedy_is_enough_in_inches_too() -> None:
    with pytest.raises(BadInput, match=r"Raise it by 3/32 in") as refused:
        hold_level(
            -32.0, X, Y, [-50.0, -40, -60], 10.0, Units("in"), say_place=lambda x, y: "by the door"
        )
    assert "of cover by the door," in str(refused.value)
    hold_level(-32.0 + 25.4 * 3 / 32, X, Y, [-50.0, -40, -60], 10.0, Units("mm"))


def test_held_height_under_the_floor_says_so() -> None:
    with pytest.raises(BadInput, match=r"lies 5 mm under the floor .*Raise it by 15 mm"):
        hold_level(-45.0, X, Y, [-50.0, -40, -60], 10.0, Units("mm"))


def test_cover_is_weighted_by_area() -> None:
    cover = cover_of(Plane(0.0), X, Y, [-10.0, -20, -40], [1.0, 1.0, 2.0])
    assert (cover.min_mm, cover.mean_mm, cover.max_mm) == (10.0, 27.5, 40.0)
    assert (cover.min_x_mm, cover.min_y_mm) == (0.0, 0.0)


def test_minimum_above_maximum_is_refused() -> None:
    with pytest.raises(BadInput, match=r"minimum cover \(30 mm\) is above the maximum cover"):
        check_cover_limits(30.0, 25.0)
    check_cover_limits(25.0, 25.0)
    for least, most in ((-1.0, None), (np.nan, None), (5.0, 0.0), (5.0, np.inf)):
        with pytest.raises(BadInput, match="must be"):
            check_cover_limits(least, most)


@pytest.mark.parametrize(
    ("deepest", "most", "expected"),
    [(40.0, None, 1), (25.0, 25.0, 1), (25.001, 25.0, 2), (50.0, 25.0, 2), (3 * 0.1, 0.1, 3)],
)
def test_lifts(deepest: float, most: float | None, expected: int) -> None:
    assert lifts(deepest, most) == expected


def test_bad_confidence_and_draws_are_refused() -> None:
    with pytest.raises(BadInput, match="Confidence"):
        level_plane(np.zeros((5, 2)), 5.0, 1.0)
    with pytest.raises(BadInput, match="draws"):
        level_plane(np.zeros((0, 2)), 5.0)
    with pytest.raises(BadInput, match="not a number"):
        hold_level(np.nan, X, Y, [0.0, 0, 0], 5.0, Units("mm"))
