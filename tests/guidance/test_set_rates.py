"""Markers are told "set" within their tolerance as often as is stated, whatever the noise.

Many rounds over each kind: `python -m tests.guidance.set_rates 200`.
"""

import pytest

from tests.guidance.set_rates import tally


@pytest.mark.parametrize("kind", ["white 0.3", "correlated 1.3 s"])
def test_a_marker_left_out_of_height_is_not_set_by_waiting(kind: str) -> None:
    got = tally(kind, 1, markers=3)
    assert (got.left, got.left_set) == (1, 0)
    assert (got.set >= 1, got.wrong) == (True, 0)
