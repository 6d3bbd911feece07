"""What a firm keeps once, told on the phone: products, crews, prices, its head; quotes by it."""

import io
import json
import re
from pathlib import Path
from typing import Any

import aiohttp
import pytest
from click.testing import CliRunner
from PIL import Image

from rig.cli import rig
from rig.job.store import Job
from rig.page.server import Page
from rig.products import Library
from rig.products.firm import load_firm
from rig.study.pour_log import last_pour_plan
from rig.study.quote import EVENT
from tests.page.test_server import asked, status
from tests.page.test_site import NEW, origin, post

FLOW = {
    "act": "keep",
    "name": "Flow",
    "bag_mass": "25kg",
    "use": "1.7kg/m2/mm",
    "price": "18.50",
    "min_cover": "3mm",
    "working_time_at": "10C=30min; 20C=20min",
    "working_time": "20min",
    "mix_time": "2min",
}
CREW = {"act": "keep", "name": "Us", "people": "4", "mixers": "2", "took": "30m2,5h; 45m2,7h"}
PRICES = {"act": "keep", "currency": "EUR", "tax": "19%", "item-0": "Primer", "unit-0": "m2",
          "price-0": "2.50", "item-1": "Labour", "unit-1": "hour", "price-1": "48"}  # fmt: skip


@pytest.fixture(autouse=True)
def own_data(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))


def command(*words: str) -> Any:
    done = CliRunner().invoke(rig, words)
    assert done.exit_code == 0, (words, done.output)
    return json.loads(done.output)


async def sent(session: Any, url: str, path: str, key: str, data: bytes, **fields: str) -> Any:
    """Send a file with a form."""
    form = aiohttp.FormData(fields)
    form.add_field(key, data, filename="../../x")
    kept = {"data": form, "headers": origin(url), "allow_redirects": False}
    async with session.post(url + path, **kept) as answer:
        return answer.status, await answer.text()


def test_what_is_kept_on_the_phone_is_what_the_commands_know(served: Page) -> None:
    async def work(session: Any, url: str) -> None:
        code, text, _ = await post(session, url, "firm/compound", **FLOW | {"bag_mass": "25 cats"})
        assert (code, 'value="25 cats"' in text, "aria-invalid" in text) == (422, True, True)
        code, text, _ = await post(session, url, "firm/compound", **FLOW | {"bag_mass": ""})
        assert (code, "give bag mass 25kg" in text) == (422, True)  # no option of a command
        assert (await post(session, url, "firm/compound", **FLOW))[0] == 303
        code, text, _ = await post(session, url, "firm/compound", **FLOW)
        assert (code, "is there already" in text) == (422, True)
        assert (await post(session, url, "firm/crew", **CREW))[0] == 303
        changed = FLOW | {"old": "Flow", "price": "19.00"}
        assert (await post(session, url, "firm/compound", **changed))[0] == 303
        code, text = await status(session, url + "firm/compound?name=flow")
        assert (code, "10C=30min; 20C=20min" in text, "19.00" in text) == (200, True, True)
        code, text, _ = await post(session, url, "firm/compound", **FLOW | {"old": "plain example"})
        assert (code, "built in" in text) == (422, True)
        assert (await status(session, url + "firm/compound?name=none"))[0] == 400

        code, kept = await status(session, url + "firm/products.toml")
        assert (await post(session, url, "firm/crew", act="drop", name="Us"))[0] == 303
        other = kept.replace("19.00", "17.00").encode()
        code, text = await sent(session, url, "firm", "list", other, act="import")
        assert (code, "Flow is here already" in text) == (422, True)
        code, text = await sent(session, url, "firm", "list", b"\xff\xd8", act="import")
        assert (code, "no text file" in text) == (422, True)
        fields = {"act": "import", "replace": "yes"}
        assert (await sent(session, url, "firm", "list", other, **fields))[0] == 303

    asked(served, work)
    told = {one["name"]: one for one in command("product", "list", "--json")["products"]}
    assert told["Flow"]["price"] == "17.00"
    assert told["Flow"]["working_time_at"] == [[10.0, 1800.0], [20.0, 1200.0]]
    assert told["Us"]["took"][1]["area_m2"] == pytest.approx(45.0)
    assert set(Library.load().entries) == {"Flow", "Us"}


