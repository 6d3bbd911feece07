import asyncio
import contextlib
import os
import pty
import socket
import statistics
import threading
import time
import tty
from collections.abc import Coroutine, Iterator
from pathlib import Path
from typing import Any

import pytest

from rig.devices.clock import Clock
from rig.devices.decoder import Decoder
from rig.devices.ports import list_ports
from rig.devices.profile import load_profile
from rig.devices.reading import Back, Lost, Reading
from rig.devices.serial_port import SerialTransport
from rig.devices.stream import supervise
from rig.devices.transport import TransportLost
from rig.errors import BadInput, DeviceUnavailable, RigError
from tests.devices.test_decoder import sentence
from tests.kinds import T


@contextlib.contextmanager
def terminal() -> Iterator[tuple[int, str]]:
    """A pseudo-terminal: the rod's end, and the path that stands for the serial port."""
    master, slave = pty.openpty()
    tty.setraw(slave)
    path = os.ttyname(slave)
    os.close(slave)
    try:
        yield master, path
    finally:
        with contextlib.suppress(OSError):
            os.close(master)


def run(coroutine: Coroutine[Any, Any, T]) -> T:
    async def bounded() -> T:
        async with asyncio.timeout(15):
            return await coroutine

    return asyncio.run(bounded())


def failure(url: str, **options: Any) -> RigError:
    with pytest.raises((DeviceUnavailable, BadInput)) as caught:
        run(SerialTransport(url, **options).open())
    return caught.value


def test_bytes_come_through_a_pseudo_terminal() -> None:
    async def talk(master: int, path: str) -> bytes:
        port = SerialTransport(path, 115200)
        await port.open()
        os.write(master, b"12.5\r\n\x00\xff")
        data = b""
        while len(data) < 8:
            data += await port.read()
        await port.close()
        await port.close()
        return data

    with terminal() as (master, path):
        assert run(talk(master, path)) == b"12.5\r\n\x00\xff"


def test_a_line_arrives_well_within_a_millisecond() -> None:
    async def talk(master: int, path: str) -> float:
        port = SerialTransport(path)
        await port.open()
        waits = []
        for _ in range(200):
            await asyncio.sleep(0.0005)
            begun = time.perf_counter()
            os.write(master, b"1234.5\r\n")
            await port.read()
            waits.append(time.perf_counter() - begun)
        await port.close()
        return statistics.median(waits)

    with terminal() as (master, path):
        # 0.1 to 0.2 ms on an idle machine; the bound leaves room for a busy one.
        assert run(talk(master, path)) < 0.002


def test_a_rod_that_hangs_up_is_lost_at_once() -> None:
    async def talk(master: int, path: str) -> None:
        port = SerialTransport(path)
        await port.open()
        os.write(master, b"last words\n")
        assert await port.read()
        begun = time.perf_counter()
        os.close(master)
        with pytest.raises(TransportLost, match=r"unplugged|any more"):
            await port.read()
        with pytest.raises(TransportLost):
            await port.read()
        assert time.perf_counter() - begun < 1.0
        await port.close()

    with terminal() as (master, path):
        run(talk(master, path))


def test_a_closed_port_cannot_be_read() -> None:
    async def talk(path: str) -> None:
        port = SerialTransport(path)
        with pytest.raises(TransportLost):
            await port.read()
        await port.open()
        await port.close()
        with pytest.raises(TransportLost):
            await port.read()

    with terminal() as (_, path):
        run(talk(path))


def test_closing_does_not_wait_for_bytes() -> None:
    async def talk(path: str) -> float:
        port = SerialTransport(path)
        await port.open()
        begun = time.perf_counter()
        await port.close()
        return time.perf_counter() - begun

    with terminal() as (_, path):
        assert run(talk(path)) < 0.5


def test_what_was_under_way_is_forgotten_on_opening_again() -> None:
    async def talk(master: int, path: str) -> bytes:
        port = SerialTransport(path)
        await port.open()
        os.write(master, b"old")
        await asyncio.sleep(0.05)
        await port.open()
        os.write(master, b"new")
        data = await port.read()
        await port.close()
        return data

    with terminal() as (master, path):
        assert run(talk(master, path)) == b"new"


def test_a_loop_is_a_port() -> None:
    async def talk() -> None:
        port = SerialTransport("loop://")
        opening = asyncio.create_task(port.open())
        await opening
        await port.close()

    run(talk())


@contextlib.contextmanager
def server(saying: bytes) -> Iterator[str]:
    """A socket that says something to its caller and hangs up."""
    with socket.create_server(("127.0.0.1", 0)) as listener:

        def serve() -> None:
            caller, _ = listener.accept()
            time.sleep(0.02)  # pyserial drops what came before it was ready
            with caller:
                caller.sendall(saying)

        thread = threading.Thread(target=serve)
        thread.start()
        yield f"socket://127.0.0.1:{listener.getsockname()[1]}"
        thread.join()


def test_a_socket_is_a_port_until_it_closes() -> None:
    async def talk(url: str) -> bytes:
        port = SerialTransport(url)
        await port.open()
        data = b""
        while len(data) < 5000:
            data += await port.read()
        with pytest.raises(TransportLost, match="closed the connection"):
            await port.read()
        await port.close()
        return data

    with server(b"x" * 5000) as url:
        assert run(talk(url)) == b"x" * 5000


