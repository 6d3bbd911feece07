"""The whole job on a phone, from an empty folder to the downloaded report."""

import json
import time
from collections.abc import Callable, Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from rig.job.store import Job
from rig.page.server import Page
from tests.page.conftest import WAIT_S, rig, too_low, until, violations, when

pytestmark = pytest.mark.timeout(180)
FT = 304.8
TAP = """([x, y]) => {
  const svg = document.querySelector('[data-tap] svg');
  svg.scrollIntoView({block: 'center'});
  const [a, b, c, d, e, f] = svg.dataset.room.split(' ').map(Number);
  const at = new DOMPoint(a * x + c * y + e, b * x + d * y + f).matrixTransform(svg.getScreenCTM());
  return [at.x, at.y];
}"""

OPEN = """(open) => document.querySelectorAll('main details')
  .forEach((one) => { one.open = open; })"""
OF_THE_JOB = (
    *("rooms", "shot?label=A1", "quote", "look", "patch", "laser", "site", "undo", "plan"),
    *("markers", "pour", "proof/verdict?rule=click-lock", "report/customer.html"),
)
OF_ALL = ("", "firm", "firm/compound", "firm/prices", "quote", "trust", "away")


class Thumb:
    """A person at the page: taps are counted, and every page is looked over once."""

    def __init__(self, page: Any, looks: bool) -> None:
        self.page, self.looks, self.taps, self.typed = page, looks, 0, 0
        self.readings = self.keys = 0
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
        """Wait for a step's page."""
        self.page.wait_for_url(f"**/{step}")
        if self.looks and step not in self.looked:
            self.look_over(step)

    def look_over(self, step: str) -> None:
        """None is wider than the narrowest phone, none fails the rules, in light and dark."""
        self.looked.add(step)
        self.page.evaluate(OPEN, True)
        self.page.set_viewport_size({"width": 320, "height": 568})
        wide, window = self.page.evaluate("[document.documentElement.scrollWidth, innerWidth]")
        assert wide <= window, step
        self.page.set_viewport_size({"width": 390, "height": 844})
        assert violations(self.page) == [], step
        self.page.emulate_media(color_scheme="dark")
        assert violations(self.page, "color-contrast") == [], step
        self.page.emulate_media(color_scheme="light")
        self.page.evaluate(OPEN, False)

    def goes_on(self, link: str, step: str) -> None:
        self.tap("link", link)
        self.comes_to(step)

    def session(self, step: str, wait_s: float = 60.0) -> None:
        """Wait until a session is over, and go on from it."""
        self.page.wait_for_url("**/session/")
        self.page.get_by_role("button", name="Go on").wait_for(timeout=1000 * wait_s)
        if self.looks and step not in self.looked:
            self.look_over("the session before " + step)
        self.tap("button", "Go on")
        self.comes_to(step)

    def key(self, *names: str) -> None:
        for name in names:
            self.taps += 1
            self.page.locator("#keypad").get_by_role("button", name=name, exact=True).tap()


def l_shaped_room(thumb: Thumb, name: str, spacing: str = "3") -> None:
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
        when(thumb.page, f"document.querySelector('#walls').innerText.includes('{n} wall')")
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
    thumb.write("Spacing", spacing)
    thumb.tap("button", "Lay out the grid")
    thumb.goes_on("Next: Survey", "survey")


def drag_marker(page: Any) -> None:
    """Drag a marker a little; its height follows, and it stands there then."""
    box = page.locator("[data-name=M1] .grip").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    was = page.locator(".marker").first.inner_text()
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x, y - 18, steps=3)
    until(lambda: "a marker here stands" in page.locator("#height").inner_text(), "its height")
    page.mouse.up()
    until(lambda: page.locator(".marker").first.inner_text() != was, "the marker at its new place")


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
    drag_marker(thumb.page)
    thumb.goes_on("Next: Set", "set")


def pour(thumb: Thumb) -> None:
    """Plan the pour, tick the list, and pour every batch."""
    page = thumb.page
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


