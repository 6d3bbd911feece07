import math
from dataclasses import replace

import numpy as np
import pytest

from rig.errors import BadInput
from rig.survey.laser.cross import HEADINGS, Turn, cross, on_plan
from rig.survey.laser.verdict import judge_tilt
from simulated_devices.laser import Laser
from tests.kinds import Floats, there
from tests.survey.laser.field import cross_turns


def turns(
    readings: Floats | list[float], dist_mm: float = 10_000.0, stderr_mm: float = 0.3
) -> list[Turn]:
    return [Turn(h, r, dist_mm, stderr_mm) for h, r in zip(HEADINGS, readings, strict=True)]


def test_a_cross_worked_by_hand() -> None:
    # tilt_x = (1503 − 1497) / 20 m = 0.3; tilt_y = (1499 − 1501) / 20 m = −0.1 mm/m;
    # closure 1503 + 1497 − 1499 − 1501 = 0.
    found = cross(turns([1503.0, 1499.0, 1497.0, 1501.0]))
    assert found.tilt_mm_per_m == pytest.approx((0.3, -0.1))
    assert found.closure_mm == 0.0
    assert found.closes
    # GUM 5.1.2: √2 · 0.3 mm over 20 m; and three times √4 · 0.3 mm.
    assert found.stderr_mm_per_m == pytest.approx(math.sqrt(2) * 0.3 / 20.0)
    assert found.closure_allowed_mm == pytest.approx(3 * 2 * 0.3)
    assert found.cone_mm_per_m is None


def test_a_cone_needs_a_second_distance() -> None:
    # 0.2 mm/m: the mean rises by 2 mm over 10 m more, less the 5 mm that the target stands higher.
    near, far = [1500.0] * 4, [1497.0] * 4
    found = cross(turns(near) + turns(far, dist_mm=20_000.0), rise_mm=5.0)
    assert found.cone_mm_per_m == pytest.approx(0.2)
    assert found.cone_stderr_mm_per_m == pytest.approx(math.sqrt(8) * 0.3 / 4 / 10)


def test_two_distances_agree_with_numpy_least_squares() -> None:
    rng = np.random.default_rng(2)
    data = turns(1500 + rng.normal(0, 1, 4), 8_000.0) + turns(1490 + rng.normal(0, 1, 4), 20_000.0)
    design = np.array(
        [
            [
                t.dist_mm == 8_000.0,
                t.dist_mm != 8_000.0,
                t.dist_mm / 1000 * math.cos(math.radians(t.heading_deg)),
                t.dist_mm / 1000 * math.sin(math.radians(t.heading_deg)),
            ]
            for t in data
        ],
        dtype=float,
    )
    want = np.linalg.lstsq(design, [t.reading_mm for t in data], rcond=None)[0]
    assert cross(data).tilt_mm_per_m == pytest.approx(tuple(want[2:]))


def test_a_slope_is_found_within_the_stated_doubt_over_200_seeds() -> None:
    z, closing = [], 0
    for seed in range(200):
        slope = (0.01 * (seed % 7 - 3), 0.01 * (seed % 5 - 2))
        found = cross(cross_turns(seed, slope, cone=0.1))
        z += [
            (f - s) / found.stderr_mm_per_m for f, s in zip(found.tilt_mm_per_m, slope, strict=True)
        ]
        closing += found.closes
    assert 0.92 <= np.mean(np.abs(z) < 1.96) <= 0.98
    assert closing >= 196  # 0.27 % false alarms: more than four of 200 in one run of a thousand


def test_a_jolt_in_the_middle_does_not_close() -> None:
    # 1 mm against a noise of 0.05 mm. A jolt half-way leaves the closure as it is (+1 − 1), and
    # only the heading read again sees it.
    for seed in range(200):
        whole = cross_turns(seed, (0, 0), jolt_mm=1.0)
        again = replace(whole[0], reading_mm=whole[0].reading_mm + 1.0)
        assert cross(whole).closes
        assert not cross([*whole, again]).closes
        late = [*whole[:3], replace(whole[3], reading_mm=whole[3].reading_mm + 1.0)]
        assert not cross(late).closes


