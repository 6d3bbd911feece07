"""Strangers without the key cost nothing: no descriptors, no lines at the terminal."""

import asyncio
import contextlib
import gc
import socket
import time
from collections.abc import Iterator
from urllib.parse import urlsplit

import aiohttp
import pytest

from rig.page import gate
from rig.page.server import Page
from tests.page.test_server import asked, heard, hello, scene, status


@pytest.fixture
def page() -> Iterator[Page]:
    page = Page().start()
    page.begin(scene())
    yield page
    page.close()


def knock(page: Page, address: str = "127.0.0.1") -> socket.socket:
    """Connect from an address of this machine and say nothing."""
    port = urlsplit(page.url).port
    return socket.create_connection(("127.0.0.1", port), 5.0, source_address=(address, 0))


def is_shut(client: socket.socket, within_s: float = 2.0) -> bool:
    client.settimeout(within_s)
    try:
        return client.recv(1) == b""
    except ConnectionError:
        return True
    except TimeoutError:
        return False


def test_idle_connections_are_bounded_by_address_and_in_all(page: Page) -> None:
    with contextlib.ExitStack() as stack:
        held = [stack.enter_context(knock(page)) for _ in range(200)]
        assert is_shut(held[-1])
        assert page.gate.held == {"127.0.0.1": gate.MOST_OF_ONE}
        assert not is_shut(held[0], 0.1)
        for other in range(2, 8):  # others come in, up to the whole
            for _ in range(gate.MOST_OF_ONE):
                stack.enter_context(knock(page, f"127.0.0.{other}"))
        time.sleep(0.3)
        assert page.gate.held.total() == page.gate.most <= gate.MOST_IN_ALL
    end_s = time.monotonic() + 5.0
    while page.gate.held and time.monotonic() < end_s:
        time.sleep(0.02)
    assert not page.gate.held
    assert asked(page, lambda session, url: status(session, url))[0] == 200


def test_who_dawdles_over_a_request_is_cut_off_and_a_live_phone_is_not(page: Page) -> None:
    page.gate.deadline_s = 0.5

    async def work(session: aiohttp.ClientSession, url: str) -> None:
        ws = await hello(session, url)
        while "job" not in await heard(ws, "state"):
            pass
        slow = knock(page)
        slow.sendall(b"GET / HTTP/1.1\r\nHost: ")
        await asyncio.sleep(1.0)
        assert await asyncio.to_thread(is_shut, slow)
        slow.close()
        page.begin(scene())
        while "job" not in await heard(ws, "state"):
            pass
        await ws.close()

    asked(page, work)


def test_nonsense_says_nothing_at_the_terminal(
    page: Page, capfd: pytest.CaptureFixture[str]
) -> None:
    nonsense = [
        b"\x00\xff\xfe\r\n\r\n",
        b"GET / HTTP/9.9\r\n\r\n",
        b"GET / HTTP/1.1\r\nA" + b"b" * 70_000 + b": c\r\n\r\n",
        b"POST / HTTP/1.1\r\nTransfer-Encoding: chunked\r\n\r\nZZ\r\n",
        b"GET / HTTP/1.1\r\nContent-Length: -5\r\n\r\n",
    ]
    for n in range(200):
        with knock(page) as client, contextlib.suppress(OSError):
            client.sendall(nonsense[n % len(nonsense)])
            is_shut(client, 0.02)
    assert asked(page, lambda session, url: status(session, url))[0] == 200
    told = capfd.readouterr()
    assert told.out == told.err == ""


def test_no_task_is_left_pending_when_the_page_goes(caplog: pytest.LogCaptureFixture) -> None:
    page = Page().start()
    page.begin(scene())

    async def work(session: aiohttp.ClientSession, url: str) -> None:
        await hello(session, url)
        silent = knock(page)
        half = knock(page)
        half.sendall(b"GET / HTTP/1.1\r\nHost: ")
        await asyncio.to_thread(page.close)  # nobody answers the goodbye: all are held here
        silent.close()
        half.close()

    asked(page, work)
    gc.collect()
    assert [line for line in caplog.messages if "destroyed" in line] == []
