"""The service of the guide: it goes on where it should, and can do little else."""

import re
import shutil
import subprocess
from importlib.resources import files
from pathlib import Path

from rig.errors import BadInput, JobHeld, JobUnusable


def unit() -> str:
    chapter = (files("rig.guide") / "small.md").read_text()
    (found,) = re.findall(r"```ini\n(\[Unit\].*?)```", chapter, re.S)
    return str(found)


def test_a_job_that_is_only_held_stops_the_service_no_more_than_a_lost_rod() -> None:
    (final,) = re.findall(r"^RestartPreventExitStatus=(.*)$", unit(), re.M)
    assert {int(code) for code in final.split()} == {BadInput.exit_code, JobUnusable.exit_code}
    assert str(JobHeld.exit_code) not in final.split()


def test_the_service_is_told_apart_by_the_start_of_the_computer() -> None:
    """The id of a start is read in /proc/sys, which a subset of /proc would hide."""
    assert "ProcSubset" not in unit()


def test_the_service_is_exposed_to_little(tmp_path: Path) -> None:
    """By the weights of systemd-analyze(1), where it is installed; else by what counts most."""
    for line in ("CapabilityBoundingSet=", "NoNewPrivileges=yes", "ProtectSystem=strict"):
        assert line in unit().splitlines()
    tool = shutil.which("systemd-analyze")
    if tool is not None:
        made = tmp_path / "rig-survey.service"
        made.write_text(unit())
        words = [tool, "security", "--offline=true", "--no-pager", str(made)]
        told = subprocess.run(words, capture_output=True, text=True, check=False).stdout
        (level,) = re.findall(r"Overall exposure level for \S+: ([\d.]+)", told)
        assert float(level) <= 3.0
