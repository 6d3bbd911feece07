"""The page in a real Chromium, beside a real session with a simulated rod on a pseudo-terminal."""

import json
import signal
import sqlite3
import time
from typing import Any

import pytest

from rig.page.server import Page
from rig.page.site import Site
from tests.page.conftest import rig, until, violations, when

pytestmark = pytest.mark.timeout(180)

WATCH = """() => {
  window.shown = [];
  const prompt = document.querySelector('#prompt');
  new MutationObserver(() => {
    const {mode, move} = document.body.dataset;
    window.shown.push([mode, prompt.textContent, move]);
  }).observe(document.body, {subtree: true, childList: true, attributes: true});
}"""


def texts(page: Any) -> Any:
    return [text for mode, text, _ in page.evaluate("shown") if mode == "prompt"]


def test_a_whole_round_of_markers_on_the_page(job: Any, rod: Any, live: Any, phone: Any) -> None:
    port, hear = rod("--follow", "--room-mm", "2438.4,1828.8", "--mistakes", "0", speed=5)
    session = live(
        "set", "--job", job, "--serial", port, "--skip-check", "--speed", "5", hears=hear
    )
    page = phone(session.url)
    page.evaluate(WATCH)
    page.locator("#sound").click()
    session.wait("done", 90.0)
    when(page, "document.body.dataset.mode == 'done'")

    told = {event["text"] for event in session.of("prompt")}
    shown = set(texts(page))
    assert len(shown) > 5
    assert shown <= told  # word for word
    words = {text.split()[0] for text in shown}
    assert "hold" in words
    assert words & {"raise", "lower"}
    assert page.evaluate("floorPage.state.places.every(place => place.state == 'done')")
    markers = len(session.of("set"))
    assert page.locator("#count").inner_text() == f"{markers} of {markers}"

    said = page.evaluate("floorPage.said")
    assert any(words.startswith("set. next, M ") for words in said)
    assert any(words.startswith(("raise ", "lower ")) for words in said)
    assert not any("/" in words for words in said)
    sounded = set(page.evaluate("floorPage.sounded"))
    assert "set" in sounded
    assert sounded & {"raise", "lower"}
    for mode, text, move in page.evaluate("shown"):
        assert mode != "prompt" or text.split()[0] == move


def test_the_word_stands_where_the_marker_is_to_go(
    fresh_job: Any, rod: Any, live: Any, phone: Any
) -> None:
    """Above the line for raise, below it for lower, across it for hold; never colour alone."""
    port, _ = rod()
    session = live("survey", "--job", fresh_job, "--serial", port, "--dwell", "300")
    page = phone(session.url)
    session.wait("armed")
    page.get_by_role("button", name="Skip").wait_for()
    session.process.send_signal(signal.SIGSTOP)  # nothing of its own comes in between
    for width, height in ((390, 844), (320, 568), (844, 390), (1440, 900)):
        page.set_viewport_size({"width": width, "height": height})
        for text in ("raise 3/16", "lower 1 13/32", "hold", "raise 12.5 mm", "lower 104.5 mm"):
            move = text.split()[0]
            box = page.evaluate(
                """now => new Promise(done => {
                  floorPage.hear({state: {now}});
                  requestAnimationFrame(() => requestAnimationFrame(() => {
                    const at = (id) => document.querySelector(id).getBoundingClientRect();
                    const range = document.createRange();
                    range.selectNodeContents(document.querySelector('#prompt'));
                    const p = range.getBoundingClientRect(), f = at('#field');
                    done({top: p.top, bottom: p.bottom, left: p.left, right: p.right,
                          line: at('#datum').top, field: [f.left, f.top, f.right, f.bottom],
                          text: document.querySelector('#prompt').innerText});
                  }));
                })""",
                {"mode": "prompt", "text": text, "move": move, "shown": text, "label": "M1"},
            )
            left, top, right, bottom = box["field"]
            assert box["text"] == text
            assert left <= box["left"], (text, width)
            assert box["right"] <= right, (text, width)
            assert top - 2 <= box["top"] < box["bottom"] <= bottom + 2, (text, width)
            if move == "raise":
                assert box["bottom"] <= box["line"] + 4, (text, width)
            elif move == "lower":
                assert box["top"] >= box["line"] - 4, (text, width)
            else:
                assert box["top"] < box["line"] < box["bottom"]
    session.process.send_signal(signal.SIGCONT)


