"""Setting markers with the rods of a site, and a pour that all boxes act on."""

import sqlite3
import threading
import time
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from simulated_devices.site_rod import SiteRod
from tests.cli.conftest import Run
from tests.site.conftest import Place
from tests.site.test_rods import reading_mm

BAG = ("--min-cover", "6mm", "--bag-yield", "12l")


class Turner(SiteRod):
    """An installer who stands on what he is sent to, and turns the screw as he is told."""

    def __init__(self, place: Place, name: str, targets: dict[str, float]) -> None:
        super().__init__(place.folder / f"{name}.site", reading_mm, rate_hz=30.0)
        self.targets, self.at, self.off_mm, self.walks_until_s = targets, "", 0.0, 0.0

    def _line(self) -> bytes:
        if not self.at or self.time_s() < self.walks_until_s:
            return self._said(None, "N")
        return self._said(self.targets[self.at] + self.off_mm, "V")

    def on_event(self, event: dict[str, Any]) -> None:
        label = event.get("marker") or event.get("label")
        if event["event"] == "check":
            self.targets[str(label)] = event["expected_mm"]
        if event["event"] in ("next", "check") and label != self.at:
            self.at, self.walks_until_s = str(label), self.time_s() + 0.5
            self.off_mm = 0.0 if event["event"] == "check" else 8.0
        if event["event"] == "prompt" and event["move"] != "hold":
            self.off_mm = 0.0


@pytest.fixture
def planned(run: Run) -> dict[str, float]:
    """A job with its markers laid out; what each reads when it is set."""
    assert run("new", "--room", "3m,3m", "--door", "1m,0m,0.9m", "--units", "mm", *BAG).code == 0
    assert run("grid", "--spacing", "1.5m").code == 0
    with closing(sqlite3.connect("job.sqlite")) as kept:
        points = kept.execute("SELECT label, x_mm, y_mm FROM point").fetchall()
    rows = "".join(f"{label},{x},{y},{reading_mm(x, y):.2f}\n" for label, x, y in points)
    Path("shots.csv").write_text("label,x,y,reading\n" + rows)
    assert run("import", "shots.csv", "--unit", "mm").code == 0
    assert run("plan").code == 0
    markers = run("markers", "--reach", "1.5m", "--json").json["markers"]
    return {one["label"]: one["target_reading_mm"] for one in markers}


def test_rods_share_the_markers(run: Run, place: Place, planned: dict[str, float]) -> None:
    # Without the check: but rods that are new here have no line yet, so they take it all the same.
    words = ("--tolerance", "1mm", "--dwell", "0.4", "--walk", "0.3", "--skip-check")
    with Turner(place, "rod-1", dict(planned)), Turner(place, "rod-2", dict(planned)):
        told = run("set", "--site", place.folder / "kitchen.site", "--json", *words)
    assert told.code == 0, told.err
    done = [(one["rod"], one["marker"]) for one in told.events if one["event"] == "set"]
    assert sorted(label for _, label in done) == sorted(planned)
    assert {rod for rod, _ in done} == {"rod-1", "rod-2"}
    checked = [one["rod"] for one in told.events if one["event"] == "checked"]
    assert sorted(checked) == ["rod-1", "rod-2"]


def test_a_box_logs_a_batch_and_hears_of_it(
    run: Run, place: Place, planned: dict[str, float], monkeypatch: pytest.MonkeyPatch
) -> None:
    made = ("--mixers", "1", "--crew", "3", "--mix-time", "2min", "--working-time", "40min")
    assert run("pour", "plan", *made, "--runs", "100").code in (0, 1)
    site = place.folder / "kitchen.site"
    with SiteRod(place.folder / "rod-1.site", reading_mm, rate_hz=5.0) as rod:

        def act() -> None:
            while not any(one.get("event") == "next" for one in rod.heard):
                time.sleep(0.05)
            for name in ("batch", "stop"):
                rod.act(name)
                time.sleep(0.3)
            rod.act("accept")

        hand = threading.Thread(target=act)
        hand.start()
        told = run("pour", "run", "--site", site, "--json", typed="")
        hand.join()
    assert told.code == 0, told.err
    assert [one["n"] for one in told.events if one["event"] == "batch"] == [1]
    assert "batch" in [one["event"] for one in rod.heard]
