"""The live page in a real Chromium: from a reading to changed pixels, five phones attached.

The rod is a pseudo-terminal written to at 20 lines a second; five pages are open. A frame that
shows a reading is noticed by the page itself after it is painted (a message sent from within the
animation frame arrives once that frame is done), by the clock that the writer stamps with.
"""

import json
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import threading
import time
import tty
from functools import partial
from pathlib import Path
from typing import Any

from rig.units import METRIC

RATE_HZ = 20
COUNT = 300
PHONES = 5
ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"]
ARGUMENTS += ["--disable-background-networking", "--disable-component-update", "--disable-sync"]
# Each height is a text of its own on the screen; when its frame is painted, when it was.
WATCH = """() => {
  window.painted = {};
  const shown = document.querySelector('#shown');
  new MutationObserver(() => {
    const text = shown.textContent;
    requestAnimationFrame(() => {
      const after = new MessageChannel();
      after.port1.onmessage = () => {
        window.painted[text] = performance.timeOrigin + performance.now();
      };
      after.port2.postMessage(0);
    });
  }).observe(shown, {childList: true, characterData: true, subtree: true});
}"""


def run() -> list[dict[str, object]]:
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    if chromium is None:
        return [{"what": "page", "value": "-", "against": "needs chromium (apt-get install)"}]
    with tempfile.TemporaryDirectory() as folder:
        job = str(Path(folder) / "job.sqlite")
        _rig("new", "--job", job, "--room", "3m,3m", "--units", "mm")
        _rig("grid", "--job", job)
        delays, first_ms, weight = _measure(job, chromium)
    delays.sort()
    return [
        {
            "what": "reading to painted frame, median ms",
            "value": round(statistics.median(delays), 1),
            "against": f"{PHONES} phones, {RATE_HZ} readings a second, {len(delays)} frames",
        },
        {
            "what": "reading to painted frame, 95th percentile ms",
            "value": round(delays[int(0.95 * len(delays))], 1),
            "against": "aim 50 or less",
        },
        {
            "what": "opening to first prompt, ms",
            "value": round(max(first_ms)),
            "against": f"aim 1000 or less (slowest of {PHONES})",
        },
        {
            "what": "page weight, kB",
            "value": round(weight / 1000, 1),
            "against": "aim 150 or less, all files",
        },
    ]


def _measure(job: str, chromium: str) -> tuple[list[float], list[float], int]:
    from playwright.sync_api import sync_playwright

    master, slave = os.openpty()
    tty.setraw(slave)
    command = [sys.executable, "-m", "rig.cli", "survey", "--job", job, "--json", "--serve"]
    command += ["--serial", os.ttyname(slave), "--profile", "decimal-mm", "--dwell", "600"]
    with subprocess.Popen(
        command, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, text=True
    ) as process, sync_playwright() as playwright:  # fmt: skip
        assert process.stdout is not None
        url = json.loads(process.stdout.readline())["url"]
        threading.Thread(target=process.stdout.read, daemon=True).start()
        browser = playwright.chromium.launch(executable_path=chromium, args=ARGUMENTS)
        pages, first_ms, weight = [], [], 0
        for _ in range(PHONES):
            page = browser.new_context(viewport={"width": 390, "height": 844}).new_page()
            sizes: list[int] = []
            page.on("response", partial(_weigh, sizes))
            page.goto(url)
            first_ms.append(_first_prompt_ms(page))
            page.evaluate(WATCH)
            weight = sum(sizes)
            pages.append(page)
        written = _write(master)
        time.sleep(1.0)
        delays = []
        for page in pages:
            painted = page.evaluate("() => window.painted")
            delays += [painted[text] - at for text, at in written.items() if text in painted]
        browser.close()
        process.terminate()
    return delays, first_ms, weight


def _weigh(sizes: list[int], answer: Any) -> None:
    sizes.append(len(answer.body()))


def _first_prompt_ms(page: Any) -> float:
    while True:
        told = page.evaluate(
            "() => floorPage.state.now && floorPage.state.now.shown"
            " && document.querySelector('#prompt').textContent === floorPage.state.now.shown"
            " ? performance.now() : 0"
        )
        if told:
            return float(told)
        time.sleep(0.005)


def _write(master: int) -> dict[str, float]:
    """Write heights at the rate; return when each text was written, in ms since 1970."""
    written = {}
    begun = time.monotonic()
    for n in range(COUNT):
        time.sleep(max(0.0, begun + n / RATE_HZ - time.monotonic()))
        height = 1000.0 + n * 0.5
        written[METRIC.length(height)] = time.time() * 1000.0
        os.write(master, f"{height:.1f}\r\n".encode())
    return written


def _rig(*words: str) -> None:
    subprocess.run([sys.executable, "-m", "rig.cli", *words], check=True, capture_output=True)
