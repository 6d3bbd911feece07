import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from rig.errors import BadInput
from rig.flatness.f_numbers import combine
from rig.flatness.level_lines import LevelLine
from rig.flatness.model import Model, fit_surface, model_of, spacing_of
from rig.flatness.rules import load_rule, parse_rule
from rig.flatness.scan import scan_model
from rig.flatness.verdict import guarded, word_for
from rig.room import Outline, room
from tests.flatness.error_rates import rates
from tests.kinds import there

ROOM = room(3657.6, 4572.0)


def surveyed(
    height: Callable[..., Any],
    spacing_mm: float = 900.0,
    noise_mm: float = 0.2,
    seed: int = 0,
    outline: Outline = ROOM,
) -> Model:
    rng = np.random.default_rng(seed)
    _, _, right, top = outline.polygon.bounds
    across, along = np.meshgrid(
        np.linspace(150, right - 150, math.ceil((right - 300) / spacing_mm) + 1),
        np.linspace(150, top - 150, math.ceil((top - 300) / spacing_mm) + 1),
    )
    x, y = across.ravel(), along.ravel()
    z = height(x, y) + noise_mm * rng.standard_normal(len(x))
    surface = fit_surface(x, y, z, np.full(len(x), noise_mm))
    return model_of(surface, outline, x, y, noise_mm, rng, 150)


def dish(gap_mm: float) -> Callable[..., Any]:
    """A bowl that leaves this gap under 10 ft, L²/8R."""
    radius = 3048**2 / (8 * gap_mm)
    return lambda x, y: ((x - 1800) ** 2 + (y - 2300) ** 2) / (2 * radius)


def test_guard_bands() -> None:
    assert word_for(0.95, 0.95) == "in"
    assert word_for(0.94, 0.95) == "unsure"
    assert word_for(0.05, 0.95) == "out"
    assert word_for(0.06, 0.95) == "unsure"


@pytest.mark.parametrize(("gap", "word"), [(1.5, "in"), (4.4, "unsure"), (8.0, "out")])
def test_a_dish_is_judged_by_its_gap(gap: float, word: str) -> None:
    verdict = load_rule("click-lock").judge(ROOM, surveyed(dish(gap)), 0.95)
    assert verdict.word == word
    # A dish has the same gap everywhere, so the worst of all placements holds the worst noise.
    assert gap - 0.1 < there(verdict.worst).gap_mm < gap + 0.8
    low, high = there(verdict.worst_range_mm)
    assert gap - 0.1 < low < high < gap + 1.5
    assert bool(verdict.next_shots) == (word == "unsure")


def test_an_edge_shorter_than_two_spacings_is_never_in() -> None:
    flat = surveyed(lambda x, y: 0 * x, noise_mm=0.05)
    verdict = load_rule("a108-small").judge(ROOM, flat, 0.95)
    assert verdict.chance >= 0.95
    assert verdict.word == "unsure"
    assert any("305 mm" in text and "152 mm" in text for text in verdict.warnings)
    # The 2 m edge of the British rule spans two of these spacings.
    assert load_rule("bs8204-sr2").judge(ROOM, flat, 0.95).word == "in"
    wide = surveyed(lambda x, y: 0 * x, spacing_mm=1300.0, noise_mm=0.05)
    assert load_rule("bs8204-sr2").judge(ROOM, wide, 0.95).word == "unsure"


def test_a_short_edge_can_still_be_out() -> None:
    bad = surveyed(lambda x, y: 8 * np.cos(x / 250) * np.cos(y / 250), spacing_mm=300.0)
    assert load_rule("a108-small").judge(ROOM, bad, 0.95).word == "out"


def test_din_says_which_spans_are_not_proved() -> None:
    small = room(2000.0, 2200.0)
    model = surveyed(dish(1.0), 600.0, outline=small)
    verdict = load_rule("din18202-1").judge(small, model, 0.95)
    assert verdict.word == "in"
    assert any("nothing is proved" in text for text in verdict.warnings)


