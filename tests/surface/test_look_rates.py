"""The looks that are asked for find humps that no shot stands on: a few of `look_rates`' floors."""

from tests.surface.look_rates import MOST_LOOKS, judge


def test_cover_is_kept_beside_humps_after_the_looks_that_are_asked_for() -> None:
    told = [judge("hump", n, 61) for n in (1, 4, 10, 16)]  # rooms of 6 by 8 ft
    assert sum(one.before_mm < 0.0 for one in told) == 3
    assert all(one.after_mm >= 0.0 for one in told)
    assert all(one.looks >= MOST_LOOKS for one in told)
