"""Settings, outline and grid come back as given; what they were before is kept as an event."""

import shutil
import tempfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rig.errors import BadInput
from rig.job import DoorEnds, Job, Point
from tests.job.conftest import WALLS

AMOUNT = st.none() | st.floats(0.0, 1e9)
SETTINGS = st.fixed_dictionaries(
    {},
    optional={
        "units": st.sampled_from(["in", "mm"]),
        "denominator": st.integers(1, 64),
        "covering": st.none() | st.text(st.characters(codec="utf-8"), min_size=1).filter(str.strip),
        "min_cover_mm": AMOUNT,
        "max_cover_mm": AMOUNT,
        "bag_yield_l": AMOUNT,
        "bag_mass_kg": AMOUNT,
        "bag_water_l": AMOUNT,
        "waste_share": AMOUNT,
        "note": st.text() | st.floats(allow_nan=False, allow_infinity=False) | st.booleans(),
    },
)


@settings(max_examples=60, deadline=None)
@given(st.lists(SETTINGS, min_size=1, max_size=3))
def test_settings_come_back_as_they_were_last_given(changes):
    folder = Path(tempfile.mkdtemp())
    try:
        expected = {"units": "in", "denominator": 32}
        with Job.create(folder / "job.sqlite", changes[0], WALLS) as job:
            for change in changes:
                job.update_settings(change)
        for change in changes:
            expected |= change
        with Job.open(folder / "job.sqlite") as job:
            got = job.settings
        assert {key: value for key, value in got.items() if value is not None} == {
            key: value for key, value in expected.items() if value is not None
        }
    finally:
        shutil.rmtree(folder)


def test_an_edit_is_kept_with_old_and_new(job):
    job.update_settings({"min_cover_mm": 8, "units": "mm", "tint": "grey"})
    job.update_settings({"min_cover_mm": 8.0})
    (event,) = job.events(["edit"])
    assert event.data == {
        "old": {"min_cover_mm": 6.0, "tint": None},
        "new": {"min_cover_mm": 8.0, "tint": "grey"},
    }
    job.update_settings({"tint": None, "units": None})
    assert "tint" not in job.settings
    assert job.settings["units"] == "in"


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
        ({"other": [float("nan")]}, "not finite"),
    ],
)
def test_a_wrong_setting_is_named_and_none_is_changed(job, wrong, named):
    before = job.settings
    with pytest.raises(BadInput, match=named):
        job.update_settings({"bag_mass_kg": 22.7} | wrong)
    assert job.settings == before
    assert job.events() == []


def test_the_outline_comes_back_in_the_order_given(job, path):
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


def test_a_door_may_be_a_record(job):
    class Door:
        x_mm, y_mm, end_x_mm, end_y_mm = 1.0, 2.0, 3.0, 4.0

    job.set_outline(WALLS, [], [Door()])
    assert job.outline_rings()[2] == (DoorEnds(1.0, 2.0, 3.0, 4.0),)


def test_the_grid_comes_back_in_walk_order_and_each_grid_is_kept(job):
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
