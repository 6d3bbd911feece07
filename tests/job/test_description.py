"""Settings, outline and grid come back as given; what they were before is kept as an event."""

import json
import shutil
import sqlite3
import tempfile
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rig.errors import BadInput
from rig.job import DoorEnds, Job, Point
from rig.job.settings import RadialError, Settings, SetupTilt
from tests.job.conftest import WALLS

AMOUNT = st.none() | st.floats(0.0, 1e9)
PLACE = st.tuples(st.floats(-1e5, 1e5), st.floats(-1e5, 1e5))
SETTINGS = st.builds(
    Settings,
    units=st.sampled_from(["in", "mm"]),
    denominator=st.integers(1, 64),
    covering=st.none() | st.text(st.characters(codec="utf-8"), min_size=1).filter(str.strip),
    min_cover_mm=AMOUNT,
    max_cover_mm=AMOUNT,
    bag_yield_l=AMOUNT,
    bag_mass_kg=AMOUNT,
    bag_water_l=AMOUNT,
    waste_share=AMOUNT,
    laser_places=st.dictionaries(st.sampled_from(["1", "2", "next day"]), PLACE),
    laser_correction=st.none()
    | st.builds(RadialError, error_mm_per_m=st.floats(-9, 9), stderr_mm_per_m=st.floats(0, 9)),
    laser_tilt=st.dictionaries(
        st.sampled_from(["1", "2"]),
        st.builds(
            SetupTilt,
            slope_mm_per_m=PLACE,
            stderr_mm_per_m=st.floats(0, 9),
            place=PLACE,
            after_event=st.integers(0, 10**6),
        ),
    ),
)


@settings(max_examples=60, deadline=None)
@given(st.lists(SETTINGS, min_size=1, max_size=3))
def test_settings_come_back_as_they_were_last_given(changes: list[Settings]) -> None:
    folder = Path(tempfile.mkdtemp())
    try:
        with Job.create(folder / "job.sqlite", changes[0], WALLS) as job:
            for change in changes:
                job.update_settings(change)
        with Job.open(folder / "job.sqlite") as job:
            assert job.settings == changes[-1]
    finally:
        shutil.rmtree(folder)


def test_an_edit_is_kept_with_old_and_new(job: Job) -> None:
    places = {"1": (5.0, 6.0)}
    job.update_settings(Settings(units="mm", min_cover_mm=8, laser_places=places))
    job.update_settings(Settings(units="mm", min_cover_mm=8.0, laser_places=places))
    (event,) = job.events(["edit"])
    assert event.data == {
        "old": {"min_cover_mm": 6.0, "laser_places": None},
        "new": {"min_cover_mm": 8.0, "laser_places": {"1": [5.0, 6.0]}},
    }
    job.update_settings(Settings())
    assert job.events(["edit"])[1].data["new"]["laser_places"] is None
    assert job.settings == Settings()


def test_what_another_version_keeps_beside_the_settings_stays(job: Any, path: Any) -> None:
    with sqlite3.connect(path) as plain:
        plain.execute("""UPDATE job SET other = '{"tint":"grey"}'""")
    plain.close()
    job.update_settings(Settings(units="in", laser_places={"1": (0.0, 1.0)}))
    job.close()
    with sqlite3.connect(path) as plain:
        ((kept,),) = plain.execute("SELECT other FROM job")
    plain.close()
    assert json.loads(kept) == {"tint": "grey", "laser_places": {"1": [0.0, 1.0]}}


@pytest.mark.parametrize(
    ("wrong", "named"),
    [
        ({"units": "cm"}, "units are 'cm'"),
        ({"denominator": 0}, "denominator"),
        ({"denominator": 2.5}, "denominator"),
        ({"min_cover_mm": "6"}, "minimum cover is '6'"),
        ({"waste_share": -0.1}, "waste is -0.1"),
        ({"bag_yield_l": float("inf")}, "bag yield is inf"),
        ({"covering": ""}, "covering is empty"),
        ({"laser_places": {"1": (float("nan"), 0.0)}}, "not finite"),
    ],
)
def test_a_wrong_setting_is_named_and_none_is_changed(
    job: Job, wrong: dict[str, Any], named: str
) -> None:
    before = job.settings
    with pytest.raises(BadInput, match=named):
        job.update_settings(replace(before, **{"bag_mass_kg": 22.7} | wrong))
    assert job.settings == before
    assert job.events() == []


def test_the_outline_comes_back_in_the_order_given(job: Job, path: str) -> None:
    openings = [[(1.0, 1.0), (2.0, 1.0), (2.0, 2.0)], [(5.0, 5.0), (6.0, 5.0), (6.0, 1 / 3)]]
    door = DoorEnds(0.0, 100.0, 0.0, 900.0)
    job.set_outline(WALLS[::-1], openings, [door, (100.0, 0.0, 50.0, 0.0)])
    job.close()
    with Job.open(path) as reader:
        walls, rings, doors = reader.outline_rings()
        (event,) = reader.events(["edit"])
    assert walls == tuple(WALLS[::-1])
    assert rings == tuple(map(tuple, openings))
    assert doors == (door, DoorEnds(100.0, 0.0, 50.0, 0.0))
    assert event.data["old"] == {"walls": [list(xy) for xy in WALLS], "openings": [], "doors": []}
    assert event.data["new"]["walls"] == [list(xy) for xy in WALLS[::-1]]


def test_a_door_may_be_a_record(job: Job) -> None:
    class Door:
        x_mm, y_mm, end_x_mm, end_y_mm = 1.0, 2.0, 3.0, 4.0

    job.set_outline(WALLS, [], [Door()])
    assert job.outline_rings()[2] == (DoorEnds(1.0, 2.0, 3.0, 4.0),)


def test_the_grid_comes_back_in_walk_order_and_each_grid_is_kept(job: Job) -> None:
    job.set_points([("A1", 1.0, 2.0, 1), ("A2", 1.0, 3.0, 0)])
    assert job.points() == [Point("A2", 1.0, 3.0, 0), Point("A1", 1.0, 2.0, 1)]
    with pytest.raises(BadInput, match="label A1 twice"):
        job.set_points([("A1", 1.0, 2.0, 1), ("A1", 1.0, 3.0, 0)])
    assert len(job.points()) == 2
    job.set_points([("B1", 9.0, 9.0, 0)])
    assert [event.data["points"] for event in job.events("grid")] == [
        [["A2", 1.0, 3.0, 0], ["A1", 1.0, 2.0, 1]],
        [["B1", 9.0, 9.0, 0]],
    ]
