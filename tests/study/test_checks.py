"""What a check found is kept in the job and read back the same, by this program and older files."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from rig.errors import JobUnusable
from rig.job import Job
from rig.job.settings import Settings
from rig.record import from_json
from rig.study.checks import (
    KINDS,
    CheckResult,
    CrossCheck,
    TwoPegCheck,
    check_words,
    cross_check,
    drift_check,
    keep_check,
    kind_of,
    last_check,
    repeat_check,
    rod_check,
    two_peg_check,
)
from rig.study.lasers import trust_of
from rig.survey.laser.cross import Turn
from rig.survey.laser.two_peg import PegSight
from rig.units import Units
from tests.kinds import there

WALLS = [(0.0, 0.0), (3000.0, 0.0), (3000.0, 4000.0), (0.0, 4000.0)]
TURNS = [
    Turn(heading, reading_mm, 10_000.0, 0.2)
    for heading, reading_mm in ((0, 1503.0), (90, 1499.0), (180, 1497.0), (270, 1501.0), (0, 1503))
]
TWO_PEG = two_peg_check(
    [PegSight(1283.0, 860.0, 25e3, 25e3, 0.5), PegSight(1612.0, 1219.0, 55e3, 5e3, 0.5)],
    limit_mm_per_m=0.1,
)
CHECKS: list[CheckResult] = [
    TWO_PEG,
    cross_check(TURNS, limit_mm_per_m=0.1),
    cross_check([*TURNS[:4], Turn(0, 1513.0, 10e3, 0.2)], limit_mm_per_m=0.1),
    repeat_check([1500.0, 1500.2, 1499.9], limit_mm=0.5, dist_mm=10_000.0),
    drift_check([2.0 * n for n in range(60)], [1500.0 + 0.1 * (n % 3) for n in range(60)],
                limit_mm_per_h=0.5),
    rod_check([(1500.0, 1501.0), (300.0, 300.2), (900.0, 900.5)], stderr_mm=0.5, limit_mm=1.0),
]  # fmt: skip


@pytest.fixture
def job(tmp_path: Path) -> Iterator[Any]:
    with Job.create(tmp_path / "job.sqlite", Settings(units="mm"), WALLS) as job:
        yield job


@pytest.mark.parametrize("check", CHECKS, ids=kind_of)
def test_a_check_is_read_back_as_it_was_kept(job: Any, check: Any) -> None:
    keep_check(job, check, {"readings": [1.0]}, None)
    assert last_check(job, type(check)) == check
    (kept,) = job.checks()
    assert (kept.kind, kept.ok, kept.result) == (kind_of(check), check.ok, check.as_json())
    assert check_words(from_json(KINDS[kept.kind], kept.result), Units("mm")) == check_words(
        check, Units("mm")
    )


def test_a_cross_check_of_an_older_file_says_nothing_of_correction(job: Any) -> None:
    older = CHECKS[1].as_json()
    del older["left_mm_per_m"], older["corrected"]
    job.add_check("cross", {}, older, True)
    found = last_check(job, CrossCheck)
    assert (there(found).left_mm_per_m, there(found).corrected) == (None, None)
    assert there(found).tilt_mm_per_m == pytest.approx((0.3, -0.1))  # (r0 - r180) / 2D, by hand


def test_a_laser_is_trusted_by_its_last_checks(job: Any) -> None:
    keep_check(job, CHECKS[1], {}, None)
    keep_check(job, TWO_PEG, {}, None)
    trust = trust_of(job)
    # √(0.6² + 0.02²): A - B is 423 mm, then 393 mm with A 50 m farther than B, each read to 0.5 mm.
    assert trust.radial_mm_per_m == pytest.approx((0.6**2 + (0.5 * 2 / 50) ** 2) ** 0.5)
    each = 0.2 / 2**0.5 / 10.0  # of (r0 - r180) / 2D
    assert trust.tilt_mm_per_m == pytest.approx(((0.3**2 + 0.1**2) / 2.0 + each**2) ** 0.5)


def test_a_check_that_nobody_can_read_is_named(job: Any) -> None:
    job.add_check("two-peg", {}, {"error_mm_per_m": "steep"}, True)
    with pytest.raises(JobUnusable, match="two-peg check"):
        last_check(job, TwoPegCheck)


def test_readings_that_do_not_close_are_never_good_enough_though_the_line_keeps_its_limit() -> None:
    turns = [Turn(h, 1500.0 + 9.0 * (h == 90), 10_000.0, 0.2) for h in (0, 90, 180, 270)]
    check = cross_check(turns, limit_mm_per_m=5.0)
    assert not check.closes
    assert not check.ok
    said = check_words(check, Units("mm"))
    assert any(line.startswith("GOOD ENOUGH") for line in said)
    assert any("do not agree" in line for line in said)
