"""The whole job on a phone, from an empty folder to the downloaded report."""

import contextlib
import json
from pathlib import Path
from typing import Any

import pytest

from rig.job.store import Job
from tests.page.conftest import rig, until, violations, when

pytestmark = pytest.mark.timeout(180)
FT = 304.8
TAP = """([x, y]) => {
  const svg = document.querySelector('[data-tap] svg');
  svg.scrollIntoView({block: 'center'});
  const [a, b, c, d, e, f] = svg.dataset.room.split(' ').map(Number);
  const at = new DOMPoint(a * x + c * y + e, b * x + d * y + f).matrixTransform(svg.getScreenCTM());
  return [at.x, at.y];
}"""


class Thumb:
    """A person at the page: taps are counted, and every page is looked over once."""

    def __init__(self, page: Any, looks: bool) -> None:
        self.page, self.looks, self.taps, self.typed = page, looks, 0, 0
        self.looked: set[str] = set()

    def tap(self, role: str, name: str, exact: bool = False) -> None:
        self.taps += 1
        self.page.get_by_role(role, name=name, exact=exact).first.tap()

    def tap_place(self, x_ft: float, y_ft: float) -> None:
        self.taps += 1
        at = self.page.evaluate(TAP, [x_ft * FT, y_ft * FT])
        self.page.touchscreen.tap(*at)

    def write(self, label: str, text: str) -> None:
        self.typed += 1
        self.page.get_by_label(label, exact=True).fill(text)

    def comes_to(self, step: str) -> None:
        """Wait for a step's page; none is wider than the narrowest phone, none fails the rules."""
        self.page.wait_for_url(f"**/{step}")
        if step in self.looked or not self.looks:
            return
        self.looked.add(step)
        self.page.set_viewport_size({"width": 320, "height": 568})
        wide, window = self.page.evaluate("[document.documentElement.scrollWidth, innerWidth]")
        assert wide <= window, step
        self.page.set_viewport_size({"width": 390, "height": 844})
        assert violations(self.page) == [], step

    def goes_on(self, link: str, step: str) -> None:
        self.tap("link", link)
        self.comes_to(step)

    def session(self, step: str, wait_s: float = 60.0) -> None:
        """Wait until a session is over, and go on from it."""
        self.page.wait_for_url("**/session/")
        self.page.get_by_role("button", name="Go on").wait_for(timeout=1000 * wait_s)
        self.tap("button", "Go on")
        self.comes_to(step)

    def key(self, *names: str) -> None:
        for name in names:
            self.page.locator("#keypad").get_by_role("button", name=name, exact=True).tap()


def l_shaped_room(thumb: Thumb, name: str) -> None:
    """A room of 8 by 7 ft less 4 by 3, two doors, an island; and its compound and grid."""
    thumb.tap("link", "New job")
    thumb.comes_to("new")
    thumb.write("Name", name)
    thumb.page.get_by_label("Walls paced out").tap()
    turns = (
        ("8", "left"),
        ("7", "left"),
        ("4", "left"),
        ("3", "right"),
        ("4", "left"),
        ("4", "left"),
    )
    for n, (length, turn) in enumerate(turns, start=1):
        thumb.write("This wall", length)
        thumb.tap("button", f"turn {turn}")
        when(thumb.page, f"document.querySelector('#walls').innerText.includes('{n} walls')")
    thumb.tap("button", "Make the job")
    thumb.comes_to("room")
    doors = thumb.page.get_by_role("button", name="Take door")
    for n, place in enumerate(((2, 0), (6, 7)), start=1):
        thumb.tap_place(*place)
        thumb.tap("button", "Add the door")
        doors.nth(n - 1).wait_for()
    thumb.tap_place(6, 3)
    thumb.write("Along x", "1")
    thumb.write("Along y", "1")
    thumb.tap("button", "Add the opening")
    thumb.page.get_by_role("button", name="Take opening 1").wait_for()
    thumb.goes_on("Next: Product", "product")
    thumb.page.get_by_label("What will lie on it").select_option("plank")
    for label, text in (("Minimum cover", "1/4in"), ("Mass", "50lb"), ("Makes", "0.45ft3")):
        thumb.write(label, text)
    thumb.tap("button", "Keep")
    thumb.comes_to("grid")
    thumb.tap("button", "Lay out the grid")
    thumb.goes_on("Next: Survey", "survey")


def plan_and_markers(thumb: Thumb) -> None:
    """From the floor to the layout."""
    thumb.comes_to("floor")
    thumb.tap_place(3, 2)
    until(lambda: "below the line" in thumb.page.locator("#tapped").inner_text(), "a height")
    thumb.goes_on("Next: Plan", "plan")
    until(lambda: "bag" in thumb.page.locator("#try").inner_text(), "the slider's answer")
    thumb.tap("button", "Choose this plan")
    thumb.goes_on("Next: Markers", "markers")
    thumb.tap("button", "Lay out the markers")
    thumb.goes_on("Next: Set", "set")