@pytest.mark.parametrize(
    ("chance", "share", "blind", "word", "why"),
    [
        (0.99, 0.5, False, "in", ""),
        (0.99, 0.5, True, "unsure", "only because the shots stand too wide apart"),
        (0.5, 0.9, True, "unsure", ""),
        (0.01, 1.1, False, "out", ""),
        (0.0, 0.98, False, "unsure", "best estimate of the floor keeps the rule"),
        (0.0, 1.1, True, "out", ""),
    ],
)
def test_a_word_that_is_held_back_says_why(
    chance: float, share: float, blind: bool, word: str, why: str
) -> None:
    told, reasons = guarded(chance, 0.95, share, "shots", blind)
    assert told == word
    assert len(reasons) == bool(why)
    assert why in "".join(reasons)


def test_no_shots_are_asked_for_where_only_spacing_settles_it() -> None:
    """Nothing is wrong with the floor, but a foot of edge is not seen at this spacing."""
    flat = surveyed(lambda x, y: 0 * x, noise_mm=0.02)
    verdict = load_rule("a108-small").judge(ROOM, flat, 0.95)
    assert (verdict.word, verdict.next_shots) == ("unsure", ())
    assert any("only because the shots stand too wide apart" in text for text in verdict.warnings)


def test_a_best_estimate_that_the_draws_contradict_is_said() -> None:
    # A dish is x² and y² added up: lines along the walls may explain part of it, 0.25 mm too deep.
    verdict = load_rule("click-lock").judge(ROOM, surveyed(dish(4.4)), 0.95)
    assert there(verdict.worst).share <= 1.0
    assert verdict.chance <= 0.05
    assert verdict.word == "unsure"
    assert any("best estimate of the floor keeps the rule" in text for text in verdict.warnings)


def test_coarse_readings_that_keep_a_rule_are_not_out_of_it() -> None:
    rng = np.random.default_rng(4)
    coarse = [LevelLine("A", rng.uniform(-0.4, 0.4, 41), 304.8, 3.0)]
    verdict = load_rule("click-lock").judge_lines(coarse, 0.95)
    assert verdict.chance <= 0.05
    assert verdict.word == "unsure"
    assert any("readings as they stand keep the rule" in text for text in verdict.warnings)


def test_the_spacing_is_that_of_the_wide_places() -> None:
    x, y = (a.ravel() for a in np.meshgrid(np.arange(0, 4600, 900.0), np.arange(0, 4600, 900.0)))
    square = room(4500.0, 4500.0)
    assert spacing_of(square, x, y) == pytest.approx(900, rel=0.06)
    crowd = np.random.default_rng(0).uniform(0, 300, (2, 400))
    more = spacing_of(square, np.append(x, crowd[0]), np.append(y, crowd[1]))
    assert more == pytest.approx(900, rel=0.08)


def test_a_cut_edge_is_said() -> None:
    small = room(2000.0, 2200.0)
    verdict = load_rule("click-lock").judge(small, surveyed(dish(1.0), 400.0, outline=small), 0.95)
    assert any("does not fit" in text and "2973 mm" in text for text in verdict.warnings)


def test_f_numbers_of_a_coarse_survey_are_never_in() -> None:
    flat = surveyed(lambda x, y: 0 * x, noise_mm=0.02)
    verdict = load_rule("e1155").judge(ROOM, flat, 0.95)
    assert verdict.word == "unsure"
    assert any("not measured" in text for text in verdict.warnings)
    assert any("29.7" in text for text in verdict.warnings)
    low, high = there(verdict.numbers).ff_ci90
    assert low <= there(verdict.numbers).ff <= high


