"""The office's pages show jobs, verdicts and answers with plots, and change nothing."""

import urllib.error
import urllib.request
from collections.abc import Iterator

import pytest

from rig.drawing.bars import Bar, bars_drawing
from rig.drawing.vector import Text, flat, text_width
from rig.office.place import Place
from rig.page.office_site import OfficeSite
from rig.page.server import Page
from tests.office.conftest import Company
from tests.office.conftest import settled as settled


@pytest.fixture(scope="module")
def url(settled: Company) -> Iterator[str]:
    page = Page()
    site = page.site = OfficeSite(Place(str(settled.folder)))
    page.start()
    yield page.url
    site.close()
    page.close()


def get(url: str, data: bytes | None = None) -> tuple[int, str]:
    headers = {} if data is None else {"Origin": "/".join(url.split("/")[:3])}
    try:
        with urllib.request.urlopen(urllib.request.Request(url, data, headers)) as told:
            return told.status, told.read().decode()
    except urllib.error.HTTPError as error:
        return error.code, error.read().decode()


def test_jobs_and_answers_are_shown_and_nothing_can_be_changed(url: str) -> None:
    status, text = get(url)
    assert status == 200
    assert text.count('href="') >= 24 + 7
    uid = text.partition("/job/")[2][:32]
    status, told = get(f"{url}job/{uid}")
    assert (status, uid in told, "two-peg" in told) == (200, True, True)
    status, told = get(f"{url}ask/yield")
    assert (status, "<svg" in told, "crew 1" in told) == (200, True, True)
    assert get(f"{url}ask/sheep")[0] == get(f"{url}job/none")[0] == 404
    assert get(url, b"act=archive")[0] == 405
    assert get(url.replace(url.split("/")[3], "wrong"))[0] == 403


def test_bars_stay_on_the_sheet_and_texts_apart() -> None:
    bars = [
        Bar("a crew with a very long name indeed", 1.31, 1.2, 1.5),
        Bar("b", 0.7),
        Bar("c", 1.0),
    ]
    made = bars_drawing("bars", bars, 84.0, 1.0)
    texts = [one for one in flat(made.shapes) if isinstance(one, Text)]
    for one in texts:
        assert one.x_mm >= 0.0
        assert one.x_mm + text_width(one.text, one.size_mm) <= made.width_mm
    for left, right in zip(texts[::2], texts[1::2], strict=True):
        assert left.x_mm + text_width(left.text, left.size_mm) <= right.x_mm
