"""A rod over Bluetooth LE: found by name or address, its notifications read as messages.

One notification is one message. bleak is imported when a transport is made, before any event loop
waits for it. Each opening finds the rod anew, because a handle from before a drop goes stale.
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
from collections import deque
from collections.abc import AsyncIterator, Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rig.devices.ble_errors import NoBluetooth, NotInReach, plain_words
from rig.devices.profile import Profile
from rig.devices.transport import TransportLost
from rig.errors import BadInput, DeviceUnavailable
from rig.language import join, say
from rig.record import Record
from rig.texts import shortened

if TYPE_CHECKING:
    from bleak import BleakAdapter, BleakClient
    from bleak.backends.characteristic import BleakGATTCharacteristic
    from bleak.backends.device import BLEDevice
    from bleak.backends.scanner import AdvertisementData

# Battery Service and Battery Level (uint8, per cent): Bluetooth SIG Assigned Numbers.
BATTERY_SERVICE = "0000180f-0000-1000-8000-00805f9b34fb"
BATTERY_LEVEL = "00002a19-0000-1000-8000-00805f9b34fb"

SCAN_S = 6.0
CONNECT_S = 15.0
CLOSE_S = 3.0
# After the first of a name so long for a second one, which makes the name no name.
NAMESAKES_S = 1.0
# A rod that does not advertise by then may be held by a program that has crashed.
HELD_S = 1.0
_LOOK_UP_S = 0.25


@dataclass(frozen=True, slots=True, kw_only=True)
class RodInReach(Record):
    """A device in reach; `rssi` is its signal strength in dBm, None where it is connected."""

    name: str | None
    address: str
    rssi: int | None


def list_rods(seconds: float = 4.0) -> list[RodInReach]:
    """Return what is in reach, nearest first.

    Devices that are connected do not advertise; they come last, without a signal strength.

    Raises
    ------
    DeviceUnavailable
        There is no Bluetooth to scan with, in words that say what to do.
    """
    _import_bleak()

    async def look() -> list[RodInReach]:
        with plain_words():
            scan = _Scan()
            async with scan.running():
                await asyncio.sleep(seconds)
            rods = [
                RodInReach(name=_name(device), address=device.address, rssi=rssi)
                for device, rssi in scan.nearest_first()
            ]
            return rods + [
                RodInReach(name=_name(device), address=device.address, rssi=None)
                for device in await _connected(scan.services)
                if device.address not in scan.seen
            ]

    return asyncio.run(look())


class BleTransport:
    """A rod over Bluetooth LE.

    Parameters
    ----------
    rod : str
        Its name or its address, in any case.
    profile : Profile
        With the UUIDs of the rod's service and of its notifying characteristic.
    scan_s : float, optional
        How long to look for it at each opening.

    Attributes
    ----------
    battery_percent : int or None
        What the rod's Battery Service said last, where it has one.

    Raises
    ------
    BadInput
        The profile does not say how to find the readings over Bluetooth.
    """

    whole_messages = True
    other_device = say("Give the rod by its address, which rig devices --scan shows.")

    def __init__(self, rod: str, profile: Profile, scan_s: float | None = None) -> None:
        if not rod.strip():
            raise BadInput(
                say("No rod is named; give its name or address, see rig devices --scan.")
            )
        if profile.ble_service is None or profile.ble_value is None:
            raise BadInput(
                say(
                    "The profile {key} has no [ble] part, so it says nothing of Bluetooth. "
                    "Give another --profile, or add [ble] with the UUIDs `service` and `value`.",
                    key=profile.key,
                )
            )
        _import_bleak()
        self.rod = rod.strip()
        self.battery_percent: int | None = None
        self.offered: str | None = None  # a rod keeps its address
        self.dropped_bytes = 0
        self._profile = profile
        self._service, self._value = profile.ble_service, profile.ble_value
        self._scan_s = scan_s
        self._address: str | None = None  # once it was reached
        self._client: BleakClient | None = None
        self._messages: deque[bytes] = deque()
        self._news = asyncio.Event()
        self._dropped = False
        # Why the last opening failed: what a sign of the rod's return would be.
        self._absent = self._no_bluetooth = False
        self._returned: BLEDevice | None = None

    async def open(self) -> None:
        """Find the rod, connect, and ask for its notifications.

        Raises
        ------
        DeviceUnavailable
            There is no Bluetooth, no such rod, several of its name, or it is not of this profile.
        """
        await self.close()
        self._absent = self._no_bluetooth = False
        try:
            await self._open()
        except BaseException as error:
            self._absent = isinstance(error, NotInReach)
            self._no_bluetooth = isinstance(error, NoBluetooth)
            await self.close()
            raise

    async def read(self) -> bytes:
        """Wait for a notification and return it; raise `TransportLost` when the rod is gone."""
        while not self._messages:
            if self._client is None:
                raise TransportLost(say("{rod} is not open", rod=self.rod))
            if self._dropped:
                raise TransportLost(await self._why_dropped())
            self._news.clear()
            await self._news.wait()
        return self._messages.popleft()

    async def close(self) -> None:
        """Let go of the rod, dropped or not, and wait until that is done.

        Without it each drop would leak a descriptor, and a rod left connected no longer shows.
        """
        client, self._client = self._client, None
        self._messages.clear()
        if client is not None:
            # A Bluetooth service that hangs, or is gone, must not hold up the next attempt.
            with contextlib.suppress(Exception):
                async with asyncio.timeout(CLOSE_S):
                    await client.disconnect()

    async def wait(self, longest_s: float) -> Sequence[str]:
        """Wait before the next attempt, at most so long; less where the rod is in reach again."""
        end = asyncio.get_running_loop().time() + longest_s

        def left() -> float:
            return end - asyncio.get_running_loop().time()

        if not (self._absent or self._no_bluetooth):
            await asyncio.sleep(longest_s)
        while (self._absent or self._no_bluetooth) and left() > 0:
            try:
                if self._no_bluetooth:
                    with plain_words():
                        await _adapter()
                    return ()
                self._returned = await self._find(left())
                return ()
            except DeviceUnavailable:
                await asyncio.sleep(max(0.0, min(_LOOK_UP_S, left())))
        return ()

    def take_offer(self) -> None:
        """Do nothing: a rod over Bluetooth keeps its address, so none is offered in its place."""

    async def _open(self) -> None:
        from bleak import BleakClient

        device, self._returned = self._returned, None
        if device is None:
            device = await self._find(SCAN_S if self._scan_s is None else self._scan_s)
        name = _name(device) or device.address

        def dropped(client: BleakClient) -> None:
            if client is self._client:
                self._dropped = True
                self._news.set()

        def arrived(characteristic: BleakGATTCharacteristic, data: bytearray) -> None:
            self._messages.append(bytes(data))
            self._news.set()

        self._messages.clear()
        self._dropped = False
        with plain_words(name):
            client = BleakClient(device, disconnected_callback=dropped, timeout=CONNECT_S)
            self._client = client
            await client.connect()
            value = self._checked(client, name)
            await client.start_notify(value, arrived)
        self._address = device.address
        await self._watch_battery(client)

    def _checked(self, client: BleakClient, name: str) -> BleakGATTCharacteristic:
        """Return the notifying characteristic, or refuse a device of another kind."""
        service = client.services.get_service(self._service)
        if service is None:
            offered = [one.uuid for one in client.services if one.uuid != BATTERY_SERVICE]
            raise DeviceUnavailable(
                say(
                    "{name} is no rod of the profile {key}: it has no service {service}; it "
                    "offers {offered}. Is it the right one, and the right --profile?",
                    name=name,
                    key=self._profile.key,
                    service=self._service,
                    offered=join(", ", offered) or say("none"),
                )
            )
        value = service.get_characteristic(self._value)
        if value is None or not {"notify", "indicate"} & set(value.properties):
            raise DeviceUnavailable(
                say(
                    (
                        "{name} is no rod of the profile {key}: the characteristic {value} sends "
                        "no notifications. Is it the right --profile?"
                    )
                    if value
                    else (
                        "{name} is no rod of the profile {key}: the characteristic {value} is not "
                        "there. Is it the right --profile?"
                    ),
                    name=name,
                    key=self._profile.key,
                    value=self._value,
                )
            )
        return value

    async def _watch_battery(self, client: BleakClient) -> None:
        """Read the battery's level and hear of its changes; many a rod has no such service."""

        def level(characteristic: BleakGATTCharacteristic, data: bytearray) -> None:
            if data:
                self.battery_percent = min(data[0], 100)

        service = client.services.get_service(BATTERY_SERVICE)
        battery = service.get_characteristic(BATTERY_LEVEL) if service else None
        if battery is None:
            return
        with contextlib.suppress(Exception):  # a rod with a broken one still reads
            level(battery, await client.read_gatt_char(battery))
            if "notify" in battery.properties:
                await client.start_notify(battery, level)

    async def _find(self, seconds: float) -> BLEDevice:
        """Look for the rod that is meant, and for namesakes where only its name is known."""
        loop = asyncio.get_running_loop()
        with plain_words():
            scan = _Scan([self._service])
            end = loop.time() + seconds
            held_at = min(loop.time() + HELD_S, end)
            decide_at: float | None = None
            async with scan.running():
                while True:
                    known = scan.get(self._address) or scan.get(self.rod)
                    if known is not None:
                        return known
                    named, now = scan.named(self.rod), loop.time()
                    if named and decide_at is None:
                        decide_at = now + NAMESAKES_S
                    if decide_at is not None and now >= decide_at:
                        return self._only(named)
                    if not named and now >= held_at:
                        if held := await self._held(scan):
                            return self._only(held)
                        held_at = now + HELD_S
                    if now >= end and decide_at is None:
                        raise NotInReach(self._not_in_reach(scan))
                    due = min(held_at, end if decide_at is None else min(decide_at, end))
                    await scan.news(max(due - now, 0.01))

    async def _held(self, scan: _Scan) -> list[BLEDevice]:
        """Return the rod where it is connected already, and so does not advertise."""
        return [one for one in await _connected(scan.services) if self._is(one)]

    def _is(self, device: BLEDevice) -> bool:
        wanted = (self.rod.casefold(), (self._address or self.rod).casefold())
        return (device.name or "").casefold() in wanted or device.address.casefold() in wanted

    def _only(self, devices: list[BLEDevice]) -> BLEDevice:
        if len(devices) > 1:
            there = join(", ", sorted(device.address for device in devices))
            raise DeviceUnavailable(
                say(
                    "{devices} rods in reach are called {rod}: {there}. Name the one you mean "
                    "by its address: --ble ADDRESS.",
                    devices=len(devices),
                    rod=self.rod,
                    there=there,
                )
            )
        return devices[0]

    def _not_in_reach(self, scan: _Scan) -> str:
        there = [
            say(
                "{name} ({address}, {rssi} dBm)",
                name=_name(device) or say("without a name"),
                address=device.address,
                rssi=rssi,
            )
            for device, rssi in scan.nearest_first()
        ]
        return say(
            "No rod called {rod} is in reach; in reach are: {there}. Switch it on and come "
            "nearer, or name another: --ble NAME.",
            rod=self.rod,
            there=join(", ", there) or say("none"),
        )

    async def _why_dropped(self) -> str:
        # The word that the connection is gone may come just before the one that the adapter is.
        for wait_s in (0.0, 0.3):
            await asyncio.sleep(wait_s)
            try:
                with plain_words():
                    async with asyncio.timeout(1.0):
                        await _adapter()
            except DeviceUnavailable as error:
                return str(error).partition(".")[0]
        return say("{rod} dropped the connection: out of reach, or switched off?", rod=self.rod)


