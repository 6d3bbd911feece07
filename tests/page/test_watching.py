"""`rig serve` beside a session of another process; the pour on the page."""

import itertools
import json
import signal
import time
from typing import Any

import pytest

from rig.job.store import Job
from rig.session.as_of import JobAsOf
from rig.session.following import Follower
from tests.page.conftest import rig, until, violations, when

pytestmark = pytest.mark.timeout(120)
POUR = ["--mixers", "1", "--crew", "3", "--mix-time", "2min", "--working-time", "20min"]


def test_a_page_watches_the_session_of_another_process(
    job: Any, rod: Any, live: Any, phone: Any
) -> None:
    port, hear = rod("--follow", "--room-mm", "2438.4,1828.8", "--mistakes", "0", speed=2.5)
    session = live(
        "set", "--job", job, "--serial", port, "--skip-check", "--speed", "2.5", hears=hear
    )
    session.wait("prompt")
    watching = live("serve", "--job", job)
    page = phone(watching.url)
    when(page, "floorPage.state.job && floorPage.state.job.screen == 'set'")
    assert page.locator("#buttons button").count() == 0
    assert "watches" in page.locator("#turn").inner_text()
    when(page, "document.body.dataset.mode == 'prompt'")

    def shows_one() -> bool:
        told = {event["text"] for event in session.of("prompt")}
        return page.locator("#prompt").inner_text() in told

    until(shows_one, "a prompt of the session")
    session.wait("done", 60.0)
    when(page, "document.body.dataset.mode == 'done'")
    assert page.evaluate("floorPage.state.places.every(place => place.state == 'done')")


def test_a_page_watches_one_session_after_the_other(
    fresh_job: Any, rod: Any, live: Any, phone: Any
) -> None:
    watching = live("serve", "--job", fresh_job)
    page = phone(watching.url)
    when(page, "document.body.dataset.mode == 'idle'")
    assert "Nothing is going on" in page.locator("#prompt").inner_text()
    port, _ = rod()
    session = live("survey", "--job", fresh_job, "--serial", port, "--dwell", "300")
    when(page, "document.body.dataset.mode == 'hold'")
    assert page.locator("#prompt").inner_text() == session.wait("armed")["label"]


def test_a_job_as_of_a_session_knows_nothing_of_it(job: Any, rod: Any, live: Any) -> None:
    port, hear = rod("--follow", "--room-mm", "2438.4,1828.8", "--mistakes", "0", speed=5)
    with Job.open(job) as before:
        shots = [shot.id for shot in before.shots()]
    session = live("set", "--job", job, "--serial", port, "--setup", "new", "--speed", "5",
                   hears=hear)  # fmt: skip
    session.wait("set", 60.0)
    session.stop()
    with Job.open(job) as now:
        then = JobAsOf(now, now.sessions()[-1])
        assert any(marker.is_set for marker in now.markers())
        assert not any(marker.is_set for marker in then.markers())
        assert len(now.shots()) > len(shots)
        assert [shot.id for shot in then.shots()] == shots


def test_a_page_beside_a_survey_shows_the_floor_so_far(
    fresh_job: Any, rod: Any, live: Any, phone: Any
) -> None:
    port, hear = rod("--follow", "--room-mm", "2438.4,1828.8", "--mistakes", "0", speed=5)
    session = live("survey", "--job", fresh_job, "--serial", port, "--speed", "5", hears=hear)
    watching = live("serve", "--job", fresh_job)
    own, other = phone(session.url), phone(watching.url, bypass_csp=True)
    size = "document.querySelector('#plan').getBoundingClientRect().height"
    when(own, "floorPage.state.job && floorPage.state.job.screen == 'survey'")
    before = own.evaluate(size) if own.locator("#sofar").inner_text() == "" else None
    until(lambda: len(session.of("picture")) > 2, "pictures of the floor", 60.0)
    shown = own.locator("#sofar")
    until(lambda: "high point" in shown.inner_text(), "the floor so far", 60.0)
    session.process.send_signal(signal.SIGSTOP)
    try:
        assert "high point" in shown.inner_text()
        assert before in (None, own.evaluate(size))  # it does not move under a finger
        until(lambda: other.locator("#sofar").inner_text() == shown.inner_text(), "the same")
        assert other.locator("#plan .high").count() == 1
        assert violations(other) == []
    finally:
        session.process.send_signal(signal.SIGCONT)


