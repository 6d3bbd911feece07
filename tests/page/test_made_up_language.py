"""Every page in a language that nobody speaks, on the narrowest phone: none English, none cut."""

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest

from rig.job.folder import JobFolder
from rig.language import tongues
from rig.page.server import Page
from rig.page.site import Site
from rig.page.steps import STEPS
from rig.page.work import Rods, Work
from tests.cli.conftest import Run
from tests.cli.conftest import run as run
from tests.language.made_up import MADE_UP, english
from tests.report.jobs import make

pytestmark = pytest.mark.timeout(180)
NARROW = {"width": 320, "height": 568}

# What is typed, what stands for itself, and names.
NAMES: set[str] = {"floor", "rig"}

LOOK = (Path(__file__).parent / "look_over.js").read_text("utf-8")


def looked_over(page: Any) -> tuple[set[str], list[Any]]:
    """Texts of a page with English in them, and texts that are cut, lie over others or beyond."""
    told, wrong = page.evaluate(LOOK)
    return {text for text in told if english(text) - NAMES}, wrong


def test_no_page_of_a_job_is_english_or_cut(
    run: Run, phone: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = JobFolder(tmp_path / "jobs")
    folder.make()
    elsewhere = ThreadPoolExecutor(1)  # this thread has the browser in its loop
    for stage, name in (("finished", "Q1"), ("grid", "Q2"), ("pour planned", "Q3")):
        Path(elsewhere.submit(make, run, stage).result()).replace(
            tmp_path / "jobs" / f"{name}.sqlite"
        )
    monkeypatch.setattr(tongues, "_usual", [MADE_UP])
    page = Page()
    page.site = Site(folder, Work(page, Rods()), Rods())
    page.start()
    found: dict[str, Any] = {}
    try:
        one = phone(page.url, viewport=NARROW)
        paths = ["", "new", "firm", "quick", "rods"]
        paths += [f"j/Q1/{key}" for key in STEPS]
        paths += [f"j/Q2/{key}" for key in ("survey", "floor", "plan", "pour", "proof", "report")]
        paths += [f"j/Q3/{key}" for key in ("set", "log")]
        for path in paths:
            one.goto(page.url + path)
            one.wait_for_timeout(30)
            words, wrong = looked_over(one)
            if words or wrong:
                found[path] = (words, wrong)
    finally:
        page.site.close()
        page.close()
    for path, (words, wrong) in found.items():
        print(path, sorted(words), *wrong, sep="\n   ")
    assert not found
