"""The library for scripts: the ten lines that the README shows, and that they say what rig says."""

import subprocess
import sys
from typing import Any

import numpy as np
import pytest

from rig import study
from rig.errors import JobUnusable
from tests.cli.conftest import Run, run
from tests.report.jobs import make

__all__ = ["run"]

README = """
from rig import study

with study.open_job("job.sqlite") as job:
    floor = study.floor(job)
    print(f"{floor.range_mm:.1f} mm out of level, highest at x {floor.high.x_mm:.0f} mm")
    at = study.heights(job, x_mm=[500.0, 1500.0], y_mm=[500.0, 2000.0])
    print(at.z_mm, "mm over the line, give or take", at.stderr_mm)
    print(study.plan(job).bags.buy, "bags;", len(study.markers(job).markers), "markers")
    print(study.proof(job, "click-lock").verdict)
"""


@pytest.fixture
def planned(run: Run) -> Any:
    make(run, "planned")
    return run


def test_the_lines_of_the_readme_run(planned: Any) -> None:
    ran = subprocess.run(
        [sys.executable, "-c", README], capture_output=True, text=True, check=False
    )
    assert ran.stderr == ""
    first, second, third, fourth = ran.stdout.splitlines()
    assert "mm out of level, highest at" in first
    assert second.count("[") == 2
    assert third.endswith(" markers")
    assert fourth in ("in", "out", "unsure")


def test_answers_are_those_of_the_commands(planned: Any) -> None:
    """Called twice: nothing that the first call loads may take a function's place."""
    told = {
        "floor": planned("floor", "--json").json,
        "plan": planned("plan", "--json").json,
        "markers": planned("markers", "--json").json,
    }
    for _ in range(2):
        with study.open_job("job.sqlite") as job:
            assert study.floor(job).as_json() == told["floor"]
            assert study.plan(job).as_json() == told["plan"]
            assert study.markers(job).as_json() == told["markers"]


def test_heights_are_those_of_the_floor_at_its_points(planned: Any) -> None:
    places = np.array([[500.0, 600.0], [1500.0, 2200.0], [2500.0, 3300.0]])
    with study.open_job("job.sqlite") as job:
        points = study.floor(job, points=places).points
        heights = study.heights(job, *places.T)
    assert [point.z_mm for point in points] == pytest.approx(heights.z_mm)
    assert [point.stderr_mm for point in points] == pytest.approx(heights.stderr_mm)
    assert heights.as_json()["z_mm"] == heights.z_mm.tolist()


def test_a_job_is_opened_for_reading_unless_it_is_said(planned: Any) -> None:
    with study.open_job("job.sqlite") as job, pytest.raises(JobUnusable, match="reading only"):
        job.update_settings(job.settings)
    with study.open_job("job.sqlite", write=True) as job:
        job.update_settings(job.settings)


def test_the_library_loads_nothing_heavy_by_itself() -> None:
    code = "import sys; from rig import study; print('numpy' in sys.modules)"
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert ran.stdout.strip() == "False"
