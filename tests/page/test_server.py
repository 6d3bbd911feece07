"""The server by itself: what it refuses, and that no phone holds the session up."""

import asyncio
import contextlib
import json
import socket
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from typing import Any
from urllib.parse import urlsplit

import aiohttp
import pytest

from rig.devices.clock import Clock
from rig.errors import BadInput
from rig.page.server import Page
from rig.session.kind import WALK_ACTS
from rig.session.scene import Scene
from rig.session.sections import Place, PlanShown
from rig.units import Units
from tests.events import event

PLAN = PlanShown(walls=((0, 0), (3000, 0), (3000, 4000), (0, 4000)))


def scene(acts: Any = WALK_ACTS, places: Sequence[Any] = ()) -> Any:
    return Scene("survey", "Survey", Units("in", 32), PLAN, tuple(places), acts=acts)


@pytest.fixture
def page() -> Iterator[Any]:
    page = Page().start()
    page.begin(scene())
    yield page
    page.close()


def asked(page: Any, work: Any) -> Any:
    """Run a coroutine with a client and the page's address in parts."""

    async def go() -> Any:
        timeout = aiohttp.ClientTimeout(total=60)
        async with aiohttp.ClientSession(timeout=timeout) as session:
            return await work(session, page.url)

    return asyncio.run(go())


async def status(session: Any, url: Any, **more: Any) -> Any:
    async with session.get(url, **more) as answer:
        text = await answer.text()
        return answer.status, text


async def heard(ws: Any, key: Any, within_s: float = 5.0) -> Any:
    """The next message that has a key."""
    end_s = time.monotonic() + within_s
    while time.monotonic() < end_s:
        told = json.loads(await ws.receive_str(timeout=within_s))
        if key in told:
            return told[key]
    raise AssertionError(f"nothing with {key} came")


async def hello(session: Any, url: Any, phone: str = "a") -> Any:
    ws = await session.ws_connect(url + "live")
    await ws.send_json({"say": "hello", "phone": phone})
    return ws


def test_the_page_is_there_with_its_key_and_not_without(page: Any) -> None:
    site = urlsplit(page.url)
    origin = f"http://{site.netloc}"
    key = site.path.strip("/")

    async def work(session: Any, url: Any) -> None:
        assert (await status(session, url))[0] == 200
        for name in ("page.css", "page.js", "plan.js", "sound.js", "icon.svg"):
            assert (await status(session, url + name))[0] == 200
        assert (await status(session, url + "nothing"))[0] == 404
        assert (await status(session, url + "../page.css"))[0] == 403
        for path in ("/", "/page.css", f"/{key}x/", f"/{key[:-1]}/", f"/?key={key}", "/live", "//"):
            refused, text = await status(session, origin + path)
            assert refused == 403
            assert key not in text

    asked(page, work)


