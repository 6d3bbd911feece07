"""A real browser, a real session in a process of its own, a simulated rod on its own port."""

import json
import os
import shutil
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from rig.job.folder import JobFolder
from rig.page.server import Page
from rig.page.site import Site
from rig.page.work import Rods, Work

ARGUMENTS = [
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
WAIT_S = 20.0
AXE = """(options) => axe.run(options).then((told) => told.violations.map(
  (rule) => [rule.id, rule.nodes.map((node) => node.html)]))"""


def until(true: Callable[[], Any], what: str = "it", wait_s: float = WAIT_S) -> Any:
    """Wait until something is true and return it."""
    end_s = time.monotonic() + wait_s
    while time.monotonic() < end_s:
        found = true()
        if found:
            return found
        time.sleep(0.02)
    raise AssertionError(f"{what} did not come within {wait_s:g} s")


def when(page: Any, true: str) -> Any:
    """Wait until an expression is true in a page; Playwright's own way needs an unsafe policy."""
    return until(lambda: page.evaluate(f"() => {true}"), true)


def too_low(page: Any) -> list[Any]:
    """Targets of a live page that a thumb in a wet glove misses: lower than 60 px."""
    found: list[Any] = page.evaluate(
        "[...document.querySelectorAll('button')].filter((one) => one.checkVisibility())"
        ".map((one) => [one.innerText, one.getBoundingClientRect().height])"
        ".filter(([, high]) => high < 59.5)"
    )
    return found


def violations(page: Any, *rules: str) -> list[Any]:
    """What axe-core finds wrong in a page (opened with `bypass_csp`), by these rules or by all."""
    from axe_core_python.sync_playwright import Axe

    if not page.evaluate("!!window.axe"):
        page.evaluate(Axe().axe_script)
    options = {"resultTypes": ["violations"]} | ({"runOnly": list(rules)} if rules else {})
    found: list[Any] = page.evaluate(AXE, options)
    return found


def rig(*words: object) -> str:
    done = subprocess.run(
        [sys.executable, "-m", "rig.cli", *map(str, words)],
        capture_output=True,
        text=True,
        stdin=subprocess.DEVNULL,
    )
    assert done.returncode == 0, (words, done.stderr)
    return done.stdout


class Live:
    """A command that serves the page, and the events that it has told so far."""

    def __init__(self, *words: object, hears: Any = None) -> None:
        self.events: list[dict[str, Any]] = []
        self._hears = hears
        self.process = subprocess.Popen(
            [sys.executable, "-m", "rig.cli", *map(str, words), "--json"],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        threading.Thread(target=self._read, daemon=True).start()
        self.url = self.wait("serving")["url"]

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            told = json.loads(line)
            self.events.append(told)
            if self._hears is not None and told["event"] != "reading":
                self._hears(line)

    def of(self, name: str) -> list[dict[str, Any]]:
        return [told for told in list(self.events) if told.get("event") == name]

    def wait(self, name: str, wait_s: float = WAIT_S, **values: Any) -> dict[str, Any]:
        def there() -> Any:
            if self.process.poll() is not None and not self.of(name):
                raise AssertionError(self.process.stderr and self.process.stderr.read())
            return next((told for told in self.of(name) if values.items() <= told.items()), None)

        found: dict[str, Any] = until(there, f"{name} {values}", wait_s)
        return found

    def stop(self) -> None:
        self.process.send_signal(signal.SIGCONT)
        self.process.terminate()
        self.process.wait(10)


@pytest.fixture
def served(tmp_path: Path) -> Iterator[Page]:
    """The pages of an empty folder of jobs, served by this process, without a simulated rod."""
    folder = JobFolder(tmp_path / "jobs")
    folder.make()
    page = Page()
    page.site = Site(folder, Work(page, Rods()), Rods())
    page.site.wait_s = 0.2
    page.start()
    yield page
    page.site.close()
    page.close()


@pytest.fixture
def live() -> Iterator[Callable[..., Live]]:
    """Start commands that serve the page; they are stopped at the end."""
    started: list[Live] = []

    def start(*words: object, **more: Any) -> Live:
        if words[0] not in ("serve", "practice"):
            words += ("--serve",)
        started.append(Live(*words, **more))
        return started[-1]

    yield start
    for one in started:
        one.stop()


@pytest.fixture
def rod() -> Iterator[Callable[..., Any]]:
    """Start simulated rods: (port, what hears the tool's events)."""
    started: list[subprocess.Popen[str]] = []

    def start(*words: str, speed: float = 1.0) -> tuple[str, Callable[[str], None]]:
        process = subprocess.Popen(
            [sys.executable, "-m", "simulated_devices", "serial", "--rate", "20",
             "--speed", str(speed), *words],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )  # fmt: skip
        started.append(process)
        assert process.stdout is not None
        port = process.stdout.readline().strip()

        def hear(line: str) -> None:
            assert process.stdin is not None
            try:
                process.stdin.write(line)
                process.stdin.flush()
            except BrokenPipeError:
                pass

        return port, hear

    yield start
    for process in started:
        process.terminate()
        process.wait(10)


@pytest.fixture(scope="session")
def planned(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A job of a small room, planned, with markers laid out; data invented."""
    folder = tmp_path_factory.mktemp("planned")
    path, table = folder / "job.sqlite", folder / "shots.csv"
    room = ["--room", "8ft,6ft", "--door", "2ft,0ft,3ft", "--units", "in", "--min-cover", "1/4in"]
    rig("new", "--job", path, *room, "--bag-yield", "0.45ft3")
    points = json.loads(rig("grid", "--job", path, "--json"))["points"]
    shutil.copy(path, folder / "fresh.sqlite")
    rows = [
        f"{p['label']},{p['x_mm']},{p['y_mm']},{60 + (7 * n) % 5},0.2" for n, p in enumerate(points)
    ]
    table.write_text("label,x,y,reading,stderr\n" + "\n".join(rows) + "\n")
    rig("import", "--job", path, table, "--unit", "mm")
    rig("plan", "--job", path)
    rig("markers", "--job", path)
    return folder


@pytest.fixture
def job(planned: Path, tmp_path: Path) -> Path:
    """A planned job with markers laid out, none set."""
    return Path(shutil.copy(planned / "job.sqlite", tmp_path))


@pytest.fixture
def fresh_job(planned: Path, tmp_path: Path) -> Path:
    """A job with a grid and no shot."""
    return Path(shutil.copy(planned / "fresh.sqlite", tmp_path))


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """Debian's Chromium; `tools/test` installs it. Its loop is in no other module's way."""
    from playwright.sync_api import sync_playwright

    path = shutil.which("chromium") or shutil.which("chromium-browser")
    assert path, "Chromium is missing: bash tools/test installs it where it may"
    arguments = [*ARGUMENTS, *(["--no-sandbox"] if os.geteuid() == 0 else [])]
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=path, args=arguments)
        yield chromium
        chromium.close()


@pytest.fixture
def phone(browser: Any) -> Iterator[Callable[..., Any]]:
    """Open a phone of its own at an address; an error or a refused resource fails the test."""
    wrong: list[str] = []
    contexts = []

    def open_phone(url: str, **more: Any) -> Any:
        context = browser.new_context(
            **{"viewport": {"width": 390, "height": 844}, "has_touch": True, **more}
        )
        contexts.append(context)
        page = context.new_page()
        page.on("pageerror", lambda error: wrong.append(str(error)))
        page.on(
            "console",
            lambda said: (
                wrong.append(said.text)
                if said.type == "error" and "Content Security Policy" in said.text
                else None
            ),
        )
        page.wrong = wrong
        page.asked = []
        page.on("request", lambda request: page.asked.append(request.url))
        page.goto(url)
        return page

    yield open_phone
    for context in contexts:
        context.close()
    assert not wrong
