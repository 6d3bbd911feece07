"""What comes from elsewhere is data: nothing in it runs, and no path in it is opened."""

import ast
import builtins
import contextlib
import csv
import io
import os
import sqlite3
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest

from rig.devices import trace
from rig.devices.profile import load_profile, parse_profile
from rig.drawing.svg import to_svg
from rig.drawing.vector import Drawing, Text
from rig.errors import JobUnusable, RigError
from rig.flatness.rules import parse_rule
from rig.job import Job
from rig.job.settings import Settings
from rig.texts import harmless, shortened
from tests.cli.conftest import Run
from tests.cli.conftest import run as run

ROOT = Path(__file__).parents[1]
FORBIDDEN_CALLS = {"eval", "exec", "compile", "__import__", "system", "popen", "load_extension"}
FORBIDDEN_MODULES = {"pickle", "marshal", "shelve", "yaml", "dill", "ctypes", "runpy"}


def test_the_program_runs_no_text() -> None:
    for path in (ROOT / "rig").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text())):
            where = f"{path.relative_to(ROOT)}:{getattr(node, 'lineno', 0)}"
            if isinstance(node, ast.Call):
                called = getattr(node.func, "id", None) or getattr(node.func, "attr", None)
                regular = isinstance(node.func, ast.Attribute) and ast.unparse(node.func) in (
                    "re.compile",
                    "re2.compile",
                )
                assert regular or called not in FORBIDDEN_CALLS, where
                assert all(keyword.arg != "shell" for keyword in node.keywords), where
            names = [alias.name for alias in getattr(node, "names", []) if hasattr(alias, "name")]
            module = getattr(node, "module", None) if isinstance(node, ast.ImportFrom) else None
            for name in [*names, module or ""]:
                if (path.name, name) == ("memory.py", "ctypes"):  # two calls of the C library
                    continue
                assert name.partition(".")[0] not in FORBIDDEN_MODULES, where


@pytest.fixture
def no_other_file(monkeypatch: pytest.MonkeyPatch) -> Any:
    """Any file that is opened by name from now on is a failure, but for those named here."""
    allowed: list[str] = []
    usual, usual_os = io.open, os.open

    def guarded(file: Any, *more: Any, **options: Any) -> Any:
        assert isinstance(file, int) or str(file) in allowed, f"{file} was opened"
        return usual(file, *more, **options)

    def guarded_os(file: Any, *more: Any, **options: Any) -> Any:
        assert str(file) in allowed, f"{file} was opened"
        return usual_os(file, *more, **options)

    monkeypatch.setattr(builtins, "open", guarded)
    monkeypatch.setattr(io, "open", guarded)
    monkeypatch.setattr(os, "open", guarded_os)
    return allowed


SENTENCE = load_profile("sentence").text_toml
ESCAPES = ["../../etc/passwd", "/etc/passwd", "file:///etc/passwd", "~/.ssh/id_rsa", "a\x00b"]


@pytest.mark.parametrize("path", ESCAPES)
def test_no_path_in_a_profile_or_a_rule_is_opened(path: Any, no_other_file: Any) -> None:
    shown = path.replace("\x00", "\\u0000")
    profile = (
        f'text = "{shown}"\nframing = "line"\nunit = "mm"\n[line]\npattern = "(?P<value>.*)"\n'
    )
    assert parse_profile(profile, path).text == path
    rule = f'text = "{shown}"\nmeasure = "straightedge"\n'
    rule += "[straightedge]\nlengths_mm = [2000]\nlimits_mm = [3]\n"
    assert parse_rule(rule, path).text == path


@pytest.mark.parametrize("path", ESCAPES)
def test_no_path_in_a_trace_is_opened(path: Any, tmp_path: Path, no_other_file: Any) -> None:
    file = tmp_path / "a.trace"
    no_other_file.append(str(file))
    file.write_text(
        f'floor-rig trace 1\nkey = "{path}"\nstarted = 2026-01-01T00:00:00Z\n'
        f"profile = '''\n{SENTENCE}'''\n---\n0.050000\t$U0HGT,1,1234.5,mm,V*48\n".replace(
            "\x00", "\\u0000"
        )
    )
    assert len(list(trace.replay(trace.read_trace(file)))) == 1


@pytest.mark.parametrize("label", [*ESCAPES[:4], "'); DROP TABLE shot; --"])
def test_a_label_is_a_label_whatever_it_says(label: str, tmp_path: Path) -> None:
    walls = [(0.0, 0.0), (3000.0, 0.0), (3000.0, 4000.0), (0.0, 4000.0)]
    with Job.create(tmp_path / "job.sqlite", Settings(), walls) as job:
        row = {"point": label, "x_mm": 1.0, "y_mm": 2.0, "reading_mm": 3.0, "stderr_mm": 0.1}
        job.import_shots([row])
        assert [shot.point for shot in job.shots()] == [label]
    assert sorted(path.name for path in tmp_path.iterdir()) == ["job.sqlite", "job.sqlite.lock"]


def test_a_profile_named_by_a_directory_or_nothing_is_refused(tmp_path: Path) -> None:
    for name in (str(tmp_path), "", "../nowhere.toml", "a\x00b"):
        with pytest.raises(RigError):
            load_profile(name)


HOSTILE = ["=cmd|' /C calc'!A0", "@SUM(1)", "+1", "-1", "a\x1b[31mb", "a\u202eb", "x" * 65, "a\tb"]