def test_a_foreign_host_or_site_gets_nothing(page: Any) -> None:
    async def work(session: Any, url: Any) -> None:
        port = urlsplit(url).port
        for headers in (
            {"Host": f"evil.example:{port}"},
            {"Host": "127.0.0.1"},
            {"Origin": "http://evil.example"},
            {"Origin": f"http://127.0.0.1:{port + 1}"},
            {"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "no-cors"},
        ):
            assert (await status(session, url, headers=headers))[0] == 403
            with pytest.raises(aiohttp.WSServerHandshakeError) as refused:
                await session.ws_connect(url + "live", headers=headers)
            assert refused.value.status == 403

    asked(page, work)


def test_only_reading_is_possible(page: Any) -> None:
    async def work(session: Any, url: Any) -> None:
        for method in ("POST", "PUT", "DELETE", "OPTIONS"):
            async with session.request(method, url) as answer:
                assert answer.status == 405
        async with session.get(url) as answer:
            assert answer.headers["Cache-Control"] == "no-store"
            assert answer.headers["Referrer-Policy"] == "no-referrer"
            assert "Access-Control-Allow-Origin" not in answer.headers
            policy = dict(
                part.strip().split(" ", 1)
                for part in answer.headers["Content-Security-Policy"].split(";")
            )
            assert policy["default-src"] == policy["frame-ancestors"] == "'none'"
            assert policy["script-src"] == "'self'"

    asked(page, work)


def test_a_port_that_is_taken_is_told(page: Any) -> None:
    with pytest.raises(BadInput, match=f"Port {urlsplit(page.url).port} is taken"):
        Page(port=urlsplit(page.url).port).start()


@pytest.mark.parametrize("host", ["203.0.113.9", "no.such.host.invalid", "a b", "1.2.3"])
def test_a_host_that_is_not_ours_is_told(host: Any) -> None:
    with pytest.raises(BadInput, match="--host"):
        Page(host=host).start()


def test_every_start_has_a_key_of_its_own() -> None:
    pages = [Page().start() for _ in range(3)]
    for page in pages:
        page.close()
    assert len({urlsplit(page.url).path for page in pages}) == 3


def test_messages_that_are_none_are_refused_and_told_and_the_rest_goes_on(page: Any) -> None:
    async def work(session: Any, url: Any) -> None:
        ws = await hello(session, url)
        assert (await heard(ws, "me"))["acts"] is True
        for said, why in (
            ("not json", "no JSON"),
            ("[]", "no JSON object"),
            (json.dumps({"say": "act", "act": "x" * 5000}), "too long"),
            (json.dumps({"say": "act", "act": "reboot"}), "There is no reboot here"),
            (json.dumps({"say": "act", "act": "quit"}), "There is no quit here"),
            (json.dumps({"say": "rod", "do": "move", "x": 1, "y": 1}), "real one"),
            (json.dumps({"say": "hello", "phone": "b"}), "already"),
            (json.dumps({"say": "act", "act": "skip"}), "Nothing is going on"),
        ):
            await ws.send_str(said)
            assert why in await heard(ws, "refused")
        await ws.send_bytes(b"\x00\x01")
        assert "not text" in await heard(ws, "refused")
        page.hear(event({"event": "trouble", "text": "still here", "reason": "x"}))
        while not (await heard(ws, "state")).get("notes"):
            pass

    asked(page, work)


def test_a_flood_is_refused(page: Any) -> None:
    async def work(session: Any, url: Any) -> None:
        ws = await hello(session, url)
        for _ in range(60):
            await ws.send_str("{}")
        told = [await heard(ws, "refused")]
        with contextlib.suppress(TimeoutError, AssertionError):
            while True:
                told.append(await heard(ws, "refused", 0.5))
        assert any("slower" in why for why in told)

    asked(page, work)


def test_a_page_that_watches_can_do_nothing(page: Any) -> None:
    page.begin(scene(acts=()))

    async def work(session: Any, url: Any) -> None:
        ws = await hello(session, url)
        for said in ({"say": "act", "act": "accept"}, {"say": "take"}):
            await ws.send_json(said)
            assert "only watches" in await heard(ws, "refused")

    asked(page, work)


def test_acts_reach_the_session_with_its_own_time(page: Any) -> None:
    async def work(session: Any, url: Any) -> None:
        acts = page.acts(Clock())
        waiting = asyncio.create_task(anext(acts))
        ws = await hello(session, url)
        await heard(ws, "me")
        await ws.send_json({"say": "act", "act": "goto", "label": "B2"})
        act = await asyncio.wait_for(waiting, 5)
        assert (act.name, act.argument) == ("goto", "B2")
        assert abs(act.utc_s - time.time()) < 5
        await acts.aclose()
        await ws.send_json({"say": "act", "act": "skip"})
        assert "Nothing is going on" in await heard(ws, "refused")

    asked(page, work)


def test_a_phone_that_takes_nothing_in_holds_nobody_up(page: Any) -> None:
    """Large states to a socket that is never read: one more phone hears the last all the same."""
    site = urlsplit(page.url)
    stuck = socket.create_connection((site.hostname, site.port))
    stuck.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
    stuck.sendall(
        f"GET {site.path}live HTTP/1.1\r\nHost: {site.netloc}\r\nUpgrade: websocket\r\n"
        "Connection: Upgrade\r\nSec-WebSocket-Version: 13\r\n"
        "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n\r\n".encode()
    )

    places = [Place(label=f"P{n}", x=1.0 * n, y=0.0) for n in range(3000)]
    page.begin(scene(places=places))
    shot = {"event": "shot", "x_mm": 0.0, "y_mm": 0.0, "reading_mm": 1200.0, "stderr_mm": 0.1}

    async def work(session: Any, url: Any) -> None:
        ws = await hello(session, url)
        begun = time.monotonic()
        for n in range(1000):
            page.hear(event({**shot, "label": f"P{n}"}))
        assert time.monotonic() - begun < 5.0  # whoever tells waits for nobody
        while True:
            if (await heard(ws, "state", 20.0)).get("last", "").startswith("P999 taken"):
                break
        assert time.monotonic() - begun < 30.0

    asked(page, work)
    stuck.close()


def test_a_socket_that_breaks_in_the_middle_costs_nothing(page: Any) -> None:
    async def work(session: Any, url: Any) -> None:
        ws = await hello(session, url)
        await heard(ws, "me")
        ws._response.connection.transport.abort()
        for n in range(20):
            page.hear(event({"event": "trouble", "text": f"{n}", "reason": "x"}))
        again = await hello(session, url)
        state = await heard(again, "state")
        while not state.get("notes"):
            state = await heard(again, "state")
        assert state["notes"][0]["text"] == "19"

    asked(page, work)


def test_the_last_word_is_said_before_the_page_goes(page: Any) -> None:
    async def work(session: Any, url: Any) -> None:
        ws = await hello(session, url)
        await heard(ws, "me")
        await asyncio.to_thread(page.close, "That was all.")
        state = await heard(ws, "state")
        while "ended" not in state or state["ended"] is None:
            state = await heard(ws, "state")
        assert state["ended"] == {"text": "That was all."}

    asked(page, work)


def test_a_server_that_only_shows_its_jobs_does_without_what_reckons() -> None:
    """A box of 512 MB: 50 MB less as long as no floor is looked at."""
    code = (
        "import sys, rig.page.server, rig.page.site, rig.page.work, rig.page.jobs\n"
        "import rig.demo.on_page\n"
        "assert 'scipy' not in sys.modules"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
