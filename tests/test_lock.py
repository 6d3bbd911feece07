"""The locks pin what the program and its tests need, nothing without a hash, and are up to date."""

import re
import subprocess
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
EXTRAS = ("site", "office", "postgres", "fleet")
LOCKS = ("requirements.lock", *(f"requirements-{name}.lock" for name in ("dev", *EXTRAS)))


def pinned(lock: str) -> dict[str, str]:
    text = (ROOT / "tools" / lock).read_text()
    entries = re.findall(
        r"^([a-z0-9.-]+)==([^\s;]+)(?: ; [^\\]+)?((?: *\\\n    --hash=sha256:[0-9a-f]{64})+)",
        text,
        re.M,
    )
    assert len(entries) == len(re.findall(r"^[^\s#]", text, re.M))
    return {name: version for name, version, _ in entries}


@pytest.mark.parametrize("lock", LOCKS)
def test_every_dependency_and_the_build_are_pinned_with_hashes(lock: str) -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())
    found = pinned(lock)
    for requirement in project["project"]["dependencies"] + project["build-system"]["requires"]:
        name = re.split(r"[>=\[]", requirement)[0]
        assert name in found, f"{name} is not locked: run tools/lock"


def test_the_tests_own_packages_are_pinned_too() -> None:
    extras = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    for requirement in extras["optional-dependencies"]["dev"]:
        assert re.split(r"[>=\[]", requirement)[0] in pinned("requirements-dev.lock")


@pytest.mark.parametrize("extra", EXTRAS)
def test_an_extras_packages_are_pinned_for_those_who_want_it(extra: str) -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    for requirement in project["optional-dependencies"][extra]:
        name = re.split(r"[>=\[]", requirement)[0]
        assert name in pinned(f"requirements-{extra}.lock")
        assert name in pinned("requirements-dev.lock")


def test_a_lock_that_pyproject_has_left_behind_is_named(tmp_path: Path) -> None:
    (tmp_path / "tools").mkdir()
    for name in ("lock", *LOCKS):
        (tmp_path / "tools" / name).write_bytes((ROOT / "tools" / name).read_bytes())
    text = (ROOT / "pyproject.toml").read_text()
    (tmp_path / "pyproject.toml").write_text(text)
    check = ["bash", "tools/lock", "--check"]
    assert subprocess.run(check, cwd=tmp_path).returncode == 0
    (tmp_path / "pyproject.toml").write_text(text.replace('"numpy>=', '"numpy>1,>='))
    told = subprocess.run(check, cwd=tmp_path, capture_output=True, text=True)
    assert told.returncode == 1
    assert "does not stand for pyproject.toml any more: run tools/lock" in told.stderr


def test_the_licence_of_every_library_is_listed() -> None:
    text = (ROOT / "rig" / "licences.md").read_text()
    listed = dict(re.findall(r"^\| ([a-z0-9.-]+) \| (.+) \|$", text, re.M))
    assert set(pinned("requirements.lock")) <= set(listed), "run tools/licences"
    assert "LGPL" in listed["fpdf2"]
