"""Two rooms, three set-ups of the laser, one simulated rod: from the first sight to the markers.

An L of two rooms with a corner that hides one from the other: set-up 1 sees the south, set-up 2
stands in the corner, set-up 3 sees the wing. BM1 is seen from 1 and 2, BM2 from 2 and 3.
"""

import csv
import json
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from simulated_devices.floor import make_floor
from tests.bluetooth import rig, simulated

SPEED, SETTING_SPEED = "25", "12"
WIDE_MM, LONG_MM = 4000.0, 4000.0
# What the laser's line lies over the floor's highest place at each set-up, and where it stands.
SETUPS = {
    "1": (45.0, (1000.0, 900.0)),
    "2": (71.0, (1000.0, 3000.0)),
    "3": (58.0, (3200.0, 3200.0)),
}
MARKS = {"BM1": (60.0, 2000.0), "BM2": (2000.0, 3940.0)}
SEES = {"1": ["BM1"], "2": ["BM1", "BM2"], "3": ["BM2"]}


@contextmanager
def rod(setup: Any, folder: Any, speed: str = SPEED) -> Iterator[Any]:
    line_mm, (x, y) = SETUPS[setup]
    points = folder / "marks.csv"
    with points.open("w", newline="") as file:
        rows = csv.writer(file)
        rows.writerow(["label", "x_mm", "y_mm"])
        rows.writerows([label, *place] for label, place in MARKS.items())
    words = ["--seed", "5", "--rate", "20", "--speed", speed, "--follow", "--mistakes", "0"]
    words += ["--room-mm", f"{WIDE_MM},{LONG_MM}", "--laser-mm", f"{x},{y}"]
    words += ["--line-mm", f"{line_mm}", "--points", str(points)]
    words += ["--truth", str(folder / f"truth-{setup}.json")]
    with simulated("serial", *words) as one:
        yield one


def room_of(x: Any, y: Any) -> Any:
    """The set-up that sees a point."""
    if x < 2000.0:
        return "1" if y < 2000.0 else "2"
    return "3"


@pytest.mark.timeout(300)
def test_two_rooms_with_three_setups(tmp_path: Path) -> None:
    job = ["--job", tmp_path / "job.sqlite", "--json"]
    assert rig("new", "--outline", outline(tmp_path), "--unit", "mm", "--units", "mm",
               "--min-cover", "6mm", *job)[0] == 0  # fmt: skip
    points = rig("grid", "--spacing", "1m", "--edge", "200mm", *job)[1][0]["points"]

    def survey(one: Any, *words: Any) -> Any:
        return rig("survey", *one.source, "--speed", SPEED, *words, *job, rod=one)

    for setup in SETUPS:
        with rod(setup, tmp_path) as one:
            for mark in SEES[setup]:
                words = ["--kind", "benchmark", "--label", mark, "--setup", setup]
                assert survey(one, *words)[0] == 0
            mine = [p["label"] for p in points if room_of(p["x_mm"], p["y_mm"]) == setup]
            labels = [word for label in mine for word in ("--label", label)]
            code, told, err = survey(one, *labels)
            assert code == 0, (err, told[-12:])
            # Each set-up goes back to a benchmark of its own at the end, and stands.
            assert [e["ok"] for e in told if e["event"] == "checked"] == [True]
            assert sorted(e["label"] for e in told if e["event"] == "shot") == sorted(mine)

    floor = rig("floor", "--points", corners(tmp_path), "--unit", "mm", *job)[1][0]
    assert floor["shots"] == len(points)
    lines = {line["setup"]: line for line in floor["setups"]}
    first = SETUPS["1"][0]
    for setup, (line_mm, _) in SETUPS.items():
        off = lines[setup]["line_mm"] - (line_mm - first)
        assert abs(off) < 0.3 + 3.0 * lines[setup]["stderr_mm"]
    # Both rooms hang together: heights in all against the simulator's floor, one datum.
    truth = make_floor(5, WIDE_MM, LONG_MM, "subfloor")
    off = [
        p["z_mm"] - (float(truth.height_mm(p["x_mm"], p["y_mm"])) - truth.highest_mm() - first)
        for p in floor["points"]
    ]
    assert np.max(np.abs(off)) < 2.0

    plan = rig("plan", *job)[1][0]
    assert plan["chance_min_cover"] >= 0.95
    markers = rig("markers", "--reach", "1500mm", *job)[1][0]["markers"]
    with rod("3", tmp_path, SETTING_SPEED) as one:
        wing = next(m for m in markers if room_of(m["x_mm"], m["y_mm"]) == "3")
        code, told, err = rig(
            "set", *one.source, "--speed", SETTING_SPEED, "--setup", "3",
            "--marker", wing["label"], *job, rod=one, timeout=120,
        )  # fmt: skip
    assert code == 0, err
    checked = next(e for e in told if e["event"] == "checked")
    assert checked["ok"]  # the line of set-up 3 is known, though none of its benchmarks is of 1
    assert len([e for e in told if e["event"] == "set"]) == len(markers)
    rows = json.loads((tmp_path / "truth-3.json").read_text())["markers"]
    own = SETUPS["3"][0]
    for row in rows:
        if row["unset"]:
            continue
        # Tops against the plane, both over the floor's datum; lasers tilt a little, each its own.
        plane = plan["plane"]["a"] + first
        assert row["top_mm"] + own == pytest.approx(plane, abs=2.0)


def outline(folder: Any) -> Any:
    path = folder / "rooms.wkt"
    path.write_text("POLYGON ((0 0, 2000 0, 2000 2000, 4000 2000, 4000 4000, 0 4000, 0 0))")
    return path


def corners(folder: Any) -> Any:
    path = folder / "corners.csv"
    path.write_text("x,y\n1000,500\n1000,1500\n1000,2500\n1000,3500\n2500,3000\n3500,3500\n")
    return path
