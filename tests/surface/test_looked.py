"""What a straightedge rules out, against a bell laid under it by hand."""

import numpy as np
import pytest

from rig.surface.looked import SEEN_MM, Looked, passed, shown

EDGE = Looked((0.0, 0.0), (1200.0, 0.0))
HALF = np.array([300.0])
ORIGIN = np.array([0.0])


def test_an_edge_shows_a_bell_under_its_middle_whole_and_one_beside_it_not_at_all() -> None:
    middle, beside = np.array([600.0]), np.array([400.0])
    assert shown(EDGE, middle, ORIGIN, HALF)[0] == pytest.approx(1.0)
    assert shown(EDGE, middle, beside, HALF)[0] == 0.0
    # Under one end it lifts the edge by itself, and half of it shows by the chord.
    assert 0.4 < shown(EDGE, ORIGIN, ORIGIN, HALF)[0] < 0.8


def test_a_flat_look_rules_out_what_would_have_rocked_and_a_gap_leaves_its_dip() -> None:
    places = np.array([600.0, 600.0, 600.0]), np.array([0.0, 0.0, 700.0])
    radius, height = np.full(3, 300.0), np.array([4.0, 0.5, 4.0])
    flat = passed([EDGE], *places, radius, height)
    assert flat == pytest.approx([np.exp(-0.5 * (4.0 / SEEN_MM) ** 2), np.exp(-0.125), 1.0])
    gap = Looked(EDGE.from_mm, EDGE.to_mm, 4.0, (600.0, 0.0))
    assert passed([gap], *places, radius, height, dips=True) == pytest.approx(1.0)
    assert passed([gap], *places, radius, height) == pytest.approx(flat)
    rocks = Looked(EDGE.from_mm, EDGE.to_mm, 4.0, (1200.0, 0.0))
    assert rocks.rocks
    assert passed([rocks], *places, radius, height) == pytest.approx(1.0)
