"""Every page in a language that nobody speaks, on the narrowest phone: none English, none cut."""

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest

import rig.page.server
from rig.events import Event
from rig.job.folder import JobFolder
from rig.language import speaking, tongues
from rig.page.server import Page
from rig.page.site import Site
from rig.page.steps import STEPS
from rig.page.work import Rods, Work
from rig.session.scene import Scene
from tests.cli.conftest import Run
from tests.cli.conftest import run as run
from tests.language.made_up import MADE_UP, english
from tests.report.jobs import make

pytestmark = pytest.mark.timeout(180)
NARROW = {"width": 320, "height": 568}

# What is typed, what stands for itself, and names.
NAMES: set[str] = {"floor", "rig"}

LOOK = """() => {
  const scrolled = (one, box) => {
    for (; one && one !== document.body; one = one.parentElement) {
      const style = getComputedStyle(one), is = one.getBoundingClientRect();
      if (/auto|scroll/.test(style.overflow) && (box.bottom > is.bottom + 1 || box.top < is.top - 1 || box.right > is.right + 1)) return true;
    }
  };
  const told = [], boxes = [], wrong = [];
  for (const one of document.querySelectorAll('details')) one.open = true;
  for (const one of document.querySelectorAll('.steps')) one.style.position = 'static';
  for (const one of document.querySelectorAll('[aria-label], [title], [placeholder], option'))
    for (const text of [one.getAttribute('aria-label'), one.title, one.placeholder, one.label]) if (typeof text === 'string') told.push(text);
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  for (let node = walker.nextNode(); node; node = walker.nextNode()) {
    const parent = node.parentElement, text = node.textContent.trim();
    if (!text || parent.closest('script, style, option, select')) continue;
    told.push(text);
    if (parent.closest('svg, .unseen, #flash') || !parent.checkVisibility({visibilityProperty: true})) continue;
    const range = document.createRange();
    range.selectNodeContents(node);
    for (const box of range.getClientRects()) {
      if (box.width < 1 || box.height < 1) continue;
      const {left, right, top, bottom} = box;
      if (scrolled(parent, box)) continue;
      if (left < -0.5 || right > innerWidth + 0.5) wrong.push(['beyond', text]);
      for (let one = parent; one && one !== document.body; one = one.parentElement) {
        const style = getComputedStyle(one), is = one.getBoundingClientRect();
        const cuts = style.overflowX === 'hidden' || style.overflowX === 'clip' || one.matches('button, .button, summary, .up, #home');
        if (cuts && (left < is.left - 1 || right > is.right + 1 || top < is.top - 3 || bottom > is.bottom + 3)) wrong.push(['cut', text, one.id || one.className || one.tagName]);
      }
      boxes.push([node, text, left, top, right, bottom]);
    }
  }
  boxes.forEach(([node, text, left, top, right, bottom], n) => {
    for (const [other, words, a, b, c, d] of boxes.slice(n + 1))
      if (other !== node && Math.min(right, c) - Math.max(left, a) > 2 && Math.min(bottom, d) - Math.max(top, b) > 5) wrong.push(['over', text, words]);
  });
  const wide = document.documentElement.scrollWidth;
  if (wide > innerWidth) wrong.push(['wide', wide]);
  return [told, wrong];
}"""


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