def test_a_whole_job_on_the_phone(live: Any, phone: Any, tmp_path: Path) -> None:
    serving = live("serve", "--jobs", tmp_path / "jobs", "--simulate", "--simulated-speed", "40")
    page = phone(serving.url, bypass_csp=True, accept_downloads=True)
    page.set_default_timeout(20_000)
    thumb = Thumb(page, looks=True)
    l_shaped_room(thumb, "Hall 3")
    thumb.tap("button", "Shoot the benchmark")
    thumb.session("survey")
    thumb.tap("button", "Begin the survey")
    thumb.session("floor")
    plan_and_markers(thumb)
    thumb.tap("button", "Begin setting")
    thumb.session("pour")
    for label, text in (("Mixers", "2"), ("People", "4"), ("Mixing a batch", "2"),
                        ("It flows for", "20"), ("Bags a batch", "4")):  # fmt: skip
        thumb.write(label, text)
    thumb.tap("button", "Plan the pour")
    thumb.goes_on("Next: Pour", "log")
    thumb.tap("button", "All of it is done")
    thumb.tap("button", "Begin the pour")
    page.wait_for_url("**/session/")
    when(page, "window.floorPage && floorPage.state.pour")
    for n in range(page.evaluate("floorPage.state.pour.batches")):
        thumb.tap("button", "Batch poured")
        if n:  # two within seconds are asked about
            thumb.tap("button", "Yes, accept")
        when(page, f"floorPage.state.pour.poured == {n + 1}")
    for name in ("More", "End the pour", "Yes, it is over"):
        thumb.tap("button", name)
    thumb.session("proof")
    thumb.tap("button", "Shoot the benchmark again")
    thumb.session("proof")
    thumb.tap("button", "Survey the cured floor")
    thumb.session("report")
    with page.expect_download() as waited:
        thumb.tap("link", "report.html")
    written = Path(waited.value.path()).read_text()
    assert "Floor report: Hall 3" in written
    assert thumb.taps <= 60, thumb.taps

    with Job.open(tmp_path / "jobs" / "Hall 3.sqlite") as job:
        assert not job.unshot("floor")
        assert not job.unshot("finished")
        assert all(marker.is_set for marker in job.markers())
        assert len(job.outline_rings()[2]) == 2
        walls = job.outline_rings()[0]
    told = json.loads(rig("plan", "--job", tmp_path / "jobs" / "Hall 3.sqlite", "--json"))
    assert len(walls) == 6
    assert f"buy {told['bags']['buy']} bag" in written


def test_a_job_with_a_tape_on_the_keypad(live: Any, phone: Any, tmp_path: Path) -> None:
    from playwright.sync_api import TimeoutError

    serving = live("serve", "--jobs", tmp_path / "jobs")
    page = phone(serving.url)
    page.set_default_timeout(20_000)
    thumb = Thumb(page, looks=False)
    l_shaped_room(thumb, "Tape")
    page.get_by_label("A tape or staff").tap()
    thumb.tap("button", "Shoot the benchmark")
    page.wait_for_url("**/session/")
    page.locator("#keypad").get_by_role("button", name="Take", exact=True).wait_for()
    thumb.key("4", "8", "3/16", "Take")
    thumb.session("survey")
    thumb.tap("button", "Begin the survey")
    page.wait_for_url("**/session/")
    when(page, "window.floorPage && floorPage.state.places && floorPage.state.places.length")
    points = page.evaluate("floorPage.state.places.length")
    thumb.key("4", "8")
    for n in range(points):
        label = page.evaluate("floorPage.state.now.label")
        thumb.key(*(("48",) if n else ()), ("1/8", "1/4", "5/16", "3/8")[n % 4], "Take")
        when(page, f"floorPage.state.now.label != {json.dumps(label)}")
    page.set_default_timeout(3_000)  # the keys go when the line is found where it was
    while not page.evaluate("floorPage.state.home.over"):
        with contextlib.suppress(TimeoutError):
            thumb.key("48", "3/16", "Take")
    page.set_default_timeout(20_000)
    thumb.session("floor")
    page.goto(page.url.removesuffix("floor") + "report")
    with page.expect_download() as waited:
        thumb.tap("link", "report.pdf")
    assert Path(waited.value.path()).read_bytes().startswith(b"%PDF")
    with Job.open(tmp_path / "jobs" / "Tape.sqlite") as job:
        assert len(job.shots(kinds=["floor"])) == points
        assert job.settings.typed_unit == "in"
        assert job.shots(kinds=["floor"])[0].reading_mm == pytest.approx(48.125 * 25.4)
