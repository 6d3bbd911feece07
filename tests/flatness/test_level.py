import math

import numpy as np
import pytest
from scipy import stats

from rig.errors import BadInput, CannotAnswer
from rig.flatness.level import spans_of
from rig.flatness.level_lines import LevelLine
from rig.flatness.rules import load_rule
from rig.room import from_rings, room
from tests.flatness.test_verdict import ROOM, surveyed
from tests.kinds import Floats, there

RULE = load_rule("din18202-level")
WIDE, LONG = 3657.6, 4572.0


def test_lines_run_from_wall_to_wall_but_end_ten_centimetres_off() -> None:
    spans = spans_of(ROOM)
    across = np.isclose(spans.start_y_mm, spans.end_y_mm)
    assert spans.length_mm[across] == pytest.approx(WIDE)
    assert spans.length_mm[~across] == pytest.approx(LONG)
    ends = np.column_stack([spans.start_x_mm, spans.end_x_mm])[across]
    assert np.sort(ends, axis=1) == pytest.approx(
        np.broadcast_to([100.0, WIDE - 100.0], ends.shape), abs=0.1
    )
    # Both outermost lines too, a hair beside the wall's ten centimetres.
    assert spans.start_y_mm[across].min() == pytest.approx(100.0, abs=0.1)
    assert spans.start_y_mm[across].max() == pytest.approx(LONG - 100.0, abs=0.1)


def test_a_bend_of_the_room_cuts_lines_where_the_wall_does() -> None:
    bent = from_rings([(0, 0), (6000, 0), (6000, 2000), (2500, 2000), (2500, 5000), (0, 5000)], [])
    lengths = set(np.round(spans_of(bent).length_mm))
    assert lengths == {6000.0, 2500.0, 5000.0, 2000.0}


def test_a_floor_too_narrow_is_refused() -> None:
    with pytest.raises(CannotAnswer, match="narrow"):
        spans_of(room(450.0, 450.0))


@pytest.mark.parametrize(
    ("slope_mm_per_m", "word"),
    # By hand: 4.372 m from end to end along y, 12 mm allowed over more than 3 and up to 6 m.
    [(1.5, "in"), (2.74, "unsure"), (4.0, "out")],
)
def test_a_plane_is_judged_by_its_fall(slope_mm_per_m: float, word: str) -> None:
    model = surveyed(lambda x, y: slope_mm_per_m / 1000.0 * y, noise_mm=0.2)
    verdict = RULE.judge(ROOM, model, 0.95)
    assert verdict.word == word
    worst = verdict.worst
    assert there(worst).gap_mm == pytest.approx(slope_mm_per_m * 4.372, abs=0.4)
    assert there(worst).limit_mm == 12.0
    assert there(worst).y_mm == pytest.approx(100.0, abs=1.0)  # the lower end
    assert there(worst).bearing_deg == pytest.approx(90.0)
    assert (
        there(verdict.worst_range_mm)[0]
        < slope_mm_per_m * 4.372 + 0.4
        < there(verdict.worst_range_mm)[1] + 0.8
    )


def test_a_dish_is_level_from_end_to_end() -> None:
    # A bowl about the middle of the floor: both ends of every line stand equally high.
    model = surveyed(lambda x, y: ((x - WIDE / 2) ** 2 + (y - LONG / 2) ** 2) / 1e5, noise_mm=0.05)
    assert RULE.judge(ROOM, model, 0.95).word == "in"
    assert load_rule("click-lock").judge(ROOM, model, 0.95).word == "out"


def test_a_laser_that_may_slope_leaves_it_open_as_the_normal_law_says() -> None:
    model = surveyed(lambda x, y: 0.0 * x, noise_mm=0.01)
    u = 2.0

    def shared(x: Floats, y: Floats) -> Floats:
        return u * np.column_stack([x, y]) / 1000.0

    verdict = RULE.judge(ROOM, model, 0.95, shared)
    # Two independent slopes, each held against 12 mm over its length (scipy's normal law).
    kept = [2.0 * stats.norm.cdf(12.0 / (u * m)) - 1.0 for m in (3.4576, 4.372)]
    assert verdict.chance == pytest.approx(math.prod(kept), abs=3 * math.sqrt(0.17 * 0.83 / 150))
    assert (there(verdict.alone).word, verdict.word) == ("in", "unsure")
    assert verdict.next_shots == ()  # more shots do not tell a laser's slope


def test_a_table_of_lines_is_judged_end_to_end() -> None:
    fall = LevelLine("A", np.linspace(0.0, -13.0, 11), 500.0, 0.1)
    hump = LevelLine("B", 20.0 * np.sin(np.linspace(0.0, math.pi, 11)), 500.0, 0.1)
    assert RULE.judge_lines([hump], 0.95).word == "in"
    verdict = RULE.judge_lines([hump, fall], 0.95)
    assert (verdict.word, verdict.line) == ("out", "A")
    assert (there(verdict.worst).gap_mm, there(verdict.worst).limit_mm) == (13.0, 12.0)
    assert there(verdict.worst).x_mm == 5000.0  # the lower end
    # By hand: 12.2 mm ± 0.1 √2 against 12 mm.
    near = RULE.judge_lines([LevelLine("A", np.linspace(0.0, -12.2, 11), 500.0, 0.1)], 0.95)
    assert near.chance == pytest.approx(stats.norm.cdf(-0.2 / (0.1 * math.sqrt(2.0))), abs=0.06)
    # Each of 40 falls keeps the 12 mm as read, and among them one that does not is near certain.
    falls = [LevelLine(f"L{n}", np.linspace(0.0, -11.9, 11), 500.0, 0.5) for n in range(40)]
    held = RULE.judge_lines(falls, 0.95)
    assert held.chance <= 0.05
    assert held.word == "unsure"
    assert any("readings as they stand keep the rule" in text for text in held.warnings)
    with pytest.raises(BadInput, match="two ends"):
        RULE.judge_lines([LevelLine("A", np.array([1.0]), 500.0)], 0.95)
