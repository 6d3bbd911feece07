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


class Thumb:
    """A person at the page: taps are counted, and every page is looked over once."""

    def __init__(self, page: Any, looks: bool) -> None:
        self.page, self.looks, self.taps, self.typed = page, looks, 0, 0
        self.readings = 0
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
            self.taps += 1
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


class Forms:
    """What the other journey taps, sent as a phone without scripts sends it."""

    def __init__(self, page: Any, url: str) -> None:
        self.page, self.url = page, url
        self.origin = url.rsplit("/", 2)[0]

    def send(self, path: str, **fields: str) -> None:
        answer = self.page.request.post(
            self.url + path, form=fields, headers={"Origin": self.origin}, max_redirects=0
        )
        assert answer.status == 303, (path, answer.text())


def keys_of(mm: float) -> tuple[str, ...]:
    """The keys for a reading, to the nearest thirty-second of an inch."""
    whole, part = divmod(round(mm / 25.4 * 32), 32)
    sixteenth = (str(Fraction(part // 2, 16)),) if part > 1 else ()
    return (*str(whole), *sixteenth, *(("+1/32",) if part % 2 else ()), "Take")


def session_with_tape(thumb: Thumb, url: str, readings: Callable[[str], Sequence[float]]) -> None:
    """Type what the tape reads wherever the page asks, until the session is over."""
    page = thumb.page
    page.goto(url + "session/")
    when(page, "window.floorPage && floorPage.state.now")
    until(lambda: page.locator("#keypad button").count(), "the keypad")
    assert too_low(page) == []
    told, since_s = None, time.monotonic()
    while not page.evaluate("floorPage.state.home.over"):
        now = page.evaluate("floorPage.state.now")
        asked = now["mode"], now["label"], page.evaluate("JSON.stringify(floorPage.state.places)")
        assert time.monotonic() - since_s < WAIT_S, (now, page.evaluate("floorPage.state"))
        if now["mode"] in ("hold", "go", "check") and told != asked:
            told, since_s = asked, time.monotonic()
            for mm in readings(now["label"]):
                thumb.key(*keys_of(mm))
                thumb.readings += 1
        time.sleep(0.05)


def test_a_whole_job_with_a_tape_on_the_keypad(served: Page, phone: Any, tmp_path: Path) -> None:
    """In the browser what the keypad is for; the forms are those of the journey above."""
    page = phone(served.url)
    page.set_default_timeout(20_000)
    thumb = Thumb(page, looks=False)
    job = tmp_path / "jobs" / "Tape.sqlite"
    forms, here, tape = Forms(page, served.url), "j/Tape/", {"source": "tape"}
    forms.send("new", name="Tape", units="in", shape="walls", act="make", length="",
               walls="8ft left 7ft left 4ft left 3ft right 4ft left 4ft left")  # fmt: skip
    for x, y in (("2", "0"), ("6", "7")):
        forms.send(here + "room", act="door", door_width="3ft", x=x, y=y)
    forms.send(here + "room", act="opening", wide="1", deep="1", x="6", y="3")
    forms.send(here + "product", act="keep", covering="plank", min_cover="1/4in", bag_mass="50lb",
               bag_yield="0.45ft3")  # fmt: skip
    forms.send(here + "grid", act="grid")
    forms.send(here + "survey", act="benchmark", label="BM1", **tape)
    line_mm = 48.1875 * 25.4
    session_with_tape(thumb, served.url, lambda label: [line_mm])
    thumb.session("survey")
    forms.send(here + "survey", act="survey", **tape)
    session_with_tape(thumb, served.url, lambda label: [line_mm + 2.0 * (label != "BM1")])
    thumb.session("floor")
    forms.send(here + "plan", act="plan", target="level", cover="0.25", confidence="95")
    forms.send(here + "markers", act="lay")
    forms.send(here + "set", act="set", **tape)
    with Job.open(job) as told:
        target_mm = told.markers()[0].target_reading_mm
    tops_mm = [target_mm + 12.7, target_mm]
    session_with_tape(thumb, served.url, lambda label: [line_mm] if label == "BM1" else tops_mm)
    thumb.session("pour")
    forms.send(here + "pour", act="plan", mixers="1", crew="3", mix_time="2", working_time="20",
               bags_per_batch="2")  # fmt: skip
    page.goto(served.url + here + "report")
    with page.expect_download() as waited:
        thumb.tap("link", "report.html")
    written = Path(waited.value.path()).read_text()
    assert "Floor report: Tape" in written
    assert "Pour" in written
    assert thumb.taps <= 60 + 4 * thumb.readings, (thumb.taps, thumb.readings)
    with Job.open(job) as told:
        floor = told.shots(kinds=["floor"])
        assert len(floor) == len(told.points())
        assert floor[0].reading_mm == pytest.approx(line_mm + 2, abs=25.4 / 64)
        assert told.settings.typed_unit == "in"
        assert len(told.outline_rings()[0]) == 6
        assert all(marker.is_set for marker in told.markers())
