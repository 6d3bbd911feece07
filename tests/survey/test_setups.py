import numpy as np
import pytest

from rig.errors import BadInput, CannotAnswer
from rig.survey.setups import Line, Sight, adjust, tie


def test_a_height_of_instrument_booking_that_closes():
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
    assert ground == pytest.approx({"BM": 100000.0, "TP1": 100630.0, "TP2": 100500.0})
    assert found.redundancy == 1
    assert found.misfit == pytest.approx(0.0, abs=1e-9)


def test_a_loop_that_misses_is_spread_evenly():
    # The same loop, 6 mm out: six sights of equal weight take 1 mm each.
    readings = [1520.0, 890.0, 1210.0, 1340.0, 1075.0, 1575.0 + 6.0]
    names = [("1", "BM"), ("1", "T1"), ("2", "T1"), ("2", "T2"), ("3", "T2"), ("3", "BM")]
    found = adjust([], [Sight(s, b, r, 1.0) for (s, b), r in zip(names, readings, strict=True)])
    assert np.abs(found.residuals_mm) == pytest.approx(np.ones(6))
    assert found.misfit == pytest.approx(np.sqrt(6.0))


def test_agrees_with_numpy_least_squares():
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


def test_one_shared_benchmark_gives_difference_and_both_errors():
    lines = tie(["1", "2"], [Sight("1", "BM", 900.0, 0.3), Sight("2", "BM", 950.0, 0.4)])
    assert lines == [Line("1", 0.0, 0.0), Line("2", pytest.approx(50.0), pytest.approx(0.5))]


def test_a_single_setup_needs_no_sight():
    assert tie(["1"], []) == [Line("1", 0.0, 0.0)]
    assert tie([], []) == []


@pytest.mark.parametrize("others", [[], [Sight("kitchen", "BM9", 1000.0, 0.5)]])
def test_an_untied_setup_is_named(others):
    sights = [Sight("1", "BM1", 900.0, 0.5), Sight("2", "BM1", 901.0, 0.5), *others]
    with pytest.raises(CannotAnswer, match="kitchen"):
        tie(["1", "2", "kitchen"], sights)


@pytest.mark.parametrize("stderr", [0.0, -1.0, float("nan")])
def test_a_sight_without_a_sound_error_is_refused(stderr):
    with pytest.raises(BadInput, match="BM1 from set-up 1"):
        tie(["1"], [Sight("1", "BM1", 900.0, stderr)])
