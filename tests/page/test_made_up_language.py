"""Every page in a language that nobody speaks, on the narrowest phone: none English, none cut."""

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from copy import deepcopy
from pathlib import Path
from pprint import pformat
from typing import Any

import pytest

from rig.events import Event
from rig.job.folder import JobFolder
from rig.language import LANGUAGES, tongues
from rig.page.server import Page
from rig.page.site import Site
from rig.page.steps import STEPS
from rig.page.work import Rods, Work
from rig.pour.prepour import STEPS as PREPOUR
from rig.session.scene import Scene
from tests.cli.conftest import Run
from tests.cli.conftest import run as run
from tests.language.made_up import MADE_UP, english
from tests.report.jobs import make

pytestmark = pytest.mark.timeout(180)
NARROW = {"width": 320, "height": 568}

# What is typed, what stands for itself, and names.
LANGUAGES_TOLD = {word for _, name in LANGUAGES.values() for word in english(name)}
STEPS_TYPED = {step.key for step in PREPOUR}
NAMES = (
    STEPS_TYPED
    | LANGUAGES_TOLD
    | {"sentence", "floor", "rig", "room", "oak", "planks", "min", "kpa"}
)

LOOK = (Path(__file__).parent / "look_over.js").read_text("utf-8")


def looked_over(page: Any) -> tuple[set[str], list[Any]]:
    """Texts of a page with English in them, and texts that are cut, lie over others or beyond."""
    told, wrong = page.evaluate(LOOK)
    return {text for text in told if english(text) - NAMES}, wrong


@pytest.fixture
def elsewhere() -> Iterator[ThreadPoolExecutor]:
    """A thread for commands: this one has the browser in its loop."""
    with ThreadPoolExecutor(1) as thread:
        yield thread


def test_no_page_of_a_job_is_english_or_cut(
    run: Run,
    phone: Any,
    elsewhere: ThreadPoolExecutor,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    folder = JobFolder(tmp_path / "jobs")
    folder.make()
    for stage, name in (("finished", "Q1"), ("grid", "Q2"), ("pour planned", "Q3")):
        made = Path(elsewhere.submit(make, run, stage).result())
        made.replace(tmp_path / "jobs" / f"{name}.sqlite")
    monkeypatch.setattr(tongues, "_usual", [MADE_UP])
    page = Page()
    page.site = Site(folder, Work(page, Rods()), Rods())
    page.start()
    try:
        one = phone(page.url, viewport=NARROW)
        paths = ["", "new", "firm", "quick", "rods"]
        paths += [f"j/Q1/{key}" for key in STEPS]
        paths += [f"j/Q2/{key}" for key in ("survey", "floor", "plan", "pour", "proof", "report")]
        paths += [f"j/Q3/{key}" for key in ("set", "log")]
        found = {}
        for path in paths:
            one.goto(page.url + path)
            one.wait_for_timeout(30)
            found[path] = looked_over(one)
    finally:
        page.site.close()
        page.close()
    wrong = {path: told for path, told in found.items() if any(told)}
    assert not wrong, pformat(wrong, width=300)


POUR = "front 1\ntick dam\nbatch\nbatch\nundo\nbatch\nundo\nnonsense\n"
LIVE = (
    ("grid", ("survey",), "1200\n1201\nundo\n1201\n1300\ny\nskip\nwhat\n1204\n1205\nq\n"),
    ("planned", ("set",), "1100\n1180\n1190\n1184\nundo\n1300\nskip\nq\n"),
    ("pour planned", ("pour", "run"), POUR + "batch\ny\nbatch\ny\nstop\ny\n"),
)


def heard(
    run: Run, elsewhere: ThreadPoolExecutor, stage: str, words: tuple[str, ...], typed: str
) -> tuple[Scene, list[Event]]:
    """The scene of a session that is typed, as it began, and what it heard."""
    kept: list[tuple[Scene, list[Event]]] = []

    def work() -> None:
        with pytest.MonkeyPatch.context() as patched:
            patched.setattr(Page, "begin", lambda _, scene: kept.append((deepcopy(scene), [])))
            patched.setattr(Page, "hear", lambda _, event: kept[-1][1].append(event))
            make(run, stage)
            by = () if words[0] == "pour" else ("--typed", "--unit", "mm")
            run(*words, *by, "--serve", typed=typed)

    elsewhere.submit(work).result()
    return kept[-1]


def test_no_live_scene_is_english_or_cut(
    run: Run, phone: Any, elsewhere: ThreadPoolExecutor, monkeypatch: pytest.MonkeyPatch
) -> None:
    sessions = [heard(run, elsewhere, *one) for one in LIVE]
    monkeypatch.setattr(tongues, "_usual", [MADE_UP])
    page = Page().start()
    found = {}
    try:
        one = phone(page.url, viewport=NARROW)
        for scene, events in sessions:
            page.begin(scene)
            seen: set[str] = set()
            for event in events:
                page.hear(event)
                if event.event not in seen and event.event != "reading":
                    seen.add(event.event)
                    one.wait_for_timeout(80)
                    found[scene.sections.job.screen, event.event] = looked_over(one)
    finally:
        page.close()
    assert len(found) > 12
    wrong = {path: told for path, told in found.items() if any(told)}
    assert not wrong, pformat(wrong, width=300)
