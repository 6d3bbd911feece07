"""A job in WebKitGTK, the family of engines that most phones on site run."""

from functools import partial
from pathlib import Path
from typing import Any

import pytest

from rig.job.store import Job
from tests.page.conftest import until
from tests.page.webkit import WebKit, webkit

pytestmark = pytest.mark.timeout(180)

AT_PLACE = """
const svg = document.querySelector('[data-tap] svg');
const [a, b, c, d, e, f] = svg.dataset.room.split(' ').map(Number);
const [x, y] = arguments;
const at = new DOMPoint(a * x + c * y + e, b * x + d * y + f).matrixTransform(svg.getScreenCTM());
svg.dispatchEvent(new MouseEvent('click', {bubbles: true, clientX: at.x, clientY: at.y}));
"""

TEXT = "return document.body.innerText"
FEATURES = {
    "keeping the screen awake": "'wakeLock' in navigator",
    "speaking": "'speechSynthesis' in window",
    "sounding": "'AudioContext' in window || 'webkitAudioContext' in window",
    "sharing": "'share' in navigator",
    "installing": "'serviceWorker' in navigator",
}
"""What a phone has beside pages; the guide names what this engine lacks."""


def session(page: WebKit, step: str) -> None:
    page.comes_to("/session/")
    page.tap("Go on")
    page.comes_to(step)


def pour_all(page: WebKit) -> None:
    """Pour every batch; two within seconds are asked about."""

    def poured() -> int:
        told = "return floorPage.state.pour ? floorPage.state.pour.poured : -1"
        return int(page.run(told))

    def more_than(n: int) -> bool:
        return poured() > n

    until(partial(more_than, -1), "the log of the pour")
    for n in range(page.run("return floorPage.state.pour.batches")):
        page.tap("Batch poured")
        if n:
            page.tap("Yes, accept")
        until(partial(more_than, n), "the batch")


def test_a_simulated_job_is_done_in_a_second_engine(live: Any, tmp_path: Path) -> None:
    serving = live("serve", "--jobs", tmp_path / "jobs", "--simulate", "--simulated-speed", "40")
    with webkit() as page:
        page.open(serving.url)
        page.tap("New job")
        page.comes_to("/new")
        for name, text in (("name", "Hall"), ("width", "6"), ("depth", "5")):
            page.fill(name, text)
        page.tap("Make the job")
        page.comes_to("/room")
        page.run(AT_PLACE, 900, 0)
        page.tap("Add the door")
        until(lambda: "Door 1" in page.run(TEXT), "the door")
        page.tap("Next: Product")
        page.comes_to("/product")
        for name, text in (("min_cover", "1/4in"), ("bag_mass", "50lb"), ("bag_yield", "0.45ft3")):
            page.fill(name, text)
        page.tap("Keep")
        page.comes_to("/grid")
        page.tap("Lay out the grid")
        page.tap("Next: Survey")
        page.comes_to("/survey")
        page.tap("Shoot the benchmark")
        session(page, "/survey")
        page.tap("Begin the survey")
        session(page, "/floor")
        page.run(AT_PLACE, 900, 600)
        told = "return document.querySelector('#tapped').innerText"
        until(lambda: "below the line" in page.run(told), "a height")
        page.tap("Next: Plan")
        page.comes_to("/plan")
        until(lambda: "bag" in page.run("return document.querySelector('#try').innerText"), "bags")
        wide = page.run("return [document.documentElement.scrollWidth, innerWidth]")
        assert wide[0] <= wide[1]
        page.tap("Choose this plan")
        page.tap("Next: Markers")
        page.comes_to("/markers")
        page.tap("Lay out the markers")
        page.tap("Next: Set")
        page.comes_to("/set")
        page.tap("Begin setting")
        session(page, "/pour")
        crew = (("mixers", "2"), ("crew", "4"), ("mix_time", "2"), ("working_time", "20"),
                ("bags_per_batch", "4"))  # fmt: skip
        for name, text in crew:
            page.fill(name, text)
        page.tap("Plan the pour")
        page.tap("Next: Pour")
        page.comes_to("/log")
        page.tap("All of it is done")
        until(lambda: "before the pour is done" in page.run(TEXT), "the list")
        page.tap("Begin the pour")
        page.comes_to("/session/")
        pour_all(page)
        for name in ("More", "End the pour", "Yes, it is over"):
            page.tap(name)
        session(page, "/proof")
        page.tap("Shoot the benchmark again")
        session(page, "/proof")
        page.tap("Survey the cured floor")
        session(page, "/report")
        page.open(f"{serving.url}j/Hall/proof")
        page.tap("Judge it")
        until(lambda: "The finished surface" in page.run(TEXT), "the verdict")
        lacking = [name for name in FEATURES if not page.run(f"return {FEATURES[name]}")]
        report = page.run(
            "const asked = new XMLHttpRequest(); asked.open('GET', arguments[0], false);"
            "asked.send(); return asked.responseText",
            f"{serving.url}j/Hall/report/report.html",
        )
    assert set(lacking) <= {"sharing"}, page.version
    assert "Floor report: Hall" in report
    with Job.open(tmp_path / "jobs" / "Hall.sqlite") as job:
        assert not job.unshot("floor")
        assert job.markers()
        assert all(marker.is_set for marker in job.markers())
        assert not job.unshot("finished")
        assert job.events(["pour_done"])
