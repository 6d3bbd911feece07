import math
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from rig.errors import BadInput
from rig.flatness.f_numbers import (
    FF_FOOT_MM,
    FL_MM,
    _less_shared,
    combine,
    f_numbers,
    ff_constant_mm,
    minimum_rules,
)
from rig.flatness.level_lines import LevelLine, read_lines
from rig.units import Units
from tests.flatness.f_number_trials import coverage, held_behind_a_tilt, walked


def test_a_line_by_hand() -> None:
    # h = 0, 1, 0, 1 ... mm: q alternates -2, +2, z (ten steps, even) is 0.
    h = np.tile([0.0, 1.0], 8)
    found = f_numbers([LevelLine("A", h, 304.8)])
    line = found.lines[0]
    assert np.array_equal(line.q_mm, np.tile([-2.0, 2.0], 7))
    spread = math.sqrt(14 * 4 / 13)
    assert line.ff == pytest.approx(4.57 * 25.4 / (3 * spread), rel=1e-12)
    assert np.array_equal(line.z_mm, np.zeros(6))
    assert line.fl == math.inf


def test_the_formulae_of_the_standard_in_inches() -> None:
    # ASTM E1155: FF = 4.57 / (3 s_q + |q mean|), FL = 12.5 / (3 s_z + |z mean|), inches.
    h_in = np.cumsum(np.random.default_rng(1).normal(0, 0.04, 41))
    d = np.diff(h_in)
    q = np.diff(d)
    z = np.array([h_in[i] - h_in[i - 10] for i in range(10, 41)])
    found = f_numbers([LevelLine("A", h_in * 25.4, 304.8)])
    assert found.ff == pytest.approx(4.57 / (3 * stats.tstd(q) + abs(q.mean())), rel=1e-9)
    assert found.fl == pytest.approx(12.5 / (3 * stats.tstd(z) + abs(z.mean())), rel=1e-9)


def test_the_metric_edition_has_its_own_constant() -> None:
    assert ff_constant_mm(300.0) == 115.8
    assert ff_constant_mm(304.8) == pytest.approx(116.078)
    for step in (250.0, 310.0, 600.0):
        with pytest.raises(BadInput, match="12 in"):
            ff_constant_mm(step)


def test_two_lines_combine_as_the_standard_says_and_not_as_a_plain_mean() -> None:
    f12 = combine(20.0, 30, 40.0, 10)
    assert f12 == pytest.approx(20 * 40 * math.sqrt(40 / (10 * 400 + 30 * 1600)), rel=1e-12)
    assert abs(f12 - 25.0) > 1.0
    found = f_numbers(walked(2, 31, 3))
    ff = combine(found.lines[0].ff, 29, found.lines[1].ff, 29)
    assert found.ff == pytest.approx(combine(ff, 58, found.lines[2].ff, 29), rel=1e-12)


def test_turning_a_line_round_or_over_changes_nothing() -> None:
    line = walked(3, 40, 1)[0]
    once = f_numbers([line])
    for z in (line.z_mm[::-1], -line.z_mm, line.z_mm + 1000):
        again = f_numbers([LevelLine("A", z, 304.8)])
        assert (again.ff, again.fl) == pytest.approx((once.ff, once.fl), rel=1e-9)


def test_independent_curvatures_would_give_the_chi_square_interval() -> None:
    # With q independent the effective degrees of freedom are the count less one, and the interval
    # is scipy's for a standard deviation. Heights are the double sum of independent q.
    rng = np.random.default_rng(4)
    q = rng.normal(0, 1, 4000)
    h = np.cumsum(np.cumsum(np.concatenate([[0, 0], q - q.mean()])))
    found = f_numbers([LevelLine("A", h, 304.8)])
    assert found.ff_dof == pytest.approx(3999, rel=0.05)
    spread = np.std(q, ddof=1)
    low, high = (
        FF_FOOT_MM / 3 / (spread * math.sqrt(3999 / stats.chi2(3999).ppf(p))) for p in (0.05, 0.95)
    )
    assert found.ff_ci90 == pytest.approx((low, high), rel=0.01)


def test_overlapping_readings_tell_less_than_their_count() -> None:
    # White heights: q has correlation -2/3 and 1/6, so n / (1 + 2 (4/9 + 1/36)) count.
    rng = np.random.default_rng(5)
    lines = [LevelLine(str(k), rng.normal(0, 1, 60), 304.8) for k in range(30)]
    found = f_numbers(lines)
    assert found.ff_dof == pytest.approx(30 * 58 / (1 + 2 * (4 / 9 + 1 / 36)), rel=0.15)
    wandering = f_numbers(walked(6, 60, 10))
    assert wandering.fl_dof < 0.3 * 10 * 50


def test_intervals_keep_their_ninety_percent() -> None:
    count = 50  # f_number_trials has more of them
    over, missed = coverage(count, 100)
    # 10 % of so many, 5 % on either side, and three standard deviations of a count that small.
    for share, most in ((over, 0.05), (missed, 0.10)):
        assert (share < most + 3.0 * math.sqrt(most * (1.0 - most) / count)).all()
    assert missed.sum() > 0  # nor are they endlessly wide


