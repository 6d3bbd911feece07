"""A second engine: WebKitGTK by its WebDriver (W3C WebDriver), no more than is needed."""

import contextlib
import json
import os
import shutil
import socket
import subprocess
import tempfile
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from typing import Any

from tests.page.conftest import until

ELEMENT = "element-6066-11e4-a52e-4f735466cecf"


class WebKit:
    """A page in WebKitGTK."""

    def __init__(self, driver: str) -> None:
        self._driver = driver
        options = {"acceptInsecureCerts": True}
        made = self._ask("POST", "/session", {"capabilities": {"alwaysMatch": options}})
        self._at = f"/session/{made['sessionId']}"
        self.version = made["capabilities"]["browserVersion"]

    def _ask(self, method: str, path: str, data: Any = None) -> Any:
        body = None if data is None else json.dumps(data).encode()
        request = urllib.request.Request(self._driver + path, body, method=method)
        try:
            with urllib.request.urlopen(request, timeout=60) as answer:
                return json.load(answer)["value"]
        except urllib.error.HTTPError as error:
            raise AssertionError(error.read().decode()[:500]) from None

    def open(self, url: str) -> None:
        self._ask("POST", self._at + "/url", {"url": url})

    @property
    def url(self) -> str:
        return str(self._ask("GET", self._at + "/url"))

    def run(self, script: str, *arguments: Any) -> Any:
        return self._ask(
            "POST", self._at + "/execute/sync", {"script": script, "args": list(arguments)}
        )

    def tap(self, text: str) -> None:
        """Press the link or button that is seen with this text, once it is there."""
        found = until(lambda: self.run(
            "return [...document.querySelectorAll('a, button, summary')].find("
            "(one) => one.checkVisibility() && one.innerText.trim().startsWith(arguments[0])) "
            "|| null", text), text)  # fmt: skip
        self.run("arguments[0].scrollIntoView({block: 'center'})", found)
        self._ask("POST", f"{self._at}/element/{found[ELEMENT]}/click", {})

    def fill(self, name: str, text: str) -> None:
        """Write into a field, as it is called in its form."""
        found = self._ask(
            "POST",
            self._at + "/element",
            {"using": "css selector", "value": f"[name='{name}']:not([type=hidden])"},
        )[ELEMENT]
        self._ask("POST", f"{self._at}/element/{found}/clear", {})
        self._ask("POST", f"{self._at}/element/{found}/value", {"text": text})

    def comes_to(self, end: str, wait_s: float = 60.0) -> None:
        until(lambda: self.url.endswith(end), end, wait_s)
        until(lambda: self.run("return document.readyState") == "complete", "all of the page")

    def close(self) -> None:
        with contextlib.suppress(AssertionError, OSError):
            self._ask("DELETE", self._at)


@contextlib.contextmanager
def webkit() -> Iterator[WebKit]:
    """Start WebKitGTK on a screen of its own; `tools/test` installs what it needs."""
    programs = [shutil.which("WebKitWebDriver"), shutil.which("Xvfb")]
    assert all(programs), "WebKitGTK is missing: bash tools/test installs it where it may"
    with contextlib.ExitStack() as closing, tempfile.TemporaryDirectory() as home:
        reads, writes = os.pipe()
        screen = subprocess.Popen(
            ["Xvfb", "-displayfd", str(writes), "-screen", "0", "400x900x24", "-nolisten", "tcp"],
            pass_fds=[writes],
            stderr=subprocess.DEVNULL,
        )
        closing.callback(_end, screen)
        os.close(writes)
        with os.fdopen(reads) as told:
            display = told.readline().strip()
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            port = probe.getsockname()[1]
        around = os.environ | {
            "DISPLAY": f":{display}",
            "HOME": home,
            "XDG_RUNTIME_DIR": home,
            "WEBKIT_DISABLE_COMPOSITING_MODE": "1",
            "WEBKIT_DISABLE_SANDBOX_THIS_IS_DANGEROUS": "1" if os.geteuid() == 0 else "0",
            "GDK_BACKEND": "x11",
        }
        driver = subprocess.Popen(
            ["WebKitWebDriver", f"--port={port}"], env=around, stderr=subprocess.DEVNULL
        )
        closing.callback(_end, driver)
        at = f"http://127.0.0.1:{port}"
        until(lambda: _is_up(at), "the driver")
        page = WebKit(at)
        closing.callback(page.close)
        yield page


def _is_up(at: str) -> bool:
    try:
        urllib.request.urlopen(at + "/status", timeout=5).close()
    except OSError:
        time.sleep(0.1)
        return False
    return True


def _end(process: "subprocess.Popen[bytes]") -> None:
    process.terminate()
    process.wait(10)