def downloaded(thumb: Thumb) -> str:
    """Take the report away."""
    with thumb.page.expect_download() as waited:
        thumb.tap("link", "report.html")
    return Path(waited.value.path()).read_text()


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
    pour(thumb)
    thumb.tap("button", "Shoot the benchmark again")
    thumb.session("proof")
    thumb.tap("button", "Survey the cured floor")
    thumb.session("report")
    written = downloaded(thumb)
    assert "Floor report: Hall 3" in written
    assert thumb.taps <= 60, thumb.taps
    for address in (*(f"j/Hall%203/{step}" for step in OF_THE_JOB), *OF_ALL):
        page.goto(serving.url + address)
        thumb.look_over(address)

    with Job.open(tmp_path / "jobs" / "Hall 3.sqlite") as job:
        assert not job.unshot("floor")
        assert not job.unshot("finished")
        assert all(marker.is_set for marker in job.markers())
        assert len(job.outline_rings()[2]) == 2
        walls = job.outline_rings()[0]
    told = json.loads(rig("plan", "--job", tmp_path / "jobs" / "Hall 3.sqlite", "--json"))
    assert len(walls) == 6
    assert f"buy {told['bags']['buy']} bag" in written


def keys_of(mm: float) -> tuple[str, ...]:
    """The keys for a reading, to the nearest thirty-second of an inch."""
    whole, part = divmod(round(mm / 25.4 * 32), 32)
    sixteenth = (str(Fraction(part // 2, 16)),) if part > 1 else ()
    return (*str(whole), *sixteenth, *(("+1/32",) if part % 2 else ()), "Take")


def session_with_tape(thumb: Thumb, readings: Callable[[str], Sequence[float]]) -> None:
    """Type what the tape reads wherever the page asks, until the session is over."""
    page = thumb.page
    page.wait_for_url("**/session/")
    when(page, "window.floorPage && floorPage.state.now")
    until(lambda: page.locator("#keypad button").count(), "the keypad")
    assert too_low(page) == []
    told, since_s, taps = None, time.monotonic(), thumb.taps
    while not page.evaluate("floorPage.state.home.over"):
        if page.evaluate("!!floorPage.state.ask"):
            thumb.tap("button", "Yes, accept")
            until(lambda: not page.evaluate("!!floorPage.state.ask"), "the answer")
        now = page.evaluate("floorPage.state.now")
        asked = now["mode"], now["label"], page.evaluate("JSON.stringify(floorPage.state.places)")
        assert time.monotonic() - since_s < WAIT_S, page.evaluate("JSON.stringify(floorPage.state)")
        if now["mode"] in ("hold", "go", "check") and told != asked:
            told, since_s = asked, time.monotonic()
            for mm in readings(now["label"]):
                thumb.key(*keys_of(mm))
                thumb.readings += 1
        time.sleep(0.05)
    thumb.keys += thumb.taps - taps


def test_a_whole_job_with_a_tape_on_the_keypad(served: Page, phone: Any, tmp_path: Path) -> None:
    page = phone(served.url, accept_downloads=True)
    page.set_default_timeout(20_000)
    thumb = Thumb(page, looks=False)
    job = tmp_path / "jobs" / "Tape.sqlite"
    line_mm = 48.1875 * 25.4
    l_shaped_room(thumb, "Tape", spacing="5")
    page.get_by_label("A tape or staff").tap()
    thumb.tap("button", "Shoot the benchmark")
    session_with_tape(thumb, lambda label: [line_mm])
    thumb.session("survey")
    thumb.tap("button", "Begin the survey")
    session_with_tape(thumb, lambda label: [line_mm + 2.0 * (label != "BM1")])
    thumb.session("floor")
    plan_and_markers(thumb)
    with Job.open(job) as told:
        target_mm = told.markers()[0].target_reading_mm
    tops_mm = [target_mm + 12.7, target_mm]
    thumb.tap("button", "Begin setting")
    session_with_tape(thumb, lambda label: [line_mm] if label == "BM1" else tops_mm)
    thumb.session("pour")
    pour(thumb)
    thumb.tap("button", "Shoot the benchmark again")
    session_with_tape(thumb, lambda label: [line_mm])
    thumb.session("proof")
    thumb.tap("button", "Survey the cured floor")
    session_with_tape(thumb, lambda label: [line_mm] if label == "BM1" else [target_mm])
    thumb.session("report")
    written = downloaded(thumb)
    assert "Floor report: Tape" in written
    assert thumb.taps - thumb.keys <= 60, thumb.taps - thumb.keys
    assert thumb.keys <= 6 * thumb.readings, (thumb.keys, thumb.readings)
    with Job.open(job) as told:
        floor = told.shots(kinds=["floor"])
        assert len(floor) == len(told.points()) == len(told.shots(kinds=["finished"]))
        assert floor[0].reading_mm == pytest.approx(line_mm + 2, abs=25.4 / 64)
        assert told.settings.typed_unit == "in"
        assert len(told.outline_rings()[0]) == 6
        assert all(marker.is_set for marker in told.markers())
