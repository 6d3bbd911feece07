"""`rig copy` beside a survey, and what a survey that was killed leaves in its one file."""

import json
import shutil
import signal
import subprocess
import sys
from pathlib import Path

from tests.cli.conftest import Run


def test_a_killed_survey_leaves_every_shot_in_the_one_file(run: Run, tmp_path: Path) -> None:
    run("new", "--room", "4m,5m", "--units", "mm")
    run("grid")
    with subprocess.Popen(
        [sys.executable, "-m", "rig.cli", "survey", "--typed", "--json"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        cwd=tmp_path,
    ) as survey:
        assert survey.stdin is not None
        assert survey.stdout is not None
        told: list[str] = []
        for n in range(8):
            survey.stdin.write(f"{1200 + n}\n")
            survey.stdin.flush()
            for line in survey.stdout:
                event = json.loads(line)
                if event["event"] == "shot":
                    told.append(event["label"])
                    break
            alone = tmp_path / f"alone{n}.sqlite"
            shutil.copyfile(tmp_path / "job.sqlite", alone)
        done = run("copy", tmp_path / "safe.sqlite", "--json")
        survey.send_signal(signal.SIGKILL)
    assert done.json == {"file": str(tmp_path / "safe.sqlite"), "shots": 8}
    for n in (0, 7):
        csv = run("export", "--job", tmp_path / f"alone{n}.sqlite", "--out", tmp_path / f"out{n}")
        assert csv.code == 0
        rows = (tmp_path / f"out{n}" / "shots.csv").read_text().splitlines()[1:]
        assert [row.split(",")[0] for row in rows] == told[: n + 1]
    (tmp_path / "job.sqlite-wal").unlink()
    named = run("floor")
    assert "job.sqlite-wal is missing" in named.err


def test_a_copy_into_a_folder_keeps_the_name_and_replaces_nothing(run: Run, tmp_path: Path) -> None:
    run("new", "--room", "4m,5m", "--units", "mm")
    (tmp_path / "stick").mkdir()
    assert run("copy", "stick").out == f"0 shots copied to {tmp_path}/stick/job.sqlite\n"
    again = run("copy", "stick")
    assert again.code == 2
    assert "there is a file at" in again.err
