"""`tools/box`, looked at: what it would write and do, and what it would take away again."""

import re
import shutil
import subprocess
from pathlib import Path

BOX = Path(__file__).parent.parent / "tools" / "box"


def box(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(["bash", str(BOX), *words], capture_output=True, text=True)


def test_a_dry_run_shows_a_unit_that_systemd_takes_and_does_nothing(tmp_path: Path) -> None:
    told = box("--dry-run", "--hotspot", "Floor box").stdout
    (found,) = re.findall(
        r"^\+ write \S+/system/floor-rig\.service\n((?:    .*\n|\n)+)", told, re.M
    )
    unit = re.sub(r"^    ", "", found, flags=re.M)
    for line in ("Restart=always", "NoNewPrivileges=yes", "CapabilityBoundingSet=", "UMask=0077"):
        assert line in unit.splitlines()
    assert "ssid Floor box" in told
    made = tmp_path / "floor-rig.service"
    made.write_text(re.sub(r"^ExecStart=\S+", "ExecStart=/bin/true", unit, flags=re.M))
    tool = shutil.which("systemd-analyze")
    if tool is not None:
        verified = subprocess.run([tool, "verify", str(made)], capture_output=True, text=True)
        assert "floor-rig.service" not in verified.stderr
    for path in ("/opt/floor-rig", "/etc/systemd/system/floor-rig.service"):
        assert not Path(path).exists()


def test_what_is_made_is_taken_away_again() -> None:
    made = set(re.findall(r"^\+ write (\S+)", box("--dry-run").stdout, re.M))
    gone = set(re.findall(r"^\+ rm -r?f (\S+)", box("--undo", "--dry-run").stdout, re.M))
    assert made
    assert made <= gone
    assert not any("/var/lib" in path for path in gone)  # the jobs stay


def test_a_name_that_is_none_and_an_option_there_is_not_are_refused() -> None:
    assert box("--dry-run", "--hotspot", "a; rm -rf /").returncode == 2
    assert box("--dry-run", "--nothing").returncode == 2
