"""A rod that comes back under another name, and a stranger under the rod's."""

import asyncio
import contextlib
import os
import pty
import threading
import time
import tty
from collections.abc import AsyncIterator, Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from serial.tools import list_ports as tools
from serial.tools.list_ports_common import ListPortInfo

from rig.devices import ports
from rig.devices.clock import Clock
from rig.devices.decoder import Decoder
from rig.devices.profile import load_profile
from rig.devices.reading import Back, Lost, Notice, Reading
from rig.devices.serial_port import SerialTransport
from rig.devices.stream import supervise
from rig.events import LinkBack, Noticed
from rig.room import from_rings
from rig.session.items import Act, Log
from rig.session.items import Item as AnyItem
from rig.session.keys import KeyParser, Parser
from rig.session.pour_keys import PourKeys
from rig.session.run import Stream
from rig.session.run import run as run_session
from rig.session.scene import Scene
from rig.session.sections import plan_of
from rig.session.sources import Device
from rig.survey.capture import Capture, Stand
from rig.units import Units
from tests.cli.conftest import Run
from tests.cli.conftest import run as run
from tests.devices.test_decoder import sentence
from tests.devices.test_stream import Script
from tests.kinds import there

Item = Reading | Lost | Back | Notice
PLAN = plan_of(from_rings([(0.0, 0.0), (3000.0, 0.0), (3000.0, 3000.0), (0.0, 3000.0)], (), ()))


class Talker:
    """A device on a pseudo-terminal under a name of its own that says one thing all the time."""

    def __init__(self, path: Path, says: Callable[[int], bytes]) -> None:
        self.path = path
        self._says = says
        self._master, self._slave = pty.openpty()
        tty.setraw(self._slave)
        os.set_blocking(self._master, False)
        path.symlink_to(os.ttyname(self._slave))
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._talk, daemon=True)
        self._thread.start()

    def pull(self) -> None:
        """Unplug it."""
        if not self._stop.is_set():
            self._stop.set()
            self._thread.join()
            self.path.unlink()
            os.close(self._master)
            os.close(self._slave)

    def _talk(self) -> None:
        n = 0
        while not self._stop.wait(0.01):
            n += 1
            with contextlib.suppress(BlockingIOError):
                os.write(self._master, self._says(n))


def rod(n: int) -> bytes:
    return sentence(n)


def stranger(n: int) -> bytes:
    return b"$GPGGA,120000,,,,,0*00\r\n"


