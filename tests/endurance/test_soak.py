"""Hours of readings leave memory and descriptors as they were; the log stops where told."""

from pathlib import Path
from typing import Any

import pytest

from rig.job import Job
from tools.endurance.soak import soak


def test_nothing_grows_but_the_log(tmp_path: Path) -> None:
    report = soak(3, tmp_path, per_hour_s=600)
    first, last = report.hours[0], report.hours[-1]
    assert last.descriptors == first.descriptors
    assert last.memory_mb - first.memory_mb < 3.0
    assert 4.0 < report.file_mb_per_hour < 12.0


def test_the_log_stops_at_the_limit_and_shots_go_on(tmp_path: Path) -> None:
    limit = 400_000
    report = soak(2, tmp_path, most_bytes=limit, per_hour_s=600)
    first, last = report.hours
    assert last.shots > first.shots
    assert last.file_mb * 1e6 < limit + 100_000
    with Job.open(tmp_path / "soak.sqlite") as job:
        assert len(job.shots()) == last.shots
        (event,) = job.events(["log full"])
    assert "0.4 MB" in event.data["text"]


@pytest.mark.parametrize("size", ["200", "MB", "0MB", "-1MB", "1e9GB", "nanMB", "1TB"])
def test_a_size_that_is_none_is_refused(size: Any) -> None:
    import click

    from rig.cli.options import Size

    with pytest.raises(click.BadParameter, match="is no size"):
        Size().convert(size, None, None)
