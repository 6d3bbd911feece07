import time

import numpy as np
import pytest
from scipy import stats

from rig.errors import BadInput, CannotAnswer
from rig.survey.setups import Line, Sight, adjust, contradictions, tie
from tests.kinds import Floats, there


def test_a_height_of_instrument_booking_that_closes() -> None:
    # Booked by hand, height-of-instrument method, in m (benchmark 100.000, loop of three set-ups):
    #   BM  back 1.520 -> HI 101.520;  TP1 fore 0.890 -> 100.630
    #   TP1 back 1.210 -> HI 101.840;  TP2 fore 1.340 -> 100.500
    #   TP2 back 1.075 -> HI 101.575;  BM  fore 1.575 -> 100.000, the loop closes.
    sights = [
        Sight("1", "BM", 1520.0, 1.0),
        Sight("1", "TP1", 890.0, 1.0),
        Sight("2", "TP1", 1210.0, 1.0),
        Sight("2", "TP2", 1340.0, 1.0),
        Sight("3", "TP2", 1075.0, 1.0),
        Sight("3", "BM", 1575.0, 1.0),
    ]
    found = adjust([], sights)
    assert [line.setup for line in found.lines] == ["1", "2", "3"]
    assert [line.line_mm for line in found.lines] == pytest.approx([0.0, 320.0, 55.0])
    assert found.residuals_mm == pytest.approx(np.zeros(6), abs=1e-9)
    ground = {mark: 101520.0 + z for mark, z in found.benchmarks.items()}
    # The same booking by rise and fall: each fore sight taken from its back sight.
    rise_and_fall = {"BM": 100000.0}
    for back, fore in (("BM", "TP1"), ("TP1", "TP2"), ("TP2", "BM")):
        first, second = (next(s for s in sights if s.setup == n and s.benchmark == b)
                         for n in [{"TP1": "1", "TP2": "2", "BM": "3"}[fore]]
                         for b in (back, fore))  # fmt: skip
        risen = rise_and_fall[back] + first.reading_mm - second.reading_mm
        assert rise_and_fall.setdefault(fore, risen) == pytest.approx(risen)
    assert ground == pytest.approx(rise_and_fall)
    assert ground == pytest.approx({"BM": 100000.0, "TP1": 100630.0, "TP2": 100500.0})
    assert found.redundancy == 1
    assert found.misfit == pytest.approx(0.0, abs=1e-9)


def test_a_loop_that_misses_is_spread_evenly() -> None:
    # The same loop, 6 mm out: six sights of equal weight take 1 mm each.
    readings = [1520.0, 890.0, 1210.0, 1340.0, 1075.0, 1575.0 + 6.0]
    names = [("1", "BM"), ("1", "T1"), ("2", "T1"), ("2", "T2"), ("3", "T2"), ("3", "BM")]
    found = adjust([], [Sight(s, b, r, 1.0) for (s, b), r in zip(names, readings, strict=True)])
    assert np.abs(found.residuals_mm) == pytest.approx(np.ones(6))
    assert found.misfit == pytest.approx(np.sqrt(6.0))


def test_agrees_with_numpy_least_squares() -> None:
    rng = np.random.default_rng(4)
    lines = {"S1": 0.0, "S2": 35.0, "S3": -12.0, "S4": 80.0}
    marks = {f"B{n}": rng.uniform(-900.0, -700.0) for n in range(6)}
    sights = [
        Sight(s, b, float(line - z + rng.normal(0.0, sd)), float(sd))
        for s, line in lines.items()
        for b, z in marks.items()
        if rng.random() < 0.7
        for sd in [rng.uniform(0.1, 2.0)]
    ]
    found = adjust(lines, sights)
    names, labels = list(lines), list(dict.fromkeys(s.benchmark for s in sights))
    a = np.zeros((len(sights), len(names) + len(labels)))
    for row, s in enumerate(sights):
        a[row, names.index(s.setup)] = 1.0
        a[row, len(names) + labels.index(s.benchmark)] = -1.0
    w = 1.0 / np.array([s.stderr_mm for s in sights])
    a = a[:, 1:]  # the first line is nought
    want, *_ = np.linalg.lstsq(
        a * w[:, None], w * np.array([s.reading_mm for s in sights]), rcond=None
    )
    spread = np.sqrt(np.diag(np.linalg.pinv((a * w[:, None]).T @ (a * w[:, None]))))
    assert [line.line_mm for line in found.lines[1:]] == pytest.approx(list(want[:3]), abs=1e-8)
    assert [line.stderr_mm for line in found.lines[1:]] == pytest.approx(list(spread[:3]))
    assert list(found.benchmarks.values()) == pytest.approx(list(want[3:]), abs=1e-8)


