"""A rod that no shipped profile understands: the number that is its height is tapped."""

import asyncio
import html
import re
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import pytest

from rig.devices.profile import load_profile
from rig.page.server import Page
from rig.page.steps import source
from tests.page.test_server import asked, status
from tests.page.test_site import NEW, post

HERE = "j/Hall%203/survey"


def test_a_profile_is_made_by_a_tap_tried_and_kept(
    served: Page, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.setattr(source, "LISTEN_S", 0.6)

    async def sends(reader: Any, writer: Any) -> None:
        for n in range(100):
            writer.write(b"ch2 H=12%02d.5 <b>q=9</b>\r\n" % n)
            await asyncio.sleep(0.04)
        writer.close()

    async def work(session: Any, url: str) -> None:
        await post(session, url, "new", **NEW)
        rod = await asyncio.start_server(sends, "127.0.0.1", 0)
        at = f"serial:socket://127.0.0.1:{rod.sockets[0].getsockname()[1]}"
        listen = f"{url}{HERE}/listen?" + urlencode({"source": at, "profile": "decimal-mm"})
        code, text = await status(session, listen)
        assert (code, "<b>q" in text) == (200, False)
        raw = {f"raw{n}": html.unescape(one) for n, one in
               re.findall(r'name="raw(\d)" value="([^"]*)"', text)}  # fmt: skip
        assert raw["raw0"].startswith("ch2 H=12")
        tapped = re.search(r'value="(height 0 \d)">12\d\d\.5<', text)
        assert tapped
        made = {"source": at, "act": tapped[1], "own_name": "shed rod", "own_unit": "mm", **raw}
        for wrong in ({"own_name": "../x"}, {"own_unit": "ell"}, {"act": "height 0 99"},
                      {"act": "height x"}, {"own_name": ""}, {"raw0": "x" * 3999}):  # fmt: skip
            code, text, _ = await post(session, url, HERE, **made | wrong)
            assert (code, 'role="alert"' in text) == (422, True), wrong
        assert not list((tmp_path / "data").rglob("*.toml"))
        code, text, _ = await post(session, url, HERE, **made)
        assert (code, "It reads the last messages as" in text) == (200, True)
        assert 'value="own:shed rod" selected' in text
        again = f"{url}{HERE}/listen?" + urlencode({"source": at, "profile": "own:shed rod"})
        assert re.search(r" reads .*ft|in", (await status(session, again))[1])
        nobody = f"{url}{HERE}/listen?" + urlencode({"source": at, "profile": "own:../../etc/x"})
        assert "There is no such profile" in (await status(session, nobody))[1]
        rod.close()

    asked(served, work)
    (kept,) = (tmp_path / "data").rglob("*.toml")
    assert load_profile(kept).unit == "mm"