def turned_laser(slope: tuple[float, float], angle_rad: float, dist_mm: float = 10_000.0) -> Laser:
    """A laser at (2 m, 1 m) whose line's slope was turned with it, counter-clockwise."""
    turn = np.array(
        [[math.cos(angle_rad), -math.sin(angle_rad)], [math.sin(angle_rad), math.cos(angle_rad)]]
    )
    return Laser(2000.0, 1000.0, 1500.0, *(turn @ np.asarray(slope)))


@pytest.mark.parametrize("clockwise", [True, False])
@pytest.mark.parametrize("bearing_deg", [0, 30, 90, 200, 315])
def test_a_tilt_on_the_plan_is_that_of_the_laser_that_stands_there(
    bearing_deg: int, clockwise: bool
) -> None:
    # Rotation matrices of the plane, anticlockwise from x to y (as ISO 80000-2 has them).
    slope, towards = (0.31, -0.12), math.radians(bearing_deg)
    target = (2000.0 + 1e4 * math.cos(towards), 1000.0 + 1e4 * math.sin(towards))
    readings = [
        float(turned_laser(slope, math.radians(-h if clockwise else h)).line_mm(*target, 0.0))
        for h in HEADINGS
    ]
    found = cross(turns(readings))
    way = (target[0] - 2000.0, target[1] - 1000.0)
    assert on_plan(found.tilt_mm_per_m, way, clockwise) == pytest.approx(slope)
    # The other way round the part across the target would have the wrong sign.
    wrong = on_plan(found.tilt_mm_per_m, way, not clockwise)
    assert math.dist(wrong, slope) > 0.05


@pytest.mark.parametrize("relevel", [0.0, 0.5, 1.0, 3.0])
def test_what_a_correction_leaves_holds_the_line_that_is_left_standing(relevel: float) -> None:
    # Each turn levels the line anew, to so many times what the noise of a reading is at 10 m.
    rng = np.random.default_rng(5)
    dist_m, noise, slope = 10.0, 0.2, np.array([0.08, -0.03])
    inside = 0
    for _ in range(2000):
        data = []
        for heading in (*HEADINGS, 0):
            angle = math.radians(heading)
            own = slope + relevel * noise / dist_m * rng.standard_normal(2)
            rise = own @ (math.cos(angle), math.sin(angle)) * dist_m
            reading = float(1500.0 + rise + rng.normal(0.0, noise))
            data.append(Turn(heading, reading, 1e4, noise))
        found = cross(data)
        off = (np.array(found.tilt_mm_per_m) - own) / there(found.left_mm_per_m)
        inside += int(np.count_nonzero(np.abs(off) < 1.96))
    # 95 % are asked for; five readings cannot tell a scatter that is far beyond the noise well.
    assert inside / 4000 > (0.95 if relevel <= 1.0 else 0.9)


def test_the_chance_of_a_tilt_within_the_limit_is_that_of_draws() -> None:
    rng = np.random.default_rng(1)
    drawn = np.hypot(*(np.array([[0.05], [0.03]]) + 0.04 * rng.standard_normal((2, 200_000))))
    verdict = judge_tilt(0.05, 0.03, 0.04, 0.1)
    assert verdict.chance_in == pytest.approx(np.mean(drawn <= 0.1), abs=0.005)
    assert verdict.ok
    assert verdict.word == "unsure"


@pytest.mark.parametrize(
    ("data", "say"),
    [
        (turns([1, 2, 3, 4])[:3], "270 is missing"),
        ([Turn(45, 1.0, 1000.0, 0.1)], "45"),
        (turns([1, 2, 3, 4], dist_mm=0.0), "distance"),
        (turns([1, 2, math.inf, 4]), "finite"),
        ([], "four readings"),
    ],
)
def test_what_is_no_cross_is_refused(data: list[Turn], say: str) -> None:
    with pytest.raises(BadInput, match=say):
        cross(data)
