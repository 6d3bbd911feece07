"""A marker that was kicked is set again by a tap on the phone."""

from pathlib import Path
from typing import Any

import pytest

from rig.job.folder import JobFolder
from rig.page.server import Page
from rig.page.site import Site
from rig.page.work import Rods, Work
from rig.session.begin import SetWish
from tests.cli.conftest import Run, run, surveyed, table  # noqa: F401
from tests.page.test_server import asked, status
from tests.page.test_site import post


def test_a_tap_on_a_set_marker_sets_it_again(
    surveyed: Run,  # noqa: F811
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    folder = JobFolder(tmp_path / "jobs")
    folder.make()
    job = ["--job", str(folder.path / "Hall.sqlite")]
    Path("job.sqlite").rename(folder.path / "Hall.sqlite")
    assert surveyed("plan", *job).code == 0
    markers = surveyed("markers", *job, "--json").json["markers"]
    typed = "".join(f"{m['target_reading_mm'] + off:.2f}\n" for m in markers for off in (5.0, 0.0))
    told = surveyed("set", *job, "--typed", "--skip-check", typed=typed)
    assert "All markers set." in told.out
    page = Page()
    work = Work(page, Rods())
    begun: list[Any] = []
    monkeypatch.setattr(work, "begin", lambda name, path, wanted, home: begun.append(wanted))
    page.site = Site(folder, work, Rods())
    page.start()

    async def tap(session: Any, url: str) -> None:
        code, text = await status(session, url + "j/Hall/set")
        assert code == 200
        assert 'value="again M2"' in text
        code, _, _ = await post(
            session, url, "j/Hall/set", act="again M2", source="tape", unit="mm"
        )
        assert code == 303

    asked(page, tap)
    page.site.close()
    page.close()
    (wanted,) = begun
    assert isinstance(wanted.wish, SetWish)
    assert wanted.wish.marker == "M2"
