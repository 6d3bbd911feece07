"""The office's pages show jobs, verdicts and answers with plots, and change nothing."""

import http.client
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import urlencode, urlsplit

import pytest

from rig.drawing.bars import Bar, bars_drawing
from rig.drawing.vector import Text, flat, text_width
from rig.office import shelf
from rig.office.accounts import Accounts
from rig.office.place import Place
from rig.office.take import take
from rig.page.office_door import STAYS_S, Door
from rig.page.office_site import OfficeSite
from rig.page.server import Page
from tests.cli.conftest import Run
from tests.cli.conftest import run as run
from tests.office.conftest import Company
from tests.office.conftest import settled as settled
from tests.page.conftest import violations


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


# --- the door ------------------------------------------------------------------------------------


class Guarded:
    """An office behind its door, and a browser's requests to it."""

    def __init__(self, company: Company, folder: Path) -> None:
        self.accounts, self.now_s = Accounts(folder), 0.0
        self.invitation = self.accounts.invite("ann")
        self.page = Page(key="office")
        door = Door(self.accounts, lambda: self.now_s)
        self.site = self.page.site = OfficeSite(Place(str(company.folder)), door)
        self.page.start()
        self.host = urlsplit(self.page.url).netloc

    def ask(
        self, path: str, form: dict[str, str] | None = None, **headers: str
    ) -> tuple[int, dict[str, str], str]:
        """Ask for a path as it stands here; a form is posted as the page itself would."""
        told = {name.replace("_", "-"): value for name, value in headers.items()}
        if form is not None:
            told = {"Origin": f"http://{self.host}", **told}
            told["Content-Type"] = "application/x-www-form-urlencoded"
        link = http.client.HTTPConnection(self.host, timeout=10)
        body = None if form is None else urlencode(form)
        link.request("GET" if form is None else "POST", path, body, told)
        answer = link.getresponse()
        text = answer.read().decode("utf-8", "replace")
        link.close()
        return answer.status, dict(answer.getheaders()), text

    def cookie(self) -> str:
        """Come in, and return what the browser keeps."""
        form = {"name": "ann", "password": self.invitation.password}
        status, headers, _ = self.ask("/office/in", form)
        assert (status, headers["Location"]) == (303, "/office/")
        kept = headers["Set-Cookie"]
        assert "HttpOnly" in kept
        assert "Path=/office/" in kept
        assert self.invitation.password not in kept
        return kept.partition(";")[0]


@pytest.fixture(scope="module")
def guarded(settled: Company, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Guarded]:
    made = Guarded(settled, tmp_path_factory.mktemp("accounts"))
    yield made
    made.site.close()
    made.page.close()


def test_without_an_account_nothing_is_shown(guarded: Guarded) -> None:
    for path in ("", "ask/yield", "job/x", "job/x/report", "none"):
        status, headers, text = guarded.ask(f"/office/{path}")
        assert (status, headers["Location"], text) == (303, "/office/in", "")
    assert guarded.ask("/office/", {"a": "b"})[0] == 403
    assert guarded.ask("/office/live")[0] == guarded.ask("/office/session/live")[0] == 403
    for name, password in (("ann", "guess"), ("ann", ""), ("bob", ""), ("", ""), ("ann" * 99, "é")):
        status, headers, _ = guarded.ask("/office/in", {"name": name, "password": password})
        assert (status, "Set-Cookie" in headers) == (403, False)
    told = urlencode({"name": "ann", "password": guarded.invitation.password})
    status, headers, _ = guarded.ask(f"/office/in?{told}")  # not by the address
    assert (status, "Set-Cookie" in headers) == (200, False)
    assert guarded.ask("/office/", Cookie="office=guess")[0] == 303


