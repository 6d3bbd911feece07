import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from simulated_devices import Refused
from simulated_devices.floor import floor_from_file
from simulated_devices.truth import TruthFile, floor_raster
from simulated_devices.world import make_world

from .scripted_tool import SettingTool, SurveyTool, lead

ROOM = (2400.0, 3000.0)
POINTS = [(f"A{n}", 400.0 + 700.0 * (n % 3), 400.0 + 800.0 * (n // 3)) for n in range(9)]


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, Any], SurveyTool]:
    path = tmp_path_factory.mktemp("truth") / "truth.json"
    world = make_world(seed=5, room_mm=ROOM, follow=True)
    file = TruthFile(path, world)
    before = json.loads(path.read_text())
    assert before["shots"] == before["markers"] == []
    survey = lead(world, SurveyTool(POINTS))
    lead(world, SettingTool([("M1", 700.0, 900.0), ("M2", 1900.0, 900.0)], 38.1))
    file.update()
    return path, json.loads(path.read_text()), survey


def test_it_says_that_it_is_invented(told: tuple[Path, dict[str, Any], SurveyTool]) -> None:
    assert told[1]["note"] == "simulated, invented"


def test_shots_readings_and_raster_agree(told: tuple[Path, dict[str, Any], SurveyTool]) -> None:
    path, truth, survey = told
    floor = floor_from_file(path)  # a truth file serves as a floor
    assert truth["room_mm"] == [floor.width_mm, floor.length_mm] == list(ROOM)
    shots = [shot for shot in truth["shots"] if not shot["undone"]]
    assert len(shots) == 9
    for shot in shots:
        # Between raster points lie seams and roughness of 0.15 mm.
        on_raster = float(floor.height_mm(shot["x_mm"], shot["y_mm"]))
        assert shot["floor_mm"] == pytest.approx(on_raster, abs=0.8)
        assert shot["true_reading_mm"] == pytest.approx(
            shot["line_mm"] - shot["floor_mm"], abs=2e-4
        )
        assert survey.readings[shot["label"]] == pytest.approx(shot["true_reading_mm"], abs=0.35)


def test_the_line_follows_from_its_parts(told: tuple[Path, dict[str, Any], SurveyTool]) -> None:
    line = told[1]["line"]
    for shot in told[1]["shots"]:
        drift = sum(
            wave["swing_mm"]
            * (
                np.sin(2 * np.pi * shot["time_s"] / wave["period_s"] + wave["phase_rad"])
                - np.sin(wave["phase_rad"])
            )
            for wave in line["drift"]
        )
        east = (shot["x_mm"] - line["laser_x_mm"]) / 1000
        north = (shot["y_mm"] - line["laser_y_mm"]) / 1000
        slope = line["slope_x_mm_per_m"] * east + line["slope_y_mm_per_m"] * north
        assert shot["line_mm"] == pytest.approx(drift + slope, abs=1e-3)


def test_set_markers_are_where_the_tool_read_them(
    told: tuple[Path, dict[str, Any], SurveyTool],
) -> None:
    markers = told[1]["markers"]
    assert [marker["label"] for marker in markers] == ["M1", "M2"]
    for marker in markers:
        assert marker["line_mm"] - marker["top_mm"] == pytest.approx(38.1, abs=1.3)


def test_an_undone_shot_is_struck_not_forgotten() -> None:
    world = make_world(seed=5, room_mm=ROOM, follow=True, mistakes=0.0)
    world.event({"event": "next", "label": "A1", "x_mm": 400.0, "y_mm": 400.0})
    world.step(6.0)
    world.event({"event": "shot", "label": "A1"})
    world.event({"event": "undone", "label": "A1"})
    assert [(shot.label, shot.undone) for shot in world.shots] == [("A1", True)]


def test_the_highest_floor_is_a_line_height_below_the_line() -> None:
    world = make_world(seed=5, room_mm=ROOM, line_over_floor_mm=44.45)
    assert np.max(floor_raster(world)["z_mm"]) == pytest.approx(-44.45, abs=0.3)


def test_a_truth_file_that_cannot_be_written_is_refused(tmp_path: Path) -> None:
    with pytest.raises(Refused, match="cannot be written"):
        TruthFile(tmp_path / "no" / "such" / "truth.json", make_world())
