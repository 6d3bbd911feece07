"""Run the command line in this process and see what a user would: exit code, output, errors."""

import io
import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

import pytest

from rig.cli import main


@dataclass
class Outcome:
    code: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        return json.loads(self.out)

    @property
    def events(self) -> list[dict[str, Any]]:
        return [json.loads(line) for line in self.out.splitlines()]


class Run(Protocol):
    """Run a command line."""

    def __call__(self, *words: object, typed: str | None = None) -> Outcome: ...


Table = Callable[..., Path]


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]) -> Run:
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("RIG_JOB", raising=False)
    monkeypatch.delenv("COLUMNS", raising=False)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))

    def call(*words: object, typed: str | None = None) -> Outcome:
        if typed is not None:
            monkeypatch.setattr("sys.stdin", io.StringIO(typed))
        with pytest.raises(SystemExit) as ended:
            main([str(word) for word in words])
        out, err = capfd.readouterr()
        assert "Traceback" not in err
        code = ended.value.code
        assert isinstance(code, int)
        return Outcome(code, out, err)

    return call


@pytest.fixture
def table(tmp_path: Path) -> Table:
    """Write a CSV and return its path."""

    def write(text: str, name: str = "shots.csv") -> Path:
        path = tmp_path / name
        path.write_text(text)
        return path

    return write


@pytest.fixture
def surveyed(run: Run, table: Table) -> Run:
    """A job of a metric room, 3 m by 4 m, with a table of shots on a gently warped floor."""
    assert run("new", "--room", "3m,4m", "--units", "mm", "--min-cover", "6mm").code == 0
    rows = [
        f"P{i}{j},{200 + i * 650},{200 + j * 720},{1200 + 3 * i - 2 * j + (i * j) % 3},0.3"
        for i in range(5)
        for j in range(6)
    ]
    path = table("label,x,y,reading,stderr\n" + "\n".join(rows) + "\n", "floor.csv")
    assert run("import", path, "--unit", "mm").code == 0
    return run
