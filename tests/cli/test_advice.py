import math
from pathlib import Path

import pytest

from tests.cli.conftest import Run, Table


def test_closer_points_cost_less_safety(run: Run) -> None:
    run("new", "--room", "3.6m,4.5m", "--units", "mm", "--bag-yield", "12l", "--waste", "5%")
    told = run("grid", "--advise", "--spacing", "0.7m", "--json")
    assert told.code == 0, told.err
    rows = told.json["advise"]
    assert [row["spacing_mm"] for row in rows] == [450, 600, 700, 900, 1200, 1800]
    assert [row["points"] for row in rows] == sorted((row["points"] for row in rows), reverse=True)
    safety = [row["safety_mm"] for row in rows]
    assert safety[0] < safety[3] < safety[5]
    assert 0.2 < safety[3] < 4.0
    for row in rows:  # a millimetre over 16.2 m² is 16.2 l, and 5 % more for waste
        assert row["safety_bags"] == pytest.approx(row["safety_mm"] * 16.2 * 1.05 / 12)
    assert "no source" in told.json["assumed"]
    # It only tells: there is no grid yet.
    assert run("survey", "--typed", typed="").code == 1


def test_a_floor_that_was_shot_is_taken_as_it_is(surveyed: Run) -> None:
    assert "like this one" in surveyed("grid", "--advise").out


def test_the_suggested_shots_say_what_they_save_and_stop_when_none_is_worth_it(
    run: Run, table: Table
) -> None:
    run("new", "--room", "3m,4m", "--units", "mm", "--bag-yield", "12l", "--min-cover", "6mm")

    def rows(step: int, name: str) -> Path:
        lines = ["label,x,y,reading,stderr"]
        n = 0
        for x in range(150, 2851, step):
            for y in range(150, 3851, step):
                reading = 1200 - 6 * math.cos((x - 1500) / 600) * math.cos((y - 2000) / 700)
                lines.append(f"P{n},{x},{y},{reading:.2f},0.1")
                n += 1
        return table("\n".join(lines) + "\n", name)

    assert run("import", rows(1350, "few.csv"), "--unit", "mm").code == 0
    few = run("floor", "--json").json
    assert few["next"]
    assert all(shot["bags"] >= 0.1 for shot in few["next"])
    assert few["next"][0]["plane_mm"] > 0
    run("new", "--job", "many.sqlite", "--room", "3m,4m", "--units", "mm", "--bag-yield", "12l")
    run("import", "--job", "many.sqlite", rows(225, "many.csv"), "--unit", "mm")
    many = run("floor", "--job", "many.sqlite", "--json").json
    assert many["next"] == []
    assert "no longer worth the walk" in run("floor", "--job", "many.sqlite").out


def test_a_place_beside_the_grid_is_shot_by_a_name_of_its_own(run: Run) -> None:
    run("new", "--room", "2m,2m", "--units", "mm")
    points = run("grid", "--json").json["points"]
    shot = run("survey", "--typed", "--json", "--label", "N1", "--at", "1m,1.1m", typed="1200\n")
    assert shot.code == 0, shot.err
    taken = next(event for event in shot.events if event["event"] == "shot")
    assert (taken["label"], taken["x_mm"], taken["y_mm"]) == ("N1", 1000.0, 1100.0)
    assert run("survey", "--typed", "--label", "N2", "--at", "3m,1m", typed="1200\n").code == 2
    assert run("survey", "--typed", "--at", "1m,1m", typed="1200\n").code == 2
    grid = points[0]["label"]
    assert run("survey", "--typed", "--label", grid, "--at", "1m,1m", typed="1200\n").code == 2
