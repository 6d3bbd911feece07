from pathlib import Path
from typing import Any

import pytest

from tests.page.conftest import when

pytestmark = pytest.mark.timeout(120)


def test_a_person_watches_and_works_the_simulated_job(
    live: Any, phone: Any, tmp_path: Path
) -> None:
    demo = live("demo", "--seed", "3", "--speed", "10", "--out", tmp_path / "demo")
    assert demo.events == [demo.events[0]]
    page = phone(demo.url)
    when(page, "document.querySelector('#prompt').textContent.startsWith('rig ')")
    when(page, "floorPage.state.job.title == 'Survey' && document.body.dataset.mode == 'hold'")
    label = page.locator("#prompt").inner_text()
    page.get_by_role("button", name="Skip").tap()
    when(
        page,
        f"floorPage.state.places.some(p => p.state == 'skipped') "
        f"&& document.querySelector('#prompt').textContent != '{label}'",
    )
    when(page, "floorPage.state.count.done >= 2")