def test_a_port_that_is_not_there_is_told_with_those_that_are(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    from serial.tools import list_ports as tools
    from serial.tools.list_ports_common import ListPortInfo

    monkeypatch.setattr(tools, "comports", lambda: [])
    error = failure("/dev/ttyNONE9")
    assert error.exit_code == 3
    assert "There is no serial port /dev/ttyNONE9 here; there are: none." in str(error)
    assert "--serial" in str(error)

    port = ListPortInfo("/dev/ttyUSB7")
    port.description = "USB rod"
    bare = ListPortInfo("/dev/ttyS0")
    monkeypatch.setattr(tools, "comports", lambda: [port, bare])
    assert "there are: /dev/ttyS0, /dev/ttyUSB7." in str(failure("/dev/ttyNONE9"))
    assert [port.as_json() for port in list_ports()] == [
        {"url": "/dev/ttyS0", "text": ""},
        {"url": "/dev/ttyUSB7", "text": "USB rod"},
    ]


def test_a_busy_port_is_told() -> None:
    async def talk(path: str) -> None:
        first = SerialTransport(path)
        await first.open()
        try:
            with pytest.raises(DeviceUnavailable, match="busy: another program has it open"):
                await SerialTransport(path).open()
        finally:
            await first.close()
        second = SerialTransport(path)
        await second.open()
        await second.close()

    with terminal() as (_, path):
        run(talk(path))


def test_a_port_without_permission_names_the_group(monkeypatch: pytest.MonkeyPatch) -> None:
    with terminal() as (_, path):

        def refuse(self: object) -> None:
            import serial

            raise serial.SerialException(13, f"could not open port {path}: Permission denied")

        monkeypatch.setattr("serial.Serial.open", refuse)
        text = str(failure(path))
    assert f"not allowed to open {path}" in text
    assert "belongs to the group" in text
    assert "usermod -aG" in text


def test_a_file_is_no_serial_port(tmp_path: Path) -> None:
    (tmp_path / "floor.csv").write_text("x,y\n")
    assert "floor.csv is not a serial port" in str(failure(str(tmp_path / "floor.csv")))


def test_a_socket_where_nothing_listens_is_told() -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = server.getsockname()[1]
    error = failure(f"socket://127.0.0.1:{port}")
    assert error.exit_code == 3
    assert f"Nothing answers at 127.0.0.1:{port}." in str(error)


@pytest.mark.parametrize(
    ("url", "said"),
    [
        ("socket://rod.local", "socket://host:port"),
        ("socket://:7000", "socket://host:port"),
        ("socket://rod:port", "socket://host:port"),
        ("socket://rod:99999", "socket://host:port"),
        ("carrier://pigeon", "cannot be used as a serial port"),
        ("", "No serial port is named"),
    ],
)
def test_a_url_that_cannot_be_right_is_bad_input(url: str, said: str) -> None:
    with pytest.raises(BadInput, match=said):
        run(SerialTransport(url).open())


def test_a_speed_that_cannot_be_right_is_bad_input() -> None:
    with pytest.raises(BadInput, match="baud"):
        SerialTransport("/dev/ttyUSB0", 0)


class DroppingRod(threading.Thread):
    """A rod that is unplugged each time it was heard, and plugged in again under the same name."""

    def __init__(self, path: Path, drops: int) -> None:
        super().__init__(daemon=True)
        self.path, self.drops = path, drops
        self.heard = threading.Event()
        self._plug()

    def _plug(self) -> None:
        self._master, slave = pty.openpty()
        tty.setraw(slave)
        spare = self.path.with_suffix(".new")
        spare.symlink_to(os.ttyname(slave))
        spare.replace(self.path)
        os.close(slave)

    def run(self) -> None:
        for drop in range(self.drops):
            while not self.heard.wait(0.003):
                os.write(self._master, sentence(100 * drop) + sentence(100 * drop)[:9])
            self.heard.clear()
            os.close(self._master)
            if drop < self.drops - 1:
                self._plug()


def in_use() -> tuple[int, int]:
    return len(os.listdir("/proc/self/fd")), threading.active_count()


def test_twenty_drops_leak_no_descriptor_and_no_thread(tmp_path: Path) -> None:
    async def follow() -> tuple[list[Any], tuple[int, int], tuple[int, int]]:
        before = in_use()
        rod = DroppingRod(tmp_path / "rod", 20)
        stream = supervise(
            SerialTransport(str(rod.path)),
            Decoder(load_profile("sentence")),
            Clock(),
            first_delay_s=0.005,
            longest_delay_s=0.02,
        )
        rod.start()
        items = []
        async with contextlib.aclosing(stream):
            async for item in stream:
                items.append(item)
                if isinstance(item, Reading) and item.status == "valid":
                    rod.heard.set()
                if sum(isinstance(item, Lost) for item in items) == 20:
                    break
        rod.join()
        return items, before, in_use()

    items, before, after = run(follow())
    assert after == before
    good = [item for item in items if isinstance(item, Reading) and item.status == "valid"]
    assert [item.seq for item in good] == [100 * drop for drop in range(20)]
    assert all(item.missed == 0 for item in good)
    assert sum(isinstance(item, Back) for item in items) == 19


def test_cancelling_while_it_connects_does_not_hang() -> None:
    async def talk() -> float:
        # A full backlog: connecting waits and is not refused.
        server = socket.socket()
        server.bind(("127.0.0.1", 0))
        server.listen(0)
        url = f"socket://127.0.0.1:{server.getsockname()[1]}"
        fillers = [socket.socket() for _ in range(3)]
        for filler in fillers:
            filler.setblocking(False)
            with contextlib.suppress(BlockingIOError):
                filler.connect(server.getsockname())
        await asyncio.sleep(0.05)
        port = SerialTransport(url)
        begun = time.perf_counter()
        with pytest.raises(TimeoutError):
            async with asyncio.timeout(0.1):
                await port.open()
        taken = time.perf_counter() - begun
        for each in (*fillers, server):
            each.close()
        return taken

    assert run(talk()) < 1.0