def test_one_shared_benchmark_gives_difference_and_both_errors() -> None:
    lines = tie(["1", "2"], [Sight("1", "BM", 900.0, 0.3), Sight("2", "BM", 950.0, 0.4)])
    assert lines[0] == Line("1", 0.0, 0.0)
    assert lines[1].setup == "2"
    assert lines[1].line_mm == pytest.approx(50.0)
    assert lines[1].stderr_mm == pytest.approx(0.5)
    assert len(lines) == 2


def test_a_single_setup_needs_no_sight() -> None:
    assert tie(["1"], []) == [Line("1", 0.0, 0.0)]
    assert tie([], []) == []


@pytest.mark.parametrize("others", [[], [Sight("kitchen", "BM9", 1000.0, 0.5)]])
def test_an_untied_setup_is_named(others: list[Sight]) -> None:
    sights = [Sight("1", "BM1", 900.0, 0.5), Sight("2", "BM1", 901.0, 0.5), *others]
    with pytest.raises(CannotAnswer, match="kitchen"):
        tie(["1", "2", "kitchen"], sights)


@pytest.mark.parametrize("stderr", [0.0, -1.0, float("nan")])
def test_a_sight_without_a_sound_error_is_refused(stderr: float) -> None:
    with pytest.raises(BadInput, match="BM1 from set-up 1"):
        tie(["1"], [Sight("1", "BM1", 900.0, stderr)])


def network(
    setups: int, sights: int, marks: int, seed: int, errors: tuple[float, float] = (0.1, 1.0)
) -> list[Sight]:
    """Set-ups that each see many of the benchmarks; all see the first."""
    rng = np.random.default_rng(seed)
    line, height = rng.uniform(-100.0, 100.0, setups), rng.uniform(-1000.0, -700.0, marks)
    at, of = rng.integers(0, setups, sights), rng.integers(0, marks, sights)
    at[:setups], of[:setups] = np.arange(setups), 0
    least, most = np.log(errors)
    sd = np.exp(rng.uniform(least, most, sights))
    return [
        Sight(f"S{s}", f"B{b}", float(line[s] - height[b] + rng.normal(0.0, e)), float(e))
        for s, b, e in zip(at, of, sd, strict=True)
    ]


def dense(sights: list[Sight]) -> tuple[list[str], Floats, Floats, Floats, Floats]:
    """numpy.linalg.lstsq, residuals' cofactors from the hat matrix."""
    names = list(dict.fromkeys(s.setup for s in sights))
    labels = list(dict.fromkeys(s.benchmark for s in sights))
    a = np.zeros((len(sights), len(names) + len(labels)))
    for row, s in enumerate(sights):
        a[row, names.index(s.setup)] = 1.0
        a[row, len(names) + labels.index(s.benchmark)] = -1.0
    w = 1.0 / np.array([s.stderr_mm for s in sights])
    a = a[:, 1:] * w[:, None]
    y = w * np.array([s.reading_mm for s in sights])
    x, *_ = np.linalg.lstsq(a, y, rcond=None)
    q, _ = np.linalg.qr(a)
    left = 1.0 - np.sum(q**2, axis=1)
    return names, x, y - a @ x, left, np.asarray(np.linalg.inv(a.T @ a), dtype=np.float64)