def sloped(
    slope_mm_per_m: float, u_mm_per_m: float, n: int = 31, count: int = 4, ripple: float = 1e-6
) -> list[LevelLine]:
    """Lines along one wall, and what a laser's slope along it does to them."""
    x_m = 0.3048 * np.arange(float(n))
    h = slope_mm_per_m * x_m + ripple * np.tile([1.0, -1.0], n)[:n]
    return [LevelLine(str(k), h, 304.8, shared_mm=u_mm_per_m * x_m[:, None]) for k in range(count)]


def test_a_shared_slope_widens_fl_as_a_folded_normal_says() -> None:
    # FL = 12.5 in / |mean of z| where z hardly varies; that mean is ten steps of the floor's slope
    # less the laser's, which is normal: scipy's folded normal.
    found = f_numbers(sloped(0.3, 0.1))
    scale = 10 * 0.3048 * 0.1
    size = stats.foldnorm(0.3 / 0.1, scale=scale)
    assert found.fl == pytest.approx(FL_MM / (10 * 0.3048 * 0.3), rel=1e-4)
    told = np.quantile(FL_MM / found.fl_draws, [0.05, 0.5, 0.95])
    # q is all but nothing, so dof is that of z: what is left of chi-square is in the interval too.
    spread = np.sqrt(stats.chi2(found.fl_dof).rvs(200_000, random_state=1) / found.fl_dof)
    want = np.quantile(size.rvs(200_000, random_state=2) / spread, [0.05, 0.5, 0.95])
    assert told == pytest.approx(want, rel=0.03)
    assert found.fl_ci90[0] < f_numbers(sloped(0.3, 1e-9)).fl_ci90[0]


def test_more_lines_do_not_average_a_shared_slope_out() -> None:
    few, many = (f_numbers(sloped(0.3, 0.1, count=count)) for count in (40, 160))
    wide = [low_high[1] - low_high[0] for low_high in (few.fl_ci90, many.fl_ci90)]
    assert wide[1] > 0.8 * wide[0]


def test_draws_less_a_shared_error_are_the_numbers_of_heights_less_it() -> None:
    rng = np.random.default_rng(11)
    columns = [rng.normal(0.0, 1.0, (31, 2)).cumsum(axis=0) for _ in range(3)]
    lines = walked(12, 31, 3)
    errors = rng.normal(0.0, 0.5, (20, 2))
    wrong = [
        f_numbers(
            [
                LevelLine(one.name, one.z_mm - on @ e, 304.8)
                for one, on in zip(lines, columns, strict=True)
            ]
        )
        for e in errors
    ]
    z = [one.z_mm[10:] - one.z_mm[:-10] for one in lines]
    on_z = [on[10:] - on[:-10] for on in columns]
    fl, least = _less_shared(1.0, np.ones(20), z, on_z, errors, FL_MM)
    assert fl == pytest.approx([one.fl for one in wrong], rel=1e-9)
    assert least == pytest.approx([min(row.fl for row in one.lines) for one in wrong], rel=1e-9)


def test_intervals_hold_the_floor_behind_a_tilted_line() -> None:
    known, unknown = held_behind_a_tilt(25)  # f_number_trials has more of them
    assert known >= 0.90
    assert unknown < 0.75


def test_minimum_rules_are_said() -> None:
    lines = walked(7, 15, 2)
    small = minimum_rules(lines, 16.7, 300.0)
    assert any("29.7" in text for text in small)
    assert any("fewer" in text for text in small)
    assert any("0.61 m" in text for text in small)
    feet = minimum_rules(lines, 16.7, 300.0, Units("in"))
    for said in ("180 ft²", "320 ft²", "2 ft away"):
        assert any(said in text for text in feet)
    assert not any("m²" in text for text in feet)
    assert any("not known" in text for text in minimum_rules(lines, None))
    assert minimum_rules(walked(8, 40, 4), 40.0, 700.0) == []


def test_too_short_a_line_is_refused() -> None:
    with pytest.raises(BadInput, match="at least 12"):
        f_numbers(walked(9, 11, 1))


def lines_file(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "lines.csv"
    path.write_text(text)
    return path


def test_a_larger_reading_is_a_lower_floor(tmp_path: Path) -> None:
    rows = "line,reading\n" + "".join(f"A,{1 + 0.25 * n}\n" for n in range(3)) + "B,2 1/16\n"
    lines = read_lines(lines_file(tmp_path, rows), "in", 304.8)
    assert [line.name for line in lines] == ["A", "B"]
    assert np.diff(lines[0].z_mm) == pytest.approx([-6.35, -6.35])
    assert lines[0].stderr_mm == pytest.approx(0.254 / math.sqrt(12))


@pytest.mark.parametrize(
    ("text", "say"),
    [
        ("line,reading\nA,1.0\nA,\n", "line 3, column reading"),
        ("line,reading\nA,1.0\nA,high\n", "line 3: reading “high”"),
        ("line,reading\nA,1.0\n,1.2\n", "line 3, column line"),
        ("line,reading\nA,1.0\nB,1.2\nA,1.3\n", "comes back"),
        ("line,reading\nA,1.0,2\n", "3 cells"),
        ("line,reading\nA\n", "1 cell, but"),
        ("line,height\nA,1.0\n", "height"),
        ("line,reading\n", "no rows"),
        ("", "empty"),
        ("line,reading\nA,9999999\n", "longer than any rod"),
    ],
)
def test_a_bad_table_is_refused_with_line_and_column(tmp_path: Path, text: str, say: str) -> None:
    with pytest.raises(BadInput) as refused:
        read_lines(lines_file(tmp_path, text), "mm", 300.0)
    assert say in str(refused.value)