def test_taps_act_in_the_session(fresh_job: Any, rod: Any, live: Any, phone: Any) -> None:
    port, _ = rod()
    session = live("survey", "--job", fresh_job, "--serial", port, "--dwell", "300")
    page = phone(session.url)
    first = session.wait("armed")
    when(page, f"document.querySelector('#prompt').textContent == '{first['label']}'")
    page.get_by_role("button", name="Skip").tap()
    assert session.wait("skipped")["label"] == first["label"]

    page.locator("#plan text.label", has_text="B1").tap()
    session.wait("next", label="B1")
    when(page, "document.querySelector('#prompt').textContent == 'B1'")
    assert "from the" in page.locator("#where").inner_text()

    page.get_by_role("button", name="Go to").tap()
    page.get_by_role("button", name="C2 to do").tap()
    session.wait("next", label="C2")
    page.get_by_role("button", name="Undo").tap()
    undone = session.wait("undone")
    assert (undone["label"], undone["what"]) == (first["label"], "skip")
    page.get_by_role("button", name="Undo").tap()
    page.locator("#notes", has_text=session.wait("trouble", reason="undo")["text"]).wait_for()
    page.get_by_role("button", name="Accept").tap()
    session.wait("trouble", reason="accept")


def test_of_two_phones_one_acts_and_the_other_may_take_over(
    fresh_job: Any, rod: Any, live: Any, phone: Any
) -> None:
    port, _ = rod()
    session = live("survey", "--job", fresh_job, "--serial", port, "--dwell", "300")
    one = phone(session.url, bypass_csp=True)
    one.get_by_role("button", name="Skip").wait_for()
    assert violations(one) == []
    other = phone(session.url)
    other.get_by_role("button", name="Take over").wait_for()
    assert other.get_by_role("button", name="Skip").count() == 0
    other.evaluate("floorPage.send({say: 'act', act: 'skip'})")
    until(lambda: "Another phone acts" in other.locator("#last").inner_text())
    assert not session.of("skipped")

    before = one.evaluate("floorPage.state.now")
    other.get_by_role("button", name="Take over").tap()
    other.get_by_role("button", name="Skip").tap()
    session.wait("skipped")
    one.get_by_role("button", name="Take over").wait_for()
    now = "floorPage.state.now"
    until(lambda: one.evaluate(now) == other.evaluate(now) != before)


def test_a_phone_that_lost_its_wifi_says_so_and_catches_up(
    job: Any, rod: Any, live: Any, phone: Any
) -> None:
    port, hear = rod("--follow", "--room-mm", "2438.4,1828.8", "--mistakes", "0", speed=3)
    session = live(
        "set", "--job", job, "--serial", port, "--skip-check", "--speed", "3", hears=hear
    )
    page = phone(session.url)
    when(page, "document.body.dataset.mode == 'prompt'")
    page.context.set_offline(True)
    when(page, "document.body.dataset.link == 'old'")
    assert page.locator("#prompt").inner_text() == "link lost"
    assert "this is old" in page.locator("#old").inner_text()
    page.locator("#plan circle").first.wait_for()  # the last state is still there
    taken = len(session.of("set"))
    until(lambda: len(session.of("set")) > taken, "a marker set meanwhile", 60.0)
    page.context.set_offline(False)
    when(page, "document.body.dataset.link == 'live'")
    when(page, f"floorPage.state.places.filter(place => place.state == 'done').length > {taken}")
    assert page.locator("#old").is_hidden()


def test_a_link_that_only_falls_silent_takes_the_prompt_back_too(
    job: Any, rod: Any, live: Any, phone: Any
) -> None:
    port, hear = rod("--follow", "--room-mm", "2438.4,1828.8", "--mistakes", "0")
    session = live("set", "--job", job, "--serial", port, "--skip-check", hears=hear)
    page = phone(session.url)
    when(page, "document.body.dataset.mode == 'prompt'")
    session.process.send_signal(signal.SIGSTOP)  # no end of the connection, no more words
    begun = time.monotonic()
    until(lambda: page.locator("#prompt").inner_text() == "link lost")
    assert time.monotonic() - begun < 4.0
    session.process.send_signal(signal.SIGCONT)
    when(page, "document.body.dataset.link == 'live' && document.body.dataset.mode == 'prompt'")


def test_a_key_that_is_missing_wrong_or_old_opens_nothing(
    fresh_job: Any, rod: Any, live: Any, phone: Any
) -> None:
    port, _ = rod()
    session = live("survey", "--job", fresh_job, "--serial", port, "--dwell", "300")
    site, key = session.url.rstrip("/").rsplit("/", 1)
    page = phone("about:blank")
    for address in (f"{site}/", f"{site}/{key[:-1]}/", f"{site}/page.js", f"{site}/live"):
        answer = page.goto(address)
        assert answer.status == 403
        assert key not in answer.text()
    opened = page.evaluate(
        """site => new Promise(done => {
          const socket = new WebSocket(site.replace('http', 'ws') + '/live');
          socket.onopen = () => done(true); socket.onerror = () => done(false);
        })""",
        site,
    )
    assert opened is False
    page.wrong.clear()  # the refusal's own policy

    page.goto(session.url)
    page.get_by_role("button", name="Skip").wait_for()
    port_number = site.rsplit(":", 1)[1]
    session.stop()
    again = live("survey", "--job", fresh_job, "--serial", port, "--dwell", "300",
                 "--port", port_number)  # fmt: skip
    assert again.url != session.url
    assert page.goto(session.url).status == 403
    assert page.goto(again.url).status == 200


