"""What is said while something takes long: on a terminal only, and gone when it is done."""

import io
import time

import pytest

from rig.cli import progress
from tests.cli.conftest import Run


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_a_long_task_tells_its_seconds_and_leaves_no_trace(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(progress, "QUIET_S", 0.02)
    monkeypatch.setattr(progress, "STEP_S", 0.02)
    out = Terminal()
    with progress.working("Laying the edge", out):
        time.sleep(0.2)
    seen = out.getvalue()
    assert "Laying the edge … 0 s" in seen
    assert seen.endswith("\r\033[K")


def test_a_short_task_and_a_script_hear_nothing() -> None:
    out, pipe = Terminal(), io.StringIO()
    with progress.working("Quick", out):
        pass
    with progress.working("Piped", pipe):
        pass
    assert out.getvalue() == pipe.getvalue() == ""


def test_an_error_passes_and_the_line_goes(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(progress, "QUIET_S", 0.0)
    out = Terminal()
    try:
        with progress.working("Failing", out):
            time.sleep(0.05)
            raise ValueError
    except ValueError:
        assert out.getvalue().endswith("\r\033[K")
    else:
        raise AssertionError


def test_floor_draws_itself_in_characters(surveyed: Run) -> None:
    seen = surveyed("floor", "--why").out
    assert "^ high point, v low point" in seen
    assert "|" in seen
    assert "^ high" not in surveyed("floor", "--json").out