@pytest.mark.parametrize("label", HOSTILE)
def test_a_label_that_would_steer_something_is_refused_at_entry(label: str, run: Run) -> None:
    run("new", "--room", "3m,4m", "--units", "mm")
    with open("t.csv", "w", newline="") as file:
        csv.writer(file).writerows([["label", "x", "y", "reading"], [label, 200, 200, 1200]])
    taken = run("import", "t.csv", "--unit", "mm")
    assert taken.code == 2
    assert "line " in taken.err
    assert harmless(taken.err) == taken.err
    for words in (("--kind", "benchmark", "--label", label), ("--setup", label)):
        done = run("survey", "--typed", *words, typed="1200mm\n")
        assert done.code == 2
        assert harmless(done.err) == done.err
    assert run("import", "t.csv", "--unit", "mm").code == 2


@pytest.mark.parametrize("label", [*HOSTILE[:6], "\0", "x" * 1_000_000])
def test_a_label_in_an_old_job_is_harmless_in_what_is_written(label: str, run: Run) -> None:
    walls = [(0.0, 0.0), (3000.0, 0.0), (3000.0, 4000.0), (0.0, 4000.0)]
    with Job.create(Path("job.sqlite"), Settings(units="mm"), walls) as job:
        measured = {"reading_mm": 1200.0, "stderr_mm": 0.1}
        places = [(300.0 + 800.0 * (n % 4), 300.0 + 850.0 * (n // 4)) for n in range(16)]
        labels = [label, *[f"P{n}" for n in range(1, 16)]]
        job.import_shots(
            [
                {"point": name, "x_mm": x, "y_mm": y, **measured}
                for name, (x, y) in zip(labels, places, strict=True)
            ]
        )
    done = run("export", "--format", "csv", "--json")
    assert done.code == 0, done.err
    (path,) = done.json["files"]
    cells = [cell for row in csv.reader(open(path, newline="")) for cell in (row[0], row[-2])]
    assert not any(cell.startswith(("=", "+", "-", "@")) for cell in cells)
    assert all(harmless(cell) == cell for cell in cells)


def test_what_cannot_be_seen_breaks_no_drawing_and_no_page() -> None:
    drawing = Drawing(100.0, 100.0, (Text(1.0, 1.0, "e\ud800f"),), "a\x1bb", "c\0d")
    svg = to_svg(drawing)
    ElementTree.fromstring(svg)
    assert harmless(svg) == svg


def test_a_name_that_a_rod_gives_itself_is_made_fit_to_be_shown() -> None:
    assert shortened("Rod\x1b]0;owned\x07\u202e" + "x" * 100) == "Rod?]0;owned??" + "x" * 50


@pytest.mark.parametrize("label", ["\x1b]0;owned\x07A", "a\u202eb", "\x9b31m" + "x" * 1_000_000])
def test_a_label_in_an_old_job_steers_no_terminal_in_live_work(label: str, run: Run) -> None:
    run("new", "--room", "3m,4m", "--units", "mm", "--min-cover", "6mm")
    with Job.open("job.sqlite", write=True) as job:
        job.set_points([(label, 500.0, 500.0, 1), ("B1", 900.0, 900.0, 2)])
        job.import_shots(
            [
                {"point": f"P{n}", "setup": label, "x_mm": x, "y_mm": y, **MEASURED}
                for n, (x, y) in enumerate([(500.0, 900.0), (900.0, 500.0), (2000.0, 3000.0)])
            ]
        )
    done = run("survey", "--typed", "--unit", "mm", "--setup", "2", typed="1200\nu\ns\nq\n")
    assert done.code == 0, done.err
    listed = run("undo", "--list")
    for told in (done.out, done.err, listed.out):
        assert harmless(told) == told
        assert len(told) < 10_000


MEASURED = {"reading_mm": 1200.0, "stderr_mm": 0.1}
ODD_SETTINGS = [
    "[]", "null", '"x"', "{", "[" * 100_000, '{"units": 5}', '{"a": ' + "9" * 5000 + "}",
    '{"units": [1]}', '{"max_cover_mm": "x"}', '{"typed_unit": {}}', '{"floor": []}',
    '{"denominator": "a"}', '{"wall_names": 3}', '{"product": [1]}', '{"laser_tilt": "x"}',
]  # fmt: skip


def test_what_a_job_keeps_beside_its_columns_ends_in_a_sentence(run: Run) -> None:
    run("new", "--room", "3m,4m", "--units", "mm", "--min-cover", "6mm")
    for odd in ODD_SETTINGS:
        with contextlib.closing(sqlite3.connect("job.sqlite")) as file, file:
            file.execute("UPDATE job SET other = ?", (odd,))
        with Job.open("job.sqlite") as job:
            said = ""
            try:  # a column is not overruled from beside it
                kept = (job.settings.units, job.settings.min_cover_mm)
            except JobUnusable as error:
                kept, said = ("mm", 6.0), str(error)
            assert kept == ("mm", 6.0)
            assert not said or "is damaged" in said or "is not as floor-rig writes it" in said


def test_long_texts_of_a_profile_or_a_rule_are_refused() -> None:
    with pytest.raises(RigError, match="longer than 2000 characters"):
        parse_profile(SENTENCE.replace('text = "', 'text = "' + "x" * 2000, 1), "p")
    rule = f'text = "{"x" * 2001}"\nmeasure = "straightedge"\n'
    with pytest.raises(RigError, match="longer than 2000 characters"):
        parse_rule(rule + "[straightedge]\nlengths_mm = [2000]\nlimits_mm = [3]\n", "r")