def test_a_page_left_open_over_a_restart_says_that_its_address_is_old(
    fresh_job: Any, rod: Any, live: Any, phone: Any
) -> None:
    port, _ = rod()
    session = live("survey", "--job", fresh_job, "--serial", port, "--dwell", "300")
    page = phone(session.url)
    page.get_by_role("button", name="Skip").wait_for()
    session.process.kill()
    when(page, "document.body.dataset.link == 'old'")
    live("survey", "--job", fresh_job, "--serial", port, "--dwell", "300",
         "--port", session.url.split(":")[2].split("/")[0])  # fmt: skip
    page.locator("#old", has_text="address is old").wait_for(timeout=15_000)


def test_nothing_is_asked_of_anybody_else(fresh_job: Any, rod: Any, live: Any, phone: Any) -> None:
    port, _ = rod()
    session = live("survey", "--job", fresh_job, "--serial", port, "--dwell", "300")
    page = phone(session.url)
    page.get_by_role("button", name="Skip").wait_for()
    assert len(page.asked) >= 5
    assert all(address.startswith(session.url) for address in page.asked)
    answer = page.request.get(session.url)
    policy = answer.headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    tried = page.evaluate(
        """() => fetch('http://127.0.0.1:9/').then(() => 'sent', error => String(error))"""
    )
    assert "sent" not in tried
    assert len(page.wrong) >= 1  # the policy said so
    page.wrong.clear()


def test_the_first_prompt_is_there_within_a_second_of_opening(
    job: Any, rod: Any, live: Any, phone: Any
) -> None:
    port, hear = rod("--follow", "--room-mm", "2438.4,1828.8", "--mistakes", "0")
    session = live("set", "--job", job, "--serial", port, "--skip-check", hears=hear)
    session.wait("prompt")
    page = phone(session.url)
    when(page, "floorPage.state.now")
    opened = page.evaluate("performance.now()")
    assert opened < 1000
    assert page.evaluate("document.querySelector('#prompt').textContent") != "opening"


def test_acts_of_the_page_are_in_the_jobs_log(
    fresh_job: Any, rod: Any, live: Any, phone: Any
) -> None:
    port, _ = rod()
    session = live("survey", "--job", fresh_job, "--serial", port, "--dwell", "300")
    page = phone(session.url)
    page.get_by_role("button", name="Skip").tap()
    session.wait("skipped")
    session.stop()
    with sqlite3.connect(fresh_job) as file:
        acts = [
            json.loads(row[0]) for row in file.execute("select data from event where kind='act'")
        ]
    assert {"act": "skip", "argument": None} in acts


def test_a_screen_reader_and_a_glove_find_their_way(
    job: Any, rod: Any, live: Any, phone: Any
) -> None:
    port, hear = rod("--follow", "--room-mm", "2438.4,1828.8", "--mistakes", "0")
    session = live("set", "--job", job, "--serial", port, "--skip-check", hears=hear)
    page = phone(session.url, bypass_csp=True)  # for axe itself
    when(page, "document.body.dataset.mode == 'prompt'")
    for width, height in ((390, 844), (820, 1180), (1440, 900), (844, 390)):
        page.set_viewport_size({"width": width, "height": height})
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme)
            assert violations(page) == []
        page.get_by_role("button", name="Go to").click()
        assert violations(page) == []
        targets = page.evaluate(
            """() => [...document.querySelectorAll('button')].filter(b => b.offsetParent)
                  .map(b => [b.textContent, b.offsetWidth, b.offsetHeight])"""
        )
        assert all(min(wide, high) >= 64 for _, wide, high in targets), targets
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        page.get_by_role("button", name="Back").click()


def test_a_report_is_read_on_a_phone_without_scrolling_sideways(
    job: Any, phone: Any, tmp_path: Any
) -> None:
    rig("report", "--job", job, "--out", tmp_path / "crew.html")
    page = phone(f"file://{tmp_path / 'crew.html'}")
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    # Words in drawings stay of some size where a drawing is fitted to the phone.
    scales = page.evaluate(
        "[...document.querySelectorAll('figure svg')].map(one => one.getBoundingClientRect().width"
        " / one.viewBox.baseVal.width * 25.4 / 96)"
    )
    assert scales
    assert min(scales) > 0.7


def test_an_app_says_that_its_box_is_out_of_reach(served: Page, phone: Any) -> None:
    assert isinstance(served.site, Site)
    served.site.encrypted = True  # this machine's own address is as good as an encrypted link
    page = phone(served.url)
    when(page, "!!navigator.serviceWorker.controller")
    page.context.set_offline(True)
    page.goto(served.url + "new")
    page.get_by_role("heading", name="No box in reach").wait_for()
    ground = page.evaluate("getComputedStyle(document.body).backgroundColor")
    assert ground == "rgb(246, 244, 239)"  # in its own style, which was kept
    page.context.set_offline(False)
    page.get_by_role("link", name="Try again").tap()
    page.get_by_label("Name").wait_for()
