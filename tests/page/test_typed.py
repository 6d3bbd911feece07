"""What is typed on a phone is understood as the phone's language writes it."""

from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from rig.cli import rig
from rig.language import speaking, tongue
from rig.page.messages import Refused, pointed_line
from rig.page.server import Page
from rig.page.visit import Form
from rig.products import Library
from tests.page.test_server import asked
from tests.page.test_site import post


@pytest.mark.parametrize(
    ("language", "typed"),
    [("de", "1.221,5"), ("fr", "1\u202f221,5"), ("pl", "1221,5"), ("en", "1,221.5")],
)
def test_lines_and_fields_are_read_in_the_phones_language(language: str, typed: str) -> None:
    assert pointed_line(typed, tongue(language), "mm") == "1221.5"
    with speaking(tongue(language)):
        form = Form({"x": typed})
        assert form.length("x", "The place", "mm") == 1221.5
        assert form.number("x", "The price", 0.0, 2000.0) == 1221.5


def test_what_could_be_two_numbers_is_refused_on_a_phone() -> None:
    with pytest.raises(Refused, match=r"1\.221 or 1221"):
        pointed_line("1.221", tongue("de"), "mm")
    assert pointed_line("48.188", tongue("de"), "in") == "48.188"
    with speaking(tongue("de")):
        form = Form({"x": "1.221"})
        assert form.length("x", "The place", "mm") is None
        assert "1221" in form.wrong["x"]
        assert form.length("x", "The place", "m") == 1221.0  # metres: no room is a kilometre long


def test_a_firm_is_kept_the_same_whichever_language_its_phone_speaks(
    served: Page, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    flow = {"act": "keep", "name": "Flow", "bag_mass": "25kg", "use": "1,7kg/m2/mm"}
    prices = {"act": "keep", "currency": "EUR", "tax": "19,5%", "item-0": "Grundierung"}
    line = {"unit-0": "m2", "price-0": "1.250,50"}

    async def work(session: Any, url: str) -> None:
        session.cookie_jar.update_cookies({"language": "de"})
        assert (await post(session, url, "firm/compound", **flow))[0] == 303
        code, text, _ = await post(session, url, "firm/prices", **prices, **line)
        assert code == 303, text
        async with session.get(url + "firm/prices") as answer:
            page = await answer.text()
        assert 'value="1250,50"' in page
        assert 'value="19,5%"' in page
        async with session.get(url + "firm") as answer:
            assert "1.250,50\xa0€" in await answer.text()
        async with session.get(url + "firm/compound?name=Flow") as answer:
            assert 'value="1,7kg/m2/mm"' in await answer.text()

    asked(served, work)
    assert Library.load().entry("Flow").told["use"] == "1.7kg/m2/mm"
    assert 'price = "1250.50"' in (tmp_path / "data" / "floor-rig" / "prices.toml").read_text()


def test_the_keypad_and_the_fields_have_the_languages_decimal_sign(
    served: Page, phone: Any, tmp_path: Path
) -> None:
    job = str(tmp_path / "jobs" / "Halle.sqlite")
    for words in (
        ["new", "--room", "3m,4m", "--units", "mm", "--job", job],
        ["grid", "--job", job],
    ):
        assert CliRunner().invoke(rig, words).exit_code == 0
    page = phone(served.url)
    page.context.add_cookies([{"name": "language", "value": "de", "url": served.url}])
    page.goto(served.url + "j/Halle/survey")
    fields = {one.get_attribute("inputmode") for one in page.locator("[name=x]").all()}
    assert fields == {"decimal"}  # keys with the phone's own decimal sign
    page.locator("input[type=radio][value=tape]").check(force=True)
    page.get_by_role("button", name="Festpunkt messen").first.tap()
    keypad = page.locator("#keypad")
    for key in "1221,,5":  # one comma will do
        keypad.get_by_role("button", name=key, exact=True).tap()
    assert keypad.locator(".typed span").inner_text() == "1221,5"
    keypad.get_by_role("button", name="Nehmen").tap()
    page.get_by_text("BM1 genommen: 1221,5 mm").wait_for()
