import math
import subprocess
import sys
import time
from typing import Any

import pytest

from rig.events import Event, Picture
from rig.job.rows import Shot
from rig.job.settings import Settings
from rig.session.watcher import Watcher
from tests.events import event

RINGS = (((0.0, 0.0), (3600.0, 0.0), (3600.0, 4500.0), (0.0, 4500.0)), (), ())
SETTINGS = Settings(min_cover_mm=6.0, units="mm")
PLACES = [(300.0 + 750 * i, 300.0 + 780 * j) for j in range(6) for i in range(5)]


def reading(x: float, y: float) -> float:
    return 1200.0 + 2 * math.sin(x / 1000) + 2 * math.cos(y / 1200)


def shot(n: int, off_mm: float = 0.0) -> Event:
    x, y = PLACES[n]
    return event(
        {
            "event": "shot",
            "label": f"P{n}",
            "x_mm": x,
            "y_mm": y,
            "reading_mm": reading(x, y) + off_mm,
            "stderr_mm": 0.2,
        }
    )


def stored(n: int, setup: str = "1") -> Shot:
    x, y = PLACES[n]
    return Shot(
        n, 1, setup, f"P{n}", x, y, reading(x, y), 0.2, 9, "floor", float(n), 0.0, None
    )  # fmt: skip


def test_a_wrong_shot_is_named_and_the_picture_follows() -> None:
    watcher = Watcher([], "1", RINGS, SETTINGS)
    for n in range(25):
        watcher.hear(shot(n, off_mm=-9.0 if n == 20 else 0.0))
    news: list[Any] = list(watcher.news(last=True))
    doubtful = [told for told in news if told.event == "doubtful"]
    assert [told.label for told in doubtful] == ["P20"]
    assert 5.0 < doubtful[0].off_mm < 13.0  # a smaller reading is a higher floor
    assert "above what its neighbours say" in doubtful[0].text
    last = [told for told in news if told.event == "picture"][-1]
    assert last.shots == 24
    assert last.cover_mm.min >= 6.0
    assert last.volume_l > 0


def test_a_survey_taken_up_again_starts_from_what_is_there() -> None:
    watcher = Watcher([stored(n) for n in range(20)], "1", RINGS, SETTINGS)
    watcher.hear(shot(20, off_mm=9.0))
    news: list[Any] = list(watcher.news(last=True))
    # It stays out of the picture, so that the next one is not held against it.
    assert [told.event for told in news] == ["doubtful"]


def test_a_shot_undone_or_taken_again_counts_once() -> None:
    watcher = Watcher([stored(n) for n in range(20)], "1", RINGS, SETTINGS)
    watcher.hear(shot(20, off_mm=30.0))
    watcher.hear(event({"event": "undone", "label": "P20"}))
    watcher.hear(shot(20))
    watcher.hear(shot(20, off_mm=0.1))
    news: list[Any] = list(watcher.news(last=True))
    assert news[-1].shots == 21
    assert sum(told.event == "doubtful" for told in news) == 1


def test_a_shot_that_says_the_same_again_is_believed() -> None:
    watcher = Watcher([stored(n) for n in range(20)], "1", RINGS, SETTINGS)
    watcher.hear(shot(20, off_mm=9.0))
    watcher.hear(shot(20, off_mm=9.0))
    news: list[Any] = list(watcher.news(last=True))
    assert [told.event for told in news] == ["doubtful", "picture"]
    assert news[1].shots == 21


def test_a_floor_that_steps_is_believed_after_three() -> None:
    watcher = Watcher([stored(n) for n in range(20)], "1", RINGS, SETTINGS)
    for n in range(20, 30):
        watcher.hear(shot(n, off_mm=15.0))
    news: list[Any] = list(watcher.news(last=True))
    assert 3 <= sum(told.event == "doubtful" for told in news) <= 7
    assert [told for told in news if told.event == "picture"][-1].shots >= 26


def test_an_untied_setup_is_watched_by_its_own_shots() -> None:
    watcher = Watcher([stored(n, "1") for n in range(12)], "2", RINGS, SETTINGS)
    for n in range(12, 24):
        watcher.hear(shot(n, off_mm=500.0))
    news: list[Any] = list(watcher.news(last=True))
    assert [told for told in news if told.event == "doubtful"] == []
    assert news[-1].shots == 12


def test_no_shot_waits_for_the_watcher_and_nothing_heavy_is_loaded_by_hearing() -> None:
    code = (
        "import sys, time\n"
        "from tests.session.test_watcher import *\n"
        "watcher = Watcher([], '1', RINGS, SETTINGS)\n"
        "loaded = [n for n in ('numpy', 'scipy', 'shapely') if n in sys.modules]\n"
        "begun = time.perf_counter()\n"
        "watcher.hear(shot(0))\n"
        "print(loaded, time.perf_counter() - begun < 0.1)\n"
    )
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert ran.stdout.strip() == "[] True"


def test_news_come_by_themselves_while_the_survey_goes_on() -> None:
    watcher = Watcher([stored(n) for n in range(20)], "1", RINGS, SETTINGS)
    watcher.hear(shot(21))
    deadline = time.monotonic() + 20.0
    news: list[Any] = []
    while not news and time.monotonic() < deadline:
        news = list(watcher.news())
        time.sleep(0.02)
    assert news[-1].event == "picture"
    assert list(watcher.news(last=True)) == []


def test_shots_set_aside_leave_the_picture_and_come_again() -> None:
    watcher = Watcher([], "1", RINGS, SETTINGS)
    for n in range(20):
        watcher.hear(shot(n))
    watcher.hear(
        event({"event": "jolt", "label": "BM1", "labels": [f"P{n}" for n in range(10, 20)]})
    )
    watcher.hear(shot(10))
    watcher.hear(event({"event": "undone", "label": "P10"}))
    watcher.hear(shot(11))
    pictures = [told for told in watcher.news(last=True) if isinstance(told, Picture)]
    assert pictures[-1].shots == 11


def test_a_drift_moves_the_shots_of_the_picture() -> None:
    def high_mm(off_mm: float) -> Any:
        watcher = Watcher([], "1", RINGS, SETTINGS)
        for n in range(20):
            watcher.hear(shot(n))
        if off_mm:
            moved = [shot(n, off_mm) for n in range(20)]
            watcher.hear(event({"event": "drift", "label": "BM1", "shots": moved}))
        watcher.hear(shot(20, off_mm))
        pictures = [told for told in watcher.news(last=True) if isinstance(told, Picture)]
        assert pictures[-1].shots == 21
        return pictures[-1].high.z_mm

    assert high_mm(1.0) == pytest.approx(high_mm(0.0) - 1.0, abs=0.1)  # fitted anew, a hair apart
