"""What the program meets outside itself: a pipe that closes, a full disk, a missing library."""

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest


def rig(*words: str, without: str = "", **more: Any) -> "subprocess.CompletedProcess[str]":
    """Run the command line in a process of its own, as if a library were not there."""
    hidden = f"sys.modules[{without!r}] = None; " if without else ""
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


@pytest.mark.parametrize("library", ["bleak", "aiohttp", "fpdf", "ezdxf", "serial", "segno"])
def test_what_a_command_does_not_need_may_be_missing(
    surveyed: Callable[..., Any], library: str
) -> None:
    assert rig("plan", "--json", without=library, stdout=subprocess.DEVNULL).returncode == 0
