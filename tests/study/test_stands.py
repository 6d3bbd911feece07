"""A slope that is told of a stand is that of all rods which go by its laser."""

from dataclasses import replace
from pathlib import Path

import pytest

from rig.errors import CannotAnswer
from rig.job import Job
from rig.job.settings import Settings, SetupTilt
from rig.study.lasers import climb_of, refuse_shot, shots_of

WALLS = [(0.0, 0.0), (3000.0, 0.0), (3000.0, 4000.0), (0.0, 4000.0)]


def test_a_slope_of_a_stand_is_taken_off_the_shots_of_all_its_rods(tmp_path: Path) -> None:
    tilt = SetupTilt(
        slope_mm_per_m=(1.0, 0.0), stderr_mm_per_m=0.01, place=(0.0, 0.0), after_event=0
    )
    with Job.create(str(tmp_path / "job.sqlite"), Settings(units="mm"), WALLS) as job:
        job.update_settings(replace(job.settings, laser_tilt={"1": tilt}))
        refuse_shot(job, "1")
        for rod in ("rod-1", "rod-2"):
            session = job.start_session(
                "survey", f"1@{rod}", "site", "", {}, "boot", 1.7e9, rod=rod, stand="1"
            )
            job.add_shot(
                session,
                point=rod,
                x_mm=2000.0,
                y_mm=500.0,
                reading_mm=1000.0,
                stderr_mm=0.1,
                n=9,
                kind="floor",
                time_s=1.0,
                utc_s=1.7e9,
            )
        assert [shot.reading_mm for shot in shots_of(job)] == pytest.approx([998.0, 998.0])
        assert climb_of(job, "1@rod-2")(1000.0, 0.0) == pytest.approx(1.0)
        assert [one.rod for one in job.sessions()] == ["rod-1", "rod-2"]
        with pytest.raises(CannotAnswer):
            refuse_shot(job, "1")