class Desk:
    """The ports of a computer, as the system lists them."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.plugged: dict[str, tuple[Talker, str | None]] = {}

    def plug(self, name: str, says: Callable[[int], bytes], number: str | None = None) -> Talker:
        talker = Talker(self.folder / name, says)
        self.plugged[name] = (talker, number)
        return talker

    def pull(self, name: str) -> None:
        self.plugged.pop(name)[0].pull()

    def comports(self) -> list[ListPortInfo]:
        found = []
        for talker, number in self.plugged.values():
            port = ListPortInfo(str(talker.path))
            port.description = "USB serial"
            if number is not None:
                port.vid, port.pid, port.serial_number = 0x0403, 0x6001, number
            found.append(port)
        return found


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Desk]:
    folder = tmp_path / "dev"
    folder.mkdir()
    desk = Desk(folder)
    monkeypatch.setattr(tools, "comports", desk.comports)
    monkeypatch.setattr(ports, "LASTING_NAMES", folder / "by-id")
    yield desk
    for name in list(desk.plugged):
        desk.pull(name)


def followed(
    transport: SerialTransport, acts: Callable[[Item], None], enough: Callable[[Item], bool]
) -> list[Item]:
    """Follow a rod, with what happens at each item, until one is enough."""

    async def go() -> list[Item]:
        items: list[Item] = []
        stream = supervise(
            transport, Decoder(load_profile("sentence")), Clock(), first_delay_s=0.02
        )
        async with asyncio.timeout(15), contextlib.aclosing(stream):
            async for item in stream:
                assert not isinstance(item, type(None))
                items.append(item)  # type: ignore[arg-type]
                acts(items[-1])
                if enough(items[-1]):
                    return items
        raise AssertionError

    return asyncio.run(go())


def test_a_rod_that_comes_under_another_name_is_offered_and_taken(desk: Desk) -> None:
    desk.plug("ttyUSB0", rod)
    desk.plug("ttyS0", stranger)  # was there before, and is left alone
    (desk.folder / "by-id").mkdir()
    transport = SerialTransport(str(desk.folder / "ttyUSB0"), profile=load_profile("sentence"))
    state = {"pulled": False, "taken": False}

    def acts(item: Item) -> None:
        if isinstance(item, Reading) and not state["pulled"]:
            state["pulled"] = True
            desk.pull("ttyUSB0")
            new = desk.plug("ttyUSB1", rod)
            (desk.folder / "by-id" / "usb-Rod_17").symlink_to(new.path)
        if isinstance(item, Notice):
            transport.take_offer()
            state["taken"] = True

    items = followed(transport, acts, lambda item: isinstance(item, Reading) and state["taken"])
    (notice,) = [item for item in items if isinstance(item, Notice)]
    assert notice.text == (
        f"{desk.folder}/ttyUSB0 is gone, and {desk.folder}/ttyUSB1 came, which speaks as the rod "
        "does: press p to go on with it, or stop and start it with --serial "
        f"{desk.folder}/by-id/usb-Rod_17. Or plug the rod in where it was."
    )
    assert [type(item) for item in items[-4:]] == [Lost, Notice, Back, Reading]
    assert transport.url == str(desk.folder / "ttyUSB1")


def test_a_stranger_under_another_name_is_not_offered(desk: Desk) -> None:
    desk.plug("ttyUSB0", rod)
    transport = SerialTransport(str(desk.folder / "ttyUSB0"), profile=load_profile("sentence"))
    begun = time.monotonic()

    def acts(item: Item) -> None:
        if (
            isinstance(item, Reading)
            and "ttyUSB0" in desk.plugged
            and "ttyUSB1" not in desk.plugged
        ):
            desk.pull("ttyUSB0")
            desk.plug("ttyUSB1", lambda n: b"1200.0\r\n")
            threading.Timer(0.5, lambda: desk.plug("ttyUSB0", rod)).start()

    items = followed(transport, acts, lambda item: isinstance(item, Back))
    assert [type(item) for item in items] == [Reading, Lost, Back]
    assert time.monotonic() - begun < 8.0


def test_another_adapter_under_the_old_name_is_told(desk: Desk) -> None:
    desk.plug("ttyUSB0", rod, "A100")
    transport = SerialTransport(str(desk.folder / "ttyUSB0"), profile=load_profile("sentence"))
    done: list[bool] = []

    def acts(item: Item) -> None:
        if isinstance(item, Reading) and not done:
            done.append(True)
            desk.pull("ttyUSB0")
            threading.Timer(0.1, lambda: desk.plug("ttyUSB0", rod, "B200")).start()

    items = followed(transport, acts, lambda item: isinstance(item, Back))
    assert [type(item) for item in items] == [Reading, Lost, Notice, Back]
    notice = items[2]
    assert isinstance(notice, Notice)
    assert notice.text.startswith(f"Another device is plugged in at {desk.folder}/ttyUSB0 now.")
    assert "/dev/serial/by-id" in notice.text


def test_devices_shows_the_name_that_stays(desk: Desk, run: Run) -> None:
    talker = desk.plug("ttyUSB0", rod)
    (desk.folder / "by-id").mkdir()
    link = desk.folder / "by-id" / "usb-Rod_17"
    link.symlink_to(talker.path)
    assert f"wherever it is plugged in: {link}" in run("devices").out
    told: dict[str, Any] = run("devices", "--json").json
    assert told["serial"] == [{"url": str(talker.path), "text": "USB serial", "lasting": str(link)}]


class Heard(Log):
    """A log that remembers acts."""

    def __init__(self) -> None:
        self.acts: list[str] = []

    def item(self, item: object) -> None:
        if isinstance(item, Act):
            self.acts.append(item.name)


@pytest.mark.parametrize("parser", [KeyParser(), PourKeys()])
def test_the_key_for_the_offered_port_goes_to_the_link_and_no_further(parser: Parser) -> None:
    transport, heard = Script([]), Heard()

    async def pressed() -> AsyncIterator[AnyItem]:
        for name, argument in parser.feed("upuq"):
            yield Act(0.0, 0.0, name, argument)

    async def go() -> None:
        device = Device(transport, load_profile("sentence"), Clock())
        there(device.reached).set()
        await run_session(Capture([Stand("A1")]), [device, Stream(pressed())], heard, [], Clock())

    asyncio.run(go())
    assert transport.taken
    assert heard.acts == ["undo", "undo", "quit"]


def test_the_page_has_a_button_for_the_offered_port_until_the_rod_is_back() -> None:
    scene = Scene("survey", "Survey", Units("mm"), PLAN, acts=("accept", "quit"))
    assert "job" in scene.hear(Noticed(text="came", port="/dev/ttyUSB1"), 0.0)
    assert [*scene.acts] == ["port", "accept", "quit"]
    assert "job" in scene.hear(LinkBack(time_s=1.0, gap_s=1.0), 1.0)
    assert [*scene.acts] == ["accept", "quit"]
    watching = Scene("survey", "Survey", Units("mm"), PLAN)
    watching.hear(Noticed(text="came", port="/dev/ttyUSB1"), 0.0)
    assert not watching.acts
