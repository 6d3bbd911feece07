"""A site of the tests' own: a mosquitto on this machine alone, and accounts on it."""

import contextlib
import socket
from collections.abc import Iterator
from pathlib import Path

import pytest

from rig.devices.broker import Site
from rig.devices.site import Role
from tests.cli.conftest import run as run


class Place:
    """A broker that runs, and can be killed and started again."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.site = folder, Site(folder / "site")
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = int(probe.getsockname()[1])
        names = {"localhost", "127.0.0.1"}
        self.url = self.site.prepare("127.0.0.1", "127.0.0.1", self.port, names)
        self._broker = self.site.start()

    @property
    def process(self) -> int:
        """Number of the broker's process."""
        return self._broker.pid

    def invite(self, name: str, role: Role) -> Path:
        path = self.folder / f"{name}.site"
        path.write_text(self.site.invite(name, role).as_text())
        return path

    def kill(self) -> None:
        self._broker.kill()
        self._broker.wait()

    def start(self) -> None:
        self._broker = self.site.start()

    def stop(self) -> None:
        with contextlib.suppress(ProcessLookupError):
            self._broker.terminate()
        self._broker.wait()


@pytest.fixture(scope="package")
def place(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Place]:
    made = Place(tmp_path_factory.mktemp("place"))
    for name in ("rod-1", "rod-2", "rod-3"):
        made.invite(name, "rod")
    made.invite("kitchen", "session")
    yield made
    made.stop()
