"""A rod over Bluetooth LE: the invented world behind a stand-in BlueZ, in step with the clock.

The tool's own Bluetooth library talks to it as it does to a real one; only the radio is missing.
"""

import asyncio
import contextlib
import os
import signal
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from simulated_devices import Refused
from simulated_devices.pace import pace_of
from simulated_devices.points_walk import PointsWalk
from simulated_devices.private_bus import VARIABLE, given_bus, private_bus
from simulated_devices.serial_rod import LONGEST_SLEEP_S, SHORTEST_SLEEP_S, hear
from simulated_devices.truth import TruthFile
from simulated_devices.walker import Walker
from simulated_devices.world import World

if TYPE_CHECKING:
    from simulated_devices.stand_in_bluez import BlueZ, Device

ROD_SERVICE = "f63cdeab-b6f1-4aa1-b69f-7f0745e2787a"
ROD_VALUE = "82e5f646-c510-4222-9797-367990927434"
OTHER_SERVICE = "7d1b8e52-6c0e-4f0a-9a57-2f4be04ba54c"
OTHER_VALUE = "0f5c6c4a-8f0b-4f44-9a0e-e2e3b6a3a2d1"
# Battery Service and Battery Level: Bluetooth SIG Assigned Numbers.
BATTERY_SERVICE = "0000180f-0000-1000-8000-00805f9b34fb"
BATTERY_LEVEL = "00002a19-0000-1000-8000-00805f9b34fb"


def serve(
    world: World, *, speed: float = 1.0, name: str = "Rod-1", truth: Path | None = None
) -> None:
    """Print the rod's name, the bus, its address, and serve until a signal or the followed ends.

    Parameters
    ----------
    world : World
        As for a serial rod.
    speed : float
        Simulated seconds a second of the wall clock.
    name : str
        Under which the rod is found.
    truth : Path, optional
        Where the truth file is kept.

    Raises
    ------
    Refused
        Where there is no bus to serve on, or the truth file cannot be made.
    """
    with contextlib.ExitStack() as stack:
        address = given_bus() or stack.enter_context(private_bus())
        file = TruthFile(truth, world) if truth else None
        asyncio.run(_serve(world, address, speed, name, file))
        if file:
            file.update(at_end=True)


async def _serve(
    world: World, address: str, speed: float, name: str, file: TruthFile | None
) -> None:
    try:
        from simulated_devices.stand_in_bluez import ADVERTISED_EVERY_S, BlueZ, Device
    except ImportError:
        raise Refused(
            "The Python package dbus-fast is missing. Install it: pip install dbus-fast."
        ) from None

    chosen = world.chosen
    world.heard_s, world.listening = None, False
    service, value = (OTHER_SERVICE, OTHER_VALUE) if "uuids" in chosen else (ROD_SERVICE, ROD_VALUE)
    sold_as = f"00:00:5E:00:{0x54 + world.seed // 256 % 128:02X}:{world.seed % 256:02X}"
    rod = Device(
        sold_as,
        name,
        [(service, value, ["notify"]), (BATTERY_SERVICE, BATTERY_LEVEL, ["read", "notify"])],
        connected="held" in chosen,
        values={BATTERY_LEVEL: bytes([world.battery_percent()])},
    )
    devices = [rod]
    if "twin" in chosen:
        devices.append(Device("00:00:5E:00:53:FE", name, rod.characteristics))
    bluez = BlueZ(address, devices)
    bluez.plug(not world.away("unplugged"))
    bluez.power(not world.away("off"))
    loop = asyncio.get_running_loop()
    stop = asyncio.Event()
    woken = asyncio.Event()

    def halt() -> None:
        stop.set()
        woken.set()

    for number in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP):
        loop.add_signal_handler(number, halt)
    walker = world.mover if isinstance(world.mover, Walker) else None
    heard = bytearray()
    pace = pace_of(world, speed)

    def catch_up() -> None:
        world.listening = bluez.is_heard(rod, value)
        for sent in pace.sent():
            if bluez.running:
                bluez.notify(rod, value, sent.data)

    def listen() -> None:
        more = os.read(sys.stdin.fileno(), 65536)
        if not more:
            loop.remove_reader(sys.stdin.fileno())
            stop.set()
        catch_up()  # what is heard is heard now, not when the last message went out
        heard.extend(more)
        while b"\n" in heard:
            line, _, rest = bytes(heard).partition(b"\n")
            heard[:] = rest
            hear(world, pace, line)
        woken.set()

    async def advertise() -> None:
        while True:
            bluez.advertise(loop.time())
            await asyncio.sleep(ADVERTISED_EVERY_S)

    await bluez.start()
    print(name, flush=True)
    print(f"{VARIABLE}={address}", flush=True)
    print(rod.address, flush=True)
    if walker:
        loop.add_reader(sys.stdin.fileno(), listen)
    beacon = asyncio.create_task(advertise())
    try:
        while not stop.is_set():
            catch_up()
            await _apply_link(bluez, rod, world)
            if bluez.subscribed.is_set():
                world.listen()
                if isinstance(world.mover, PointsWalk):
                    world.mover.begin(world.time_s)
            if walker:
                for notice in walker.notices:
                    print(f"simulated_devices: {notice}", file=sys.stderr)
                walker.notices.clear()
            if file:
                file.update()
            due = pace.due_s()
            woken.clear()
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(min(max(due, SHORTEST_SLEEP_S), LONGEST_SLEEP_S)):
                    await woken.wait()
    finally:
        beacon.cancel()
        await bluez.stop()


async def _apply_link(bluez: "BlueZ", rod: "Device", world: World) -> None:
    """Let the rod, the adapter and the service be there or not, as the faults have it."""
    if world.away("service"):
        if bluez.running:
            await bluez.stop()
        return
    if not bluez.running:
        await bluez.start()
    bluez.plug(not world.away("unplugged"))
    bluez.power(not world.away("off"))
    rod.present = world.link_up()
    if not rod.present:
        bluez.disconnect(rod)
    level = bytes([world.battery_percent()])
    if rod.values.get(BATTERY_LEVEL) != level:
        bluez.notify(rod, BATTERY_LEVEL, level)
