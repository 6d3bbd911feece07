"""Live work fits a palm-sized computer, and the wheel installs there without a compiler."""

import subprocess
import sys
from pathlib import Path

import pytest

from rig.language import LANGUAGES
from tools.endurance import small


@pytest.mark.timeout(120)
def test_live_work_fits_one_core_and_little_memory(tmp_path: Path) -> None:
    for use in small.measure(tmp_path, seconds=1.5):
        assert use.memory_mb <= use.most_mb, use
        assert use.share < 3 * small.MOST_SHARE, use  # the machine that tests may be busy
        if use.name != "picture":
            assert "scipy" not in use.loaded


@pytest.mark.timeout(120)
def test_the_wheel_is_pure_python_and_runs_from_elsewhere(tmp_path: Path) -> None:
    made = small.wheel(tmp_path)
    assert made.endswith("-py3-none-any.whl")
    target = tmp_path / "installed"
    words = ["install", "--quiet", "--no-deps", "--no-index", "--target", str(target)]
    subprocess.run([sys.executable, "-m", "pip", *words, str(tmp_path / made)], check=True)
    for name in ("rig/devices/profiles/sentence.toml", "rig/flatness/rules/e1155.toml"):
        assert (target / name).is_file()
    languages = target / "rig" / "words" / "languages"
    assert len(list(languages.glob("*/LC_MESSAGES/rig.mo"))) == len(LANGUAGES) - 1
    assert not list(languages.glob("*/LC_MESSAGES/rig.po"))
    said = "import rig.cli, rig.language as l; print(rig.cli.__file__); l.speak('de'); "
    said += "print(l.shown(l.say('No walls yet.'))); rig.cli.main(['rules'])"
    told = subprocess.run(
        [sys.executable, "-c", said],
        capture_output=True, text=True, check=True, cwd=tmp_path, env={"PYTHONPATH": str(target)},
    ).stdout  # fmt: skip
    assert told.startswith(str(target))
    assert "din18202-1" in told
    assert "Noch keine Wände." in told
