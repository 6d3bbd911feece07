"""The whole job over a real pseudo-terminal, held against the simulated truth."""

import json
import os
import subprocess
import sys

import pytest


@pytest.mark.timeout(240)
def test_the_demo_ends_near_its_truth(tmp_path):
    ran = subprocess.run(
        [sys.executable, "-m", "rig.cli", "demo", "--seed", "3", "--out", str(tmp_path), "--json"],
        capture_output=True,
        text=True,
        timeout=200,
    )
    assert ran.returncode == 0, ran.stderr
    told = json.loads(ran.stdout)
    result, truth, apart = told["result"], told["truth"], told["apart"]
    assert result["markers_set"] >= 6
    assert apart["markers_worst_mm"] < 1.0
    assert apart["shots_worst_mm"] < 0.6
    half = (result["volume_l"]["high"] - result["volume_l"]["low"]) / 2
    assert abs(apart["volume_l"]) < 2 * half  # four standard deviations: a broken run, not bad luck
    assert truth["min_cover_mm"] > 6.35 - 1.0
    assert truth["bags"] <= result["bags"]["p95"] + 1
    assert all(os.path.exists(path) for path in told["files"])
    names = {os.path.basename(path) for path in told["files"]}
    assert {"report.html", "report.pdf", "report-floor.svg", "floor.dxf", "shots.csv"} <= names
