"""A trainee works a whole practice round with a finger on the plan."""

import json
import time
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from tests.page.conftest import until, violations, when

pytestmark = pytest.mark.timeout(180)

AT = """(place) => {
  const svg = document.querySelector('#plan');
  const spot = new DOMPoint(place[0], -place[1]).matrixTransform(svg.getScreenCTM());
  return [spot.x, spot.y];
}"""


def walk(page: Any, x: Any, y: Any) -> None:
    """Drag the rod to a place and let it stand."""
    at = page.evaluate(AT, [x, y])
    page.mouse.move(at[0] - 30, at[1] - 20)
    page.mouse.down()
    for share in (0.4, 0.8, 1.0):
        page.mouse.move(at[0] - 30 * (1 - share), at[1] - 20 * (1 - share))
        time.sleep(0.07)
    page.mouse.up()


def now(page: Any) -> Any:
    return page.evaluate(
        "() => [floorPage.state.job.screen, floorPage.state.now, floorPage.state.here]"
    )


def work(page: Any) -> None:
    """Do what the page says until the pour begins."""
    stood, stood_s, held_s = None, 0.0, time.monotonic()
    while True:
        screen, told, here = now(page)
        if screen == "pour":
            return
        mode = told["mode"]
        goes = here and here["x"] is not None and mode in ("go", "hold", "check")
        # Who gets no shot for so long lifts the rod and stands it there again.
        if goes and (here != stood or time.monotonic() - stood_s > 8.0):
            walk(page, here["x"], here["y"])
            stood, stood_s = here, time.monotonic()
        elif screen == "set" and mode == "prompt" and told["move"] != "hold":
            word, amount = told["text"].split(" ", 1)
            name = "Up" if word == "raise" else "Down"
            turn = "1/8" if sum(map(Fraction, amount.split())) >= Fraction(1, 8) else "1/32"
            page.get_by_role("button", name=f"{name} {turn}").click()
            # Who turns on before the prompt has followed turns a marker that is set by then.
            turned_s = time.monotonic()
            while now(page)[1]["text"] == told["text"] and time.monotonic() - turned_s < 5.0:
                time.sleep(0.05)
        if mode != "prompt" or told["move"] != "hold":
            held_s = time.monotonic()
        elif time.monotonic() - held_s > 3.0:  # on the edge of the tolerance: the trainee decides
            page.get_by_role("button", name="Accept").click()
            held_s = time.monotonic()
        time.sleep(0.05)


def test_a_round_of_practice_is_worked_scored_and_seen_again(
    live: Any, phone: Any, tmp_path: Path
) -> None:
    session = live("practice", "--room", "5ft,4ft", "--seed", "2", "--speed", "8",
                   "--out", tmp_path / "round")  # fmt: skip
    page = phone(session.url, bypass_csp=True)
    page.locator("#notes", has_text="Drag the rod").wait_for()
    page.get_by_role("button", name="Begin").click()
    work(page)
    batch = page.get_by_role("button", name="Batch poured")
    batches = page.evaluate("() => floorPage.state.pour.batches")
    for n in range(batches):
        batch.click()
        when(page, f"floorPage.state.pour.poured > {n}")
        time.sleep(0.3)
    page.get_by_role("button", name="More").click()
    page.get_by_role("button", name="End the pour").click()
    page.get_by_role("button", name="Yes, it is over").click()

    page.locator("#scorerows tr").first.wait_for(timeout=60_000)
    told = until(lambda: next((t for t in session.events if "score" in t), None), "the score")
    score = told["score"]
    assert score["markers"] == score["markers_of"] > 0
    assert score["markers_worst_mm"] < 1.5
    assert score["wasted"] == 0
    assert score["bags_used"] == pytest.approx(score["bags_needed"], abs=1.5)
    assert violations(page) == []
    rows = {row["what"]: row for row in told["rows"]}
    shown = page.locator("#scorerows").inner_text()
    assert all(row["got"] in shown for row in rows.values())
    assert rows["shots"]["good"] is True
    assert json.loads((tmp_path / "round" / "hands.json").read_text())

    page.get_by_role("button", name="See it again").click()
    when(page, "floorPage.state.job.screen == 'survey' && floorPage.state.hand")
    when(page, "floorPage.state.places.some(place => place.state == 'done')")
    page.get_by_role("button", name="Finish").click()
    when(page, "floorPage.state.job.screen == 'score'")
    page.get_by_role("button", name="Finish").click()
    session.process.wait(20)
    assert session.process.returncode == 0
