"""The lock pins what the program needs, and nothing without a hash."""

import re
import tomllib
from pathlib import Path

ROOT = Path(__file__).parents[1]


def test_every_dependency_is_pinned_with_hashes():
    text = (ROOT / "tools" / "requirements.lock").read_text()
    entries = re.findall(
        r"^([a-z0-9.-]+)==(\S+)((?: \\\n    --hash=sha256:[0-9a-f]{64})+)", text, re.M
    )
    pinned = {name: version for name, version, _ in entries}
    assert len(pinned) == len(re.findall(r"^[^\s#]", text, re.M))
    needed = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]["dependencies"]
    for requirement in needed:
        name, _, least = requirement.partition(">=")
        assert name in pinned, f"{name} is not locked: run tools/lock"
        assert _version(pinned[name]) >= _version(least), f"{name}: run tools/lock"


def _version(text):
    return [int(part) for part in re.findall(r"\d+", text)]