class _Scan:
    """One scan: who advertises, and how strongly."""

    def __init__(self, services: Iterable[str] = ()) -> None:
        self.services = frozenset({*services, BATTERY_SERVICE})
        self.seen: dict[str, tuple[BLEDevice, int]] = {}
        self._heard = asyncio.Event()

    @contextlib.asynccontextmanager
    async def running(self) -> AsyncIterator[None]:
        from bleak import BleakScanner

        def hear(device: BLEDevice, advertisement: AdvertisementData) -> None:
            self.seen[device.address] = (device, advertisement.rssi)
            self._heard.set()

        scanner = BleakScanner(hear)
        await scanner.start()
        try:
            yield
        finally:
            with contextlib.suppress(Exception):  # what is found counts, not how it ended
                async with asyncio.timeout(CLOSE_S):
                    await scanner.stop()

    def nearest_first(self) -> list[tuple[BLEDevice, int]]:
        return sorted(self.seen.values(), key=lambda one: -one[1])

    def get(self, address: str | None) -> BLEDevice | None:
        wanted = (address or "").casefold()
        return next(
            (one for one, _ in self.seen.values() if one.address.casefold() == wanted), None
        )

    def named(self, name: str) -> list[BLEDevice]:
        wanted = name.casefold()
        return [one for one, _ in self.seen.values() if (one.name or "").casefold() == wanted]

    async def news(self, longest_s: float) -> None:
        self._heard.clear()
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(longest_s):
                await self._heard.wait()


async def _adapter() -> BleakAdapter:
    from bleak import BleakAdapter

    return await BleakAdapter.get()


async def _connected(services: Iterable[str]) -> list[BLEDevice]:
    """Devices that are connected, by whomever, with one of these services."""
    adapter = await _adapter()
    return list(await adapter.get_connected_devices(sorted(services)))


def _import_bleak() -> None:
    """Import all of bleak that will be needed: inside the event loop it would hold readings up."""
    import sys

    import bleak

    if sys.platform == "linux":
        import bleak.backends.bluezdbus.client
        import bleak.backends.bluezdbus.scanner  # noqa: F401
    for name in ("bleak", "dbus_fast"):
        # What matters of their warnings is told in our own words.
        logging.getLogger(name).addHandler(logging.NullHandler())


def _name(device: BLEDevice) -> str | None:
    """Return the name that a device gives itself; anybody may, so it is made fit to be shown."""
    return shortened(device.name) if device.name else None
