"""Whoever has no office has none of its libraries; whoever wants one hears what to install."""

import subprocess
import sys

import pytest

from tests.cli.conftest import Run


@pytest.mark.parametrize("library", ["obstore", "zstandard"])
def test_a_missing_library_is_named_with_its_extra(
    run: Run, monkeypatch: pytest.MonkeyPatch, library: str
) -> None:
    assert run("new", "--room", "3m,4m", "--units", "mm").code == 0
    monkeypatch.setitem(sys.modules, library, None)
    told = run("hand-in", "job.sqlite", "--to", ".")
    assert told.code == 2
    assert library in told.err
    assert "floor-rig[office]: bash tools/setup office" in told.err


def test_no_other_command_loads_any_of_it() -> None:
    libraries = [
        "obstore",
        "deltalake",
        "duckdb",
        "zstandard",
        "distributed",
        "dask",
        "statsmodels",
        "pandas",
    ]
    code = (
        "import sys\nfrom rig.cli import rig as every, COMMANDS\nimport rig.study.plan_answer\n"
        "[every.get_command(None, name) for name in COMMANDS]\n"
        f"print([name for name in {libraries} if name in sys.modules])"
    )
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert told.stdout == "[]\n"