def test_who_has_an_account_is_in_until_it_is_withdrawn(guarded: Guarded) -> None:
    cookie = guarded.cookie()
    status, _, text = guarded.ask("/office/", Cookie=cookie)
    assert (status, "You came in as ann" in text) == (200, True)
    assert guarded.ask("/office/out", {}, Cookie=cookie)[0] == 303
    assert guarded.ask("/office/", Cookie=cookie)[0] == 303
    cookie = guarded.cookie()
    guarded.now_s += STAYS_S
    assert guarded.ask("/office/", Cookie=cookie)[0] == 303
    cookie = guarded.cookie()
    guarded.invitation = guarded.accounts.invite("ann")
    assert guarded.ask("/office/", Cookie=cookie)[0] == 303
    cookie = guarded.cookie()
    guarded.accounts.withdraw("ann")
    assert guarded.ask("/office/", Cookie=cookie)[0] == 303
    guarded.invitation = guarded.accounts.invite("ann")


def test_other_hosts_other_sites_and_paths_out_of_the_office_are_refused(guarded: Guarded) -> None:
    cookie = guarded.cookie()
    assert guarded.ask("/office/", Cookie=cookie, Host="evil.example")[0] == 403
    form = {"name": "ann", "password": guarded.invitation.password}
    assert guarded.ask("/office/in", form, Origin="http://evil.example")[0] == 403
    told = guarded.ask("/office/", None, Cookie=cookie, Sec_Fetch_Site="cross-site")
    assert told[0] == 403
    paths = (
        "../../etc/passwd", "..%2f..%2fetc%2fpasswd", "job/..%2f..%2fjobs/report",
        "job/x/..%2f..%2freport", "accounts.json", "job/'%20OR%201=1--/report",
    )  # fmt: skip
    for path in paths:
        status, _, text = guarded.ask(f"/office/{path}", Cookie=cookie)
        assert (status in (403, 404), "root:" in text) == (True, False), path
    _, headers, _ = guarded.ask("/office/", Cookie=cookie)
    assert "frame-ancestors 'none'" in headers["Content-Security-Policy"]
    assert headers["Cache-Control"] == "no-store"


def test_an_invitation_is_a_file_for_its_owner_alone(run: Run, tmp_path: Path) -> None:
    told = run("office", "invite", "ann", "--json").json
    text = Path(told["file"]).read_text()
    assert Path(told["file"]).stat().st_mode & 0o077 == 0
    password = text.partition("password: ")[2].strip()
    kept = tmp_path / "data" / "floor-rig" / "office" / "accounts.json"
    assert kept.stat().st_mode & 0o077 == 0
    assert password not in kept.read_text()
    accounts = Accounts(kept.parent)
    assert accounts.mark_of("ann", password)
    assert run("office", "invite", "../ann").code == 2
    assert run("office", "invite", "bob", "--withdraw").code == 2
    assert run("office", "invite", "ann", "--withdraw").code == 0
    assert accounts.names() == []
    Path("place").mkdir()
    told = run("office", "serve", "--office", "place", "--host", "0.0.0.0")
    assert (told.code, "rig office invite" in told.err) == (2, True)


def test_a_jobs_report_is_made_from_the_file_on_the_shelf(run: Run, tmp_path: Path) -> None:
    from rig.page.office_report import report_file
    from tests.report.jobs import make

    make(run, "planned")
    Path("office").mkdir()
    place = Place("office")
    uid = shelf.hand_in(place, Path("job.sqlite")).uid
    take(place)
    before = [one.read_bytes() for one in sorted(Path("office", "jobs").rglob("*.zst"))]
    told = report_file(place, uid, "report")
    assert not told.download
    assert b"<svg" in told.data
    assert uid[:12].encode() in told.data
    assert [one.read_bytes() for one in sorted(Path("office", "jobs").rglob("*.zst"))] == before
    with pytest.raises(KeyError):
        report_file(place, "none", "report")


def test_a_phone_shows_the_office_without_a_fault(guarded: Guarded, phone: Any) -> None:
    page = phone(f"{guarded.page.url}", bypass_csp=True)
    assert violations(page) == []
    page.fill("#f-name", "ann")
    page.fill("#f-password", guarded.invitation.password)
    page.click("button.main")
    for address in ("", "ask/laser", page.locator("a[href*='/job/']").first.get_attribute("href")):
        page.goto(f"{guarded.page.url}{address.removeprefix('/office/')}")
        assert violations(page) == []
        wide = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
        assert page.evaluate(wide) == 0