def test_a_firm_signs_with_a_logo_from_the_phone(
    served: Page, planned: Path, tmp_path: Path
) -> None:
    job = tmp_path / "jobs" / "Hall.sqlite"
    job.write_bytes((planned / "job.sqlite").read_bytes())
    picture = io.BytesIO()
    Image.new("RGB", (900, 300), "navy").save(picture, "JPEG")

    async def work(session: Any, url: str) -> None:
        sign = {"act": "sign", "name": "Level & Sons", "address": "12 Oak St; 555 0100"}
        code, text = await sent(session, url, "firm", "logo", b"<svg/>", **sign)
        assert (code, 'value="Level &amp; Sons"' in text) == (422, True)
        code, _ = await sent(session, url, "firm", "logo", picture.getvalue(), **sign)
        assert code == 303
        async with session.get(url + "firm/logo.png") as answer:
            assert (await answer.read()).startswith(b"\x89PNG")
        code, text = await status(session, url + "j/Hall/report/customer.html?whose=Ann+Lee")
        assert code == 200
        pages.append(text)
        big = b"0" * 10_000_001
        assert (await sent(session, url, "firm", "logo", big, **sign))[0] == 413
        async with session.post(url + "firm", data=sign) as answer:
            assert answer.status == 403

    pages: list[str] = []
    asked(served, work)
    out = tmp_path / "customer.html"
    words = ("--for", "customer", "--whose", "Ann Lee", "--out", str(out), "--json")
    command("report", "--job", str(job), *words)
    at_all_times = re.compile(r"<style>.*?</style>|[\d:]{5,}|\b[0-9a-f]{16,}\b", re.S)
    assert at_all_times.sub("", pages[0]) == at_all_times.sub("", out.read_text())
    assert "Ann Lee" in pages[0]
    assert "Level &amp; Sons" in pages[0]
    firm = load_firm()
    assert (firm.name, firm.address) == ("Level & Sons", ("12 Oak St", "555 0100"))


def test_a_quote_on_the_phone_is_the_commands_quote(served: Page, tmp_path: Path) -> None:
    async def work(session: Any, url: str) -> None:
        assert (await post(session, url, "firm/compound", **FLOW))[0] == 303
        assert (await post(session, url, "firm/crew", **CREW))[0] == 303
        code, text, _ = await post(session, url, "firm/prices", **PRICES | {"price-1": "much"})
        assert (code, 'value="much"' in text) == (422, True)
        assert (await post(session, url, "firm/prices", **PRICES))[0] == 303
        quick = "quote?quote=yes&product=Flow&area=30m2&crew=Us&"
        code, text = await status(session, url + quick)
        assert (code, "Say how deep" in text) == (200, True)
        code, text = await status(session, url + quick + "readings=12mm;14mm;15mm;13mm;17mm")
        assert (code, "of a quick look" in text) == (200, True)
        pages.append((await status(session, url + quick + "depth=12mm"))[1])
        await post(session, url, "new", **NEW)
        here = "j/Hall%203/quote"
        code, text, _ = await post(session, url, here, act="quote", product="Flow")
        assert (code, "shots" in text) == (422, True)
        told = {"act": "keep", "product": "Flow", "crew": "Us", "depth": "1/2"}
        code, text, _ = await post(session, url, here, **told)
        assert code == 200
        pages.append(text)

    pages: list[str] = []
    asked(served, work)
    with Job.open(tmp_path / "jobs" / "Hall 3.sqlite") as job:
        assert len(job.events([EVENT])) == 1
    of = ("--product", "Flow", "--crew", "Us", "--json")
    job_path = str(tmp_path / "jobs" / "Hall 3.sqlite")
    for page, words in (
        (pages[0], ("--area", "30m2", "--depth", "12mm")),
        (pages[1], ("--job", job_path, "--depth", "1/2in")),
    ):
        total = command("quote", *words, *of)["total"]
        found = re.search(
            r"Likely ([\d.]+) EUR; 9 times in 10 between ([\d.]+) EUR and ([\d.]+) EUR\.<", page
        )
        assert found
        assert found.groups() == (total["likely"], total["low"], total["high"])


def test_a_crew_is_picked_by_its_name(served: Page, planned: Path, tmp_path: Path) -> None:
    (tmp_path / "jobs" / "Hall.sqlite").write_bytes((planned / "job.sqlite").read_bytes())

    async def work(session: Any, url: str) -> None:
        assert (await post(session, url, "firm/crew", **CREW))[0] == 303
        mixer = {"act": "keep", "name": "Drum", "bags_per_batch": "3", "mix_time": "2min"}
        assert (await post(session, url, "firm/mixer", **mixer))[0] == 303
        pour = {"act": "plan", "crew_name": "Us", "mixer_name": "Drum", "working_time": "20"}
        code, text, _ = await post(session, url, "j/Hall/pour", **pour | {"crew_name": "They"})
        assert (code, "(crew); there is" in text) == (422, True)
        assert (await post(session, url, "j/Hall/pour", **pour))[0] == 303

    asked(served, work)
    with Job.open(tmp_path / "jobs" / "Hall.sqlite") as job:
        made = last_pour_plan(job)
    assert made is not None
    wish = made[1].inputs
    assert (wish.crew, wish.mixers, wish.bags_per_batch, wish.mix_time_s) == (4, 2, 3, 120.0)