@pytest.mark.parametrize("seed", range(8))
def test_agrees_with_a_dense_solution_to_a_millionth_of_a_micrometre(seed: int) -> None:
    # Errors that differ three-hundredfold: what squared equations alone would lose digits on.
    sights = network(9, 80, 14, seed, (0.01, 3.0))
    found = adjust([], sights)
    names, x, residuals, left, covariance = dense(sights)
    heights = [line.line_mm for line in found.lines[1:]] + list(found.benchmarks.values())
    assert heights == pytest.approx(list(x), abs=1e-9)
    scale = found.widened
    assert [line.stderr_mm for line in found.lines[1:]] == pytest.approx(
        list(scale * np.sqrt(np.diag(covariance))[: len(names) - 1]), rel=1e-9
    )
    assert found.covariance_mm2[1:, 1:] == pytest.approx(
        scale**2 * covariance[: len(names) - 1, : len(names) - 1], rel=1e-7
    )
    sure = left > 0.02
    assert found.standardised[sure] == pytest.approx(residuals[sure] / np.sqrt(left[sure]))
    # scipy's chi-square law for the test of the whole adjustment.
    assert found.agree == pytest.approx(stats.chi2.sf(np.sum(residuals**2), len(sights) - len(x)))


def test_two_hundred_setups_within_a_second_and_linear_in_the_sights() -> None:
    adjust([], network(20, 400, 40, 0))  # imports
    took = []
    for sights, marks in ((5_000, 500), (20_000, 2_000)):
        shot, times = network(200, sights, marks, 1), []
        for _ in range(4):  # its own time: others may keep the machine busy
            begun = time.process_time()
            adjust([], shot)
            times.append(time.process_time() - begun)
        took.append(min(times))
    assert took[1] < 1.0
    assert took[1] < 10.0 * took[0]  # four times as many; sixteen would be squared


def test_a_blunder_is_found_and_named_and_sound_sights_are_not() -> None:
    named, false = 0, 0
    for seed in range(200):
        sights = network(4, 24, 4, seed, (0.2, 0.4))
        false += adjust([], sights).blunder is not None
        bad = sights[10]
        sights[10] = Sight(bad.setup, bad.benchmark, bad.reading_mm + 6.0, bad.stderr_mm)
        found = adjust([], sights).blunder
        named += found is not None and found.sight == sights[10]
        if found is not None and found.sight == sights[10] and not found.rivals:
            assert found.off_mm == pytest.approx(6.0, abs=3.0)
    assert named >= 190
    assert false <= 7  # one in a hundred stated; 7 or fewer of 200 with 99.8 % (binomial)


def test_a_blunder_is_told_in_words() -> None:
    sights = [
        Sight(s, b, 1000.0 + line - z + (8.0 if (s, b) == ("2", "BM3") else 0.0), 0.3)
        for s, line in (("1", 0.0), ("2", 50.0), ("3", -20.0))
        for b, z in (("BM1", 0.0), ("BM2", 30.0), ("BM3", -70.0))
    ]
    found = adjust([], sights)
    first, second = contradictions(found)
    assert "BM3 from set-up 2 reads 8.0 mm more" in first
    assert "widened" in second
    assert found.lines[1].stderr_mm > 1.0  # 0.25 mm if the sights had agreed


def test_where_two_sights_explain_it_both_are_named() -> None:
    sights = [
        Sight("1", "BM1", 900.0, 0.3),
        Sight("1", "BM2", 950.0, 0.3),
        Sight("2", "BM1", 800.0, 0.3),
        Sight("2", "BM2", 857.0, 0.3),
    ]
    found = adjust([], sights).blunder
    assert {(s.setup, s.benchmark) for s in (there(found).sight, *there(found).rivals)} == {
        (s.setup, s.benchmark) for s in sights
    }
    assert "cannot tell" in contradictions(adjust([], sights))[0]


def test_benchmarks_that_agree_are_silent() -> None:
    assert contradictions(adjust([], network(3, 9, 3, 5))) == []
    assert contradictions(adjust(["1"], [])) == []


def test_a_setup_that_nobody_needs_is_left_out() -> None:
    sights = [Sight("1", "BM1", 900.0, 0.5), Sight("2", "BM1", 901.0, 0.5)]
    found = adjust(["1", "2", "old"], [*sights, Sight("old", "BM9", 5.0, 0.5)], needed=["1", "2"])
    assert [line.setup for line in found.lines] == ["1", "2"]
    assert np.isnan(found.residuals_mm[2])
    with pytest.raises(CannotAnswer, match="BM1"):
        adjust(["1", "2", "old"], sights, needed=["old"])
