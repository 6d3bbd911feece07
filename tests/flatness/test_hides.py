"""A floor is called in only where what could break the rule would have shown."""

import numpy as np
import pytest

from rig.flatness.model import fit_surface, model_of
from rig.flatness.rules import load_rule
from rig.flatness.verdict import Verdict
from rig.room import room
from rig.surface.looked import HUMP_RADIUS_MM, Looked, bell

ROOM = room(2400.0, 2400.0)


def judged(
    spacing_mm: float, looks: tuple[Looked, ...] = (), built: bool = True, hump_mm: float = 0.0
) -> Verdict:
    """A nearly flat floor, shot so closely and looked at, against the rule for click flooring.

    With a hump 3 ft across in its middle.
    """
    along = np.linspace(100.0, 2300.0, round(2200.0 / spacing_mm) + 1)
    x, y = (axis.ravel() for axis in np.meshgrid(along, along))
    z = 0.1 * np.random.default_rng(1).standard_normal(len(x))
    z += hump_mm * bell(np.hypot(x - 1200.0, y - 1200.0), HUMP_RADIUS_MM)
    surface = fit_surface(x, y, z, np.full(len(x), 0.1))
    rng = np.random.default_rng(2)
    model = model_of(surface, ROOM, x, y, 0.1, rng, 60, 400, looks=looks, built=built)
    return load_rule("click-lock").judge(ROOM, model, 0.95)


def test_shots_that_a_hump_fits_between_call_nothing_in_but_name_where_to_look() -> None:
    wide = judged(1100.0)
    assert wide.word == "unsure"
    assert any("could hide between the shots" in text for text in wide.warnings)
    assert wide.next_shots
    # None is beside a shot.
    at = np.array([(x, y) for x in (100, 1200, 2300) for y in (100, 1200, 2300)])
    assert min(np.hypot(*(at - place).T).min() for place in wide.next_shots) > 250.0
    assert judged(440.0).word == "in"
    assert judged(1100.0, built=False).word == "in"  # a pour that levels itself


def test_a_hump_that_shots_speak_for_though_none_stands_on_it_calls_nothing_in() -> None:
    told = judged(440.0, hump_mm=8.0)  # the shots around it are raised by a fifth of it
    assert told.word != "in"
    assert min(np.hypot(x - 1200.0, y - 1200.0) for x, y in told.next_shots) < HUMP_RADIUS_MM


def test_looks_at_every_gap_settle_it() -> None:
    rows = [Looked((100.0, y), (2300.0, y)) for y in (350.0, 650.0, 950.0)]
    rows += [Looked((100.0, y), (2300.0, y)) for y in (1450.0, 1750.0, 2050.0)]
    assert judged(1100.0, tuple(rows)).word == "in"


def test_the_chance_counts_what_no_shot_would_have_shown() -> None:
    from rig.surface.floor_model import floor_model
    from rig.surface.humps import unseen_bells

    x, y = (axis.ravel() for axis in np.meshgrid(np.linspace(0, 4000, 5), np.linspace(0, 4000, 5)))
    model = floor_model().fit(x, y, np.random.default_rng(1).standard_normal(25), 0.3)
    at_x, at_y = (a.ravel() for a in np.meshgrid(np.linspace(0, 4e3, 20), np.linspace(0, 4e3, 20)))
    added = unseen_bells(model, at_x, at_y, np.full(400, 4e4), 300, np.random.default_rng(2))
    # Humps and dips alike, and none on a shot that they would have moved by much.
    assert added.max() > 2.0
    assert added.mean() == pytest.approx(0.0, abs=0.05)
    on_shot = [np.flatnonzero((at_x == 0.0) & (at_y == 0.0))[0]]
    assert np.abs(added[on_shot]).max() < np.abs(added).max()
