import math

import numpy as np
import pytest

from rig.errors import BadInput
from rig.survey.laser.two_peg import PegSight, two_peg
from rig.survey.laser.verdict import judge
from tests.kinds import there
from tests.survey.laser.field import two_peg_sights


def m(a: float, b: float, dist_a: float, dist_b: float, stderr_mm: float = 0.5) -> PegSight:
    return PegSight(1000.0 * a, 1000.0 * b, 1000.0 * dist_a, 1000.0 * dist_b, stderr_mm)


def test_published_exercise_with_known_heights() -> None:
    # Textbook exercise (engineering surveying): sights of 25 m and 50 m, readings 2.847 and
    # 3.462 m, heights 284.295 and 283.665 m: the line falls 0.060 m in 100 m.
    found = two_peg([m(2.847, 3.462, 25.0, 50.0)], rise_mm=1000.0 * (283.665 - 284.295))
    assert found.error_mm_per_m == pytest.approx(-0.60, abs=1e-9)
    # By hand: √2 · 0.5 mm over 25 m.
    assert found.stderr_mm_per_m == pytest.approx(math.sqrt(2) * 0.5 / 25.0)


def test_published_exercise_of_two_setups() -> None:
    # Textbook exercise: midway A 1.283, B 0.860; 5 m beyond B A 1.612, B 1.219: 0.030 m in 50 m.
    found = two_peg([m(1.283, 0.860, 25.0, 25.0), m(1.612, 1.219, 55.0, 5.0)])
    assert abs(found.error_mm_per_m) * 50.0 == pytest.approx(30.0, abs=1e-6)
    assert found.error_mm_per_m < 0  # the line falls
    assert found.rise_mm == pytest.approx(423.0)
    # GUM 5.1.2, by hand: four readings of 0.5 mm over a difference of 50 m.
    assert found.stderr_mm_per_m == pytest.approx(math.sqrt(4) * 0.5 / 50.0)


def test_more_sights_agree_with_numpy_and_weigh_the_same_unless_told() -> None:
    rng = np.random.default_rng(3)
    sights = [m(1.3, 0.9 + rng.normal(0, 1e-3), 5.0 * k, 20.0, 0.2 + 0.3 * k) for k in range(1, 6)]
    design = np.array([[s.balance_m, 1.0] for s in sights])
    drop = np.array([s.drop_mm for s in sights])
    want = np.linalg.lstsq(design, drop, rcond=None)[0]
    assert two_peg(sights).error_mm_per_m == pytest.approx(want[0])
    w = np.array([1.0 / s.stderr_mm for s in sights])
    heavy = np.linalg.lstsq(design * w[:, None], drop * w, rcond=None)[0]
    assert two_peg(sights, weighted=True).error_mm_per_m == pytest.approx(heavy[0])
    assert two_peg(sights).redundancy == 3


@pytest.mark.parametrize("seed", [0, 1])
def test_a_tilt_along_the_pegs_stays_invisible(seed: int) -> None:
    with_tilt = two_peg(two_peg_sights(seed, 0.1, slope=(0.4, 0.0)))
    without = two_peg(two_peg_sights(seed, 0.1))
    assert with_tilt.error_mm_per_m == pytest.approx(without.error_mm_per_m, abs=0.005)
    assert with_tilt.rise_mm - without.rise_mm == pytest.approx(-4.0, abs=0.05)


def test_a_cone_is_found_within_the_stated_doubt_over_200_seeds() -> None:
    z = []
    for seed in range(200):
        cone = 0.02 * (seed % 11 - 5)
        found = two_peg(two_peg_sights(seed, cone))
        z.append((found.error_mm_per_m - cone) / found.stderr_mm_per_m)
    inside = np.mean(np.abs(z) < 1.96)
    assert 0.90 <= inside <= 0.985  # 95 % ± three standard errors of a share of 200
    assert 0.85 < np.std(z) < 1.15


def test_verdicts_err_as_rarely_as_they_say() -> None:
    # A line exactly at the limit: "surely in" and "surely out" each in 5 % of the checks.
    words = []
    for seed in range(200):
        found = two_peg(two_peg_sights(seed, 0.1))
        words.append(judge(found.error_mm_per_m, found.stderr_mm_per_m, 0.1).word)
    assert 0.0 < words.count("in") / 200 < 0.10
    assert 0.0 < words.count("out") / 200 < 0.10


def test_sights_that_disagree_widen_the_doubt() -> None:
    near = [m(1.3, 0.9, 25, 25), m(1.3, 0.9, 55, 5), m(1.3, 0.9, 5, 55)]
    far = [m(1.3, 0.9, 25, 25), m(1.3, 0.904, 55, 5), m(1.3, 0.904, 5, 55)]
    assert there(two_peg(near).agree) > 0.9
    assert there(two_peg(far).agree) < 0.01
    assert two_peg(far).stderr_mm_per_m > 2 * two_peg(near).stderr_mm_per_m


@pytest.mark.parametrize(
    ("sights", "rise", "say"),
    [
        ([m(1.3, 0.9, 25, 25), m(1.3, 0.8, 30, 30)], None, "balanced"),
        ([m(1.3, 0.9, 25, 25)], -400.0, "nearer"),
        ([m(1.3, 0.9, 25, 5)], None, "two sights"),
        ([], None, "two sights"),
        ([m(1.3, 0.9, -25, 5), m(1.3, 0.9, 5, 5)], None, "negative"),
        ([m(math.nan, 0.9, 25, 5), m(1.3, 0.9, 5, 5)], None, "finite"),
    ],
)
def test_degenerate_geometry_is_refused(
    sights: list[PegSight], rise: float | None, say: str
) -> None:
    with pytest.raises(BadInput, match=say):
        two_peg(sights, rise)