def test_the_whole_and_its_lines_are_told_alike() -> None:
    """The whole of a floor that no lines were shot on is what the lines told combine to."""
    rough = np.random.default_rng(8)
    verdict = load_rule("e1155").judge(
        ROOM, surveyed(lambda x, y: rough.normal(0, 1.5, x.shape)), 0.95
    )
    for name, values in (("ff", "q_mm"), ("fl", "z_mm")):
        lines = [(getattr(f, name), len(getattr(f, values))) for f in there(verdict.numbers).lines]
        combined, count = lines[0]
        for number, n in lines[1:]:
            combined, count = combine(combined, count, number, n), count + n
        assert getattr(verdict.numbers, name) == pytest.approx(combined, rel=1e-9)
        numbers = [number for number, _ in lines]
        assert min(numbers) < getattr(verdict.numbers, name) < max(numbers)
    assert any("No lines were shot" in text for text in verdict.warnings)


def test_a_scan_is_judged_from_its_bins() -> None:
    rng = np.random.default_rng(2)
    x, y = rng.uniform(0, 3657.6, 200_000), rng.uniform(0, 4572.0, 200_000)
    z = dish(8.0)(x, y) + rng.normal(0, 0.5, len(x))
    verdict = load_rule("click-lock").judge(ROOM, scan_model(ROOM, x, y, z, rng), 0.95)
    assert verdict.word == "out"
    # A bin's mean is off by some 0.17 mm: a maximum over many of them adds to the gap.
    assert 8.0 - 0.1 < there(verdict.worst).gap_mm < 8.0 + 2.0
    flat = load_rule("bs8204-sr2").judge(ROOM, scan_model(ROOM, x, y, z * 0.1, rng), 0.95)
    assert flat.word == "in"


def lines_of(gap_mm: float, step: float = 304.8, n: int = 21) -> list[LevelLine]:
    """A valley of given depth under a 10 ft edge, as heights along a line."""
    t = step * (np.arange(n) - n // 2)
    return [LevelLine("A", gap_mm / 1524 * np.abs(t), step, 0.05)]


def test_lines_are_judged_by_straightedge() -> None:
    rule = load_rule("click-lock")
    bad = rule.judge_lines(lines_of(8.0), 0.95)
    assert bad.word == "out"
    assert there(bad.worst).gap_mm == pytest.approx(8.0, rel=1e-9)
    assert there(bad.worst).x_mm == pytest.approx(10 * 304.8)
    assert bad.line == "A"
    assert rule.judge_lines(lines_of(3.0), 0.95).word == "in"
    assert 0 < there(bad.share_in) < 1
    # A foot between readings says nothing about a foot of edge.
    assert load_rule("a108-small").judge_lines(lines_of(0.5), 0.95).word == "unsure"


def test_point_pairs_on_lines() -> None:
    rule = parse_rule(
        'text = "level"\nmeasure = "pairs"\n[pairs]\n'
        'lengths_mm = [1000, 4000]\nlimits_mm = [4, 10]\nbetween = "line"\n',
        "pairs",
    )
    slope = [LevelLine("A", 0.003 * np.linspace(0.0, 4000.0, 41), 100.0, 0.0)]
    verdict = rule.judge_lines(slope, 0.95)
    # 3 mm/m: 3 of 4 mm at 1 m, 12 of 10 mm at 4 m.
    assert verdict.word == "out"
    assert there(verdict.worst).gap_mm / there(verdict.worst).limit_mm == pytest.approx(
        1.2, rel=0.01
    )
    with pytest.raises(BadInput, match="--lines"):
        rule.judge(ROOM, surveyed(dish(1.0)), 0.95)


def test_verdicts_keep_their_error_rates() -> None:
    word, _, conforms = rates(10, 3, 60)
    # Of 10 no more than three may be wrong even at 5 % each (binomial, 99.9 %).
    assert np.sum((word == "in") & ~conforms) + np.sum((word == "out") & conforms) <= 3
    assert (word != "unsure").sum() >= 4


def test_a_plane_has_a_worst_gap_of_nothing() -> None:
    slope = [LevelLine("A", 0.5 * np.arange(20.0), 300.0)]
    verdict = load_rule("bs8204-sr1").judge_lines(slope, 0.95)
    assert verdict.word == "in"
    assert there(verdict.worst).gap_mm == pytest.approx(0.0, abs=1e-9)
    assert verdict.line == "A"