def test_following_a_survey_finds_the_same_picture_and_writes_nothing(
    fresh_job: Any, rod: Any, live: Any
) -> None:
    port, hear = rod("--follow", "--room-mm", "2438.4,1828.8", "--mistakes", "0", speed=5)
    session = live("survey", "--job", fresh_job, "--serial", port, "--speed", "5", hears=hear)
    session.wait("done", 90.0)
    until(lambda: session.process.poll() is not None, "its end")
    before = fresh_job.read_bytes()
    with Job.open(fresh_job) as kept:
        follower = Follower(kept, kept.sessions()[-1])
        pictures: list[Any] = []

        def found() -> Any:
            news = follower.news(time.time())
            pictures.extend(told for told in news if told.event == "picture")
            return pictures and pictures[-1].label == session.of("picture")[-1]["label"]

        until(found, "the last picture")
        follower.close()
    last, told = pictures[-1], session.of("picture")[-1]
    assert last.high.as_json() == pytest.approx(told["high"], abs=0.01)
    assert last.volume_l == pytest.approx(told["volume_l"], abs=0.01)
    assert fresh_job.read_bytes() == before


def strips(page: Any) -> Any:
    """How each strip stands on the plan."""
    return page.evaluate(
        """() => Object.fromEntries([...document.querySelectorAll('#strips path')]
          .map(path => [path.dataset.strip, path.classList[1]]))"""
    )


def test_the_plan_shows_strips_what_is_covered_and_which_is_next(
    job: Any, live: Any, phone: Any
) -> None:
    rig("pour", "plan", "--job", job, *POUR)
    session = live("pour", "run", "--job", job)
    page = phone(session.url, bypass_csp=True)
    when(page, "document.body.dataset.mode == 'batch'")
    areas = page.evaluate("floorPage.state.plan.strips")
    assert len(areas) > 1
    until(lambda: strips(page).get("1") == "next", "the first strip")
    assert set(strips(page).values()) == {"next", "todo"}
    floor_m2 = sum(
        abs(sum(x1 * y2 - x2 * y1 for (x1, y1), (x2, y2) in itertools.pairwise(ring)) / 2e6)
        for area in areas
        for ring in area["rings"]
    )
    assert floor_m2 == pytest.approx(2.4384 * 1.8288, rel=0.02)  # they share out the room

    for n in range(1, len(areas[0]["batches"]) + 1):
        page.get_by_role("button", name="Batch poured").tap()
        page.locator("#question:not([hidden])").or_(page.locator("#flash:not([hidden])")).wait_for()
        if page.locator("#question").is_visible():
            page.get_by_role("button", name="Yes, accept").tap()
        session.wait("batch", n=n)
        when(page, f"floorPage.state.pour.poured === {n}")
    until(lambda: strips(page)["1"] == "covered", "a covered strip")
    until(lambda: strips(page)["2"] == "next", "the strip after it")
    assert page.locator("#numbers .next").text_content() == "strip 2"
    told = page.locator("#plan").get_attribute("aria-label")
    assert "Strips covered: 1. Next: strip 2." in told
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)
        assert violations(page) == []
    page.get_by_role("button", name="Undo").tap()
    until(lambda: strips(page)["1"] == "next", "the strip that is open again")


def test_a_pour_on_the_page(job: Any, live: Any, phone: Any) -> None:
    rig("pour", "plan", "--job", job, *POUR)
    session = live("pour", "run", "--job", job)
    page = phone(session.url, bypass_csp=True)
    when(page, "document.body.dataset.mode == 'batch'")
    assert page.locator("#prompt").inner_text() == "batch 1"
    bags = page.locator("#bags").inner_text()
    page.get_by_role("button", name="Batch poured").tap()
    told = session.wait("batch")
    left = page.locator("#bags")
    until(lambda: left.inner_text() == f"{told['bags_left']:g}", "the bags that are left")
    assert left.inner_text() != bags
    until(lambda: "min" in page.locator("#edge").inner_text(), "the wet edge")

    assert violations(page) == []
    page.get_by_role("button", name="Front").tap()
    page.get_by_role("button", name="strip 1").first.tap()
    assert session.wait("front")["strip"] == 1
    page.get_by_role("button", name="Batch poured").tap()  # too soon after the first: is asked
    page.locator("#question", has_text="say yes").wait_for()
    page.get_by_role("button", name="Yes, accept").tap()
    session.wait("batch", n=2)
    page.get_by_role("button", name="Undo").tap()
    assert session.wait("undone")["label"] == "batch 2"

    page.get_by_role("button", name="More").tap()
    page.get_by_role("button", name="Tick: primer").tap()
    session.wait("ticked")
    page.get_by_role("button", name="More").tap()
    page.get_by_role("button", name="End the pour").tap()
    page.locator("#list", has_text="batches are not poured").wait_for()
    page.get_by_role("button", name="Yes, it is over").tap()
    done = session.wait("done")
    assert done["batches"] == 1
    page.locator("#old", has_text="ended").wait_for()
    assert json.loads(rig("pour", "list", "--job", job, "--json"))["prepour"]
