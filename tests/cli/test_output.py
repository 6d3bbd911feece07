"""What the program meets outside itself: a pipe that closes, a full disk, a missing library."""

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from rig.job import Job


def rig(*words: str, without: str = "", **more: Any) -> "subprocess.CompletedProcess[str]":
    """Run the command line in a process of its own, as if some libraries were not there."""
    hidden = f"sys.modules.update(dict.fromkeys({without.split()!r})); "
    code = f"import sys; {hidden}from rig import main; main()"
    return subprocess.run(
        [sys.executable, "-c", code, *words], stderr=subprocess.PIPE, text=True, timeout=60, **more
    )


def test_who_reads_only_the_first_line_has_had_enough(tmp_path: Path) -> None:
    shell = f"{sys.executable} -m rig.cli rules --json | head -c 1; exit ${{PIPESTATUS[0]}}"
    ran = subprocess.run(["bash", "-c", shell], capture_output=True, text=True, cwd=tmp_path)
    assert (ran.returncode, ran.stderr) == (0, "")


def test_a_full_disk_under_the_output_is_said_in_a_sentence() -> None:
    with open("/dev/full", "w") as full:
        ran = rig("rules", stdout=full)
    assert ran.returncode == 2
    assert ran.stderr == "rig: the output cannot be written: No space left on device.\n"


def test_a_survey_goes_on_when_nobody_reads_it_any_more(surveyed: Callable[..., Any]) -> None:
    assert surveyed("grid").code == 0
    with Job.open("job.sqlite") as job:
        before = len(job.shots(kinds=["finished"]))
    command = [sys.executable, "-m", "rig.cli", "survey", "--typed", "--kind", "finished", "--json"]
    with subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as survey:
        assert survey.stdin is not None
        assert survey.stdout is not None
        survey.stdin.write("1200\n")
        survey.stdin.flush()
        survey.stdout.readline()
        survey.stdout.close()
        survey.stdin.write("1201\n1202\n1203\nq\n")
        survey.stdin.close()
        assert survey.stderr is not None
        told = survey.stderr.read()
    assert (survey.returncode, told) == (0, "")
    with Job.open("job.sqlite") as job:
        assert len(job.shots(kinds=["finished"])) == before + 4


@pytest.mark.parametrize(
    ("words", "library", "package"),
    [
        (("floor",), "scipy", "scipy"),
        (("report",), "fpdf", "fpdf2"),
        (("survey", "--serial", "loop://", "--serve"), "aiohttp", "aiohttp"),
        (("survey", "--ble", "Rod-1"), "bleak", "bleak"),
    ],
)
def test_a_missing_library_is_named(
    surveyed: Callable[..., Any], words: tuple[str, ...], library: str, package: str
) -> None:
    assert surveyed("grid").code == 0
    ran = rig(*words, without=library, stdout=subprocess.DEVNULL)
    assert ran.returncode == 2
    assert "Traceback" not in ran.stderr
    assert f"the library {library} is not installed" in ran.stderr
    assert f"pip install {package}" in ran.stderr


def test_what_a_command_does_not_need_may_be_missing(surveyed: Callable[..., Any]) -> None:
    without = "bleak aiohttp fpdf ezdxf serial segno re2 pymodbus jinja2"
    assert rig("plan", "--json", without=without, stdout=subprocess.DEVNULL).returncode == 0
    assert rig("floor", without=without, stdout=subprocess.DEVNULL).returncode == 0
