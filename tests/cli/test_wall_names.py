"""Walls whose names are told once each, and called as the user does."""

import re

import pytest

from tests.cli.conftest import Run

L_SHAPE = "6m left 3m left 2.4m right 2.4m left 3.6m left 5.4m"


@pytest.fixture
def house(run: Run) -> Run:
    """An L-shaped room with its door in the longest wall."""
    made = run("new", "--walls", L_SHAPE, "--door", "1m,0mm,900mm", "--units", "mm")
    assert made.code == 0, made.err
    return run


def names(run: Run, *words: str) -> list[str]:
    told = run("edit", "--json", *words)
    assert told.code == 0, told.err
    return [wall["name"] for wall in told.json["walls"]]


def test_a_wall_is_called_as_the_user_does_in_grid_and_prompts(house: Run) -> None:
    first = house("grid", "--spacing", "1m").out
    told = set(re.findall(r"from the ([a-z ]+)", first))
    assert told == {
        "door wall", "right wall by the door", "far wall on the right", "right wall at the back",
        "far wall on the left", "left wall",
    }  # fmt: skip
    assert "window wall" in names(house, "--wall", "far wall on the right=the  window wall")
    again = house("grid", "--spacing", "1m").out
    assert again.count("window wall") == first.count("far wall on the right")
    assert "far wall on the right" not in again
    live = house("survey", "--typed", "--unit", "mm", typed="")
    assert "from the window wall" in live.out
    assert "window wall" not in names(house, "--wall", "Window wall=")


def test_a_name_that_is_taken_or_a_wall_that_is_not_there_is_refused(house: Run) -> None:
    for words, said in (
        ("far wall on the left=left wall", "Another wall is called 'left wall' already"),
        ("far wall=x", "There is no wall called 'far wall'; there are: door wall, right wall by"),
        ("window wall", "write it as"),
    ):
        refused = house("edit", "--wall", words)
        assert refused.code == 2
        assert said in refused.err


def test_names_go_with_walls_that_are_no_more_and_stay_with_those_that_moved(house: Run) -> None:
    assert "window wall" in names(house, "--wall", "far wall on the left=window wall")
    longer = L_SHAPE.replace("2.4m left 3.6m left 5.4m", "3m left 3.6m left 6m")
    assert "window wall" in names(house, "--walls", longer)
    other = house("edit", "--json", "--room", "6m,3m").json
    assert [wall["name"] for wall in other["walls"]] == [
        "door wall", "right wall", "far wall", "left wall",
    ]  # fmt: skip
    assert "these names of yours are gone: window wall" in " ".join(other["warnings"])


def test_rooms_of_one_job_tell_walls_each_by_its_own_room(run: Run) -> None:
    assert run("new", "--room", "3m,4m", "--door", "1m,0m,900mm", "--units", "mm").code == 0
    assert run("room", "add", "hall", "--room", "1.5m,4m", "--at", "3m,0m").code == 0
    told = run("grid", "--spacing", "1.5m").out
    assert re.search(r"hall, [\d.]+ m from wall \d, [\d.]+ m from wall \d$", told, re.M)
    assert "The walls, one after the other" not in told
