"""The box at a rod: a process of its own, on a cable to its rod and on a link to the site."""

import json
import os
import signal
import sqlite3
import subprocess
import sys
import threading
import time
import tty
from collections.abc import Iterator
from contextlib import closing, contextmanager

from rig.events import AskMarker, Next, NextMarker, Rest, event_from
from simulated_devices.encode import sentence
from simulated_devices.rod import Sample
from tests.cli.conftest import Run
from tests.site.conftest import Place
from tests.site.test_rods import QUICK, floor_of, later


class Cabled:
    """A rod on a pseudo-terminal, carried to where its box says; the box can be killed."""

    def __init__(self, place: Place) -> None:
        self.master, slave = os.openpty()
        tty.setraw(slave)
        os.set_blocking(self.master, False)
        self.stop = threading.Event()
        self.label, self.walks_until_s = "", 0.0
        invitation, port = place.folder / "rod-1.site", os.ttyname(slave)
        self.words = [sys.executable, "-m", "rig.cli", "rod", "--site", str(invitation)]
        self.words += ["--serial", port, "--json"]
        self.heard: list[str] = []
        self.begin()
        self.playing = threading.Thread(target=self.play)
        self.playing.start()

    def begin(self) -> None:
        self.box = subprocess.Popen(self.words, stdout=subprocess.PIPE, text=True)
        threading.Thread(target=self.hear, args=(self.box,), daemon=True).start()

    def fall(self) -> None:
        self.box.kill()
        self.box.wait()
        self.label = ""
        self.begin()

    def hear(self, box: "subprocess.Popen[str]") -> None:
        assert box.stdout is not None
        for line in box.stdout:
            event = json.loads(line)
            self.heard.append(event["event"])
            if event["event"] in ("next", "armed") and event["label"] != self.label:
                self.label, self.walks_until_s = event["label"], time.monotonic() + 0.6

    def play(self) -> None:
        n = 0
        while not self.stop.wait(0.04):
            stands = self.label and time.monotonic() > self.walks_until_s
            value = 1000.0 + 5.0 * (sum(map(ord, self.label)) % 7) if stands else None
            n += 1
            status = "N" if value is None else "V"
            os.write(self.master, sentence(Sample(0.0, n, value, status)))  # type: ignore[arg-type]


@contextmanager
def cabled(place: Place) -> Iterator[Cabled]:
    rod = Cabled(place)
    try:
        yield rod
    finally:
        rod.stop.set()
        rod.playing.join()
        rod.box.terminate()
        assert rod.box.wait(10) in (0, -signal.SIGTERM)  # or it had not begun yet


def test_a_killed_box_comes_back_and_no_point_is_lost_or_doubled(run: Run, place: Place) -> None:
    floor_of(run, "4m")
    with cabled(place) as rod:
        timer = later(6.0, rod.fall)
        told = run("survey", "--site", place.folder / "kitchen.site", "--json", *QUICK)
        timer.join()
    assert told.code == 0, told.err
    shots = [one["label"] for one in told.events if one["event"] == "shot"]
    with closing(sqlite3.connect("job.sqlite")) as kept:
        rows = kept.execute("SELECT point FROM shot WHERE superseded_by IS NULL").fetchall()
    assert sorted(shots) == sorted(label for (label,) in rows)
    assert len(set(shots)) == len(shots) == 4
    assert {"next", "armed", "shot", "claim"} <= set(rod.heard)


def test_a_box_tells_events_of_one_name_apart() -> None:
    told = (
        Next(rod="rod-1", label="A1", x_mm=1.0, y_mm=None, text="A1"),
        NextMarker(rod="rod-1", marker="M1", x_mm=1.0, y_mm=2.0, text="M1"),
        AskMarker(rod="rod-1", marker="M1", text="M1?"),
        Rest(rod="rod-1"),
    )
    for event in told:
        assert event_from(json.dumps(event.as_json()).encode()) == event
    assert event_from(b'{"event": "next"}') is None
    assert event_from(b"[]") is None
