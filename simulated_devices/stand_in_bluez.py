"""A stand-in for BlueZ on a D-Bus: one adapter, and devices that are found, connected and heard.

It answers as `org.bluez` does as far as a client that looks for a device, connects, reads and
subscribes can see. It says nothing of radio: nothing is out of range, nothing collides.
"""

import asyncio
import contextlib
import random
from dataclasses import dataclass, field
from typing import Any

from dbus_fast import Message, MessageType, NameFlag, RequestNameReply, Variant
from dbus_fast.aio import MessageBus

from simulated_devices import Refused

ADAPTER_PATH = "/org/bluez/hci0"
ADVERTISED_EVERY_S = 0.1
FORGOTTEN_AFTER_S = 30.0  # a device that is not connected, after its last advertisement
CONNECTS_IN_S = 0.03

BUS, BUS_PATH = "org.freedesktop.DBus", "/org/freedesktop/DBus"
OBJECTS, PROPERTIES = "org.freedesktop.DBus.ObjectManager", "org.freedesktop.DBus.Properties"
ADAPTER, DEVICE = "org.bluez.Adapter1", "org.bluez.Device1"
SERVICE, CHARACTERISTIC = "org.bluez.GattService1", "org.bluez.GattCharacteristic1"

Interfaces = dict[str, dict[str, Variant]]


@dataclass
class Device:
    """A device with its characteristics: ``(service UUID, UUID, flags)`` for each.

    While `present` it advertises, unless it is connected.
    """

    address: str
    name: str
    characteristics: list[tuple[str, str, list[str]]] = field(default_factory=list)
    present: bool = True
    connected: bool = False
    values: dict[str, bytes] = field(default_factory=dict)
    last_seen_s: float = 0.0

    @property
    def path(self) -> str:
        return f"{ADAPTER_PATH}/dev_{self.address.replace(':', '_')}"

    def char_path(self, uuid: str) -> str:
        """Paths must end in /serviceXXXX/charXXXX, or clients lose notifications."""
        for n, (_, own, _) in enumerate(self.characteristics):
            if own == uuid:
                return f"{self.path}/service{16 * (n + 1):04x}/char{16 * (n + 1) + 1:04x}"
        raise KeyError(uuid)

    def gatt(self) -> dict[str, Interfaces]:
        objects: dict[str, Interfaces] = {}
        for service, uuid, flags in self.characteristics:
            path = self.char_path(uuid)
            parent = path.rpartition("/")[0]
            objects[parent] = {
                SERVICE: {
                    "UUID": Variant("s", service),
                    "Device": Variant("o", self.path),
                    "Primary": Variant("b", True),
                }
            }
            objects[path] = {
                CHARACTERISTIC: {
                    "UUID": Variant("s", uuid),
                    "Service": Variant("o", parent),
                    "Value": Variant("ay", self.values.get(uuid, b"")),
                    "Notifying": Variant("b", False),
                    "Flags": Variant("as", flags),
                    "MTU": Variant("q", 64),
                }
            }
        return objects


class BlueZ:
    """The service with its objects.

    Parameters
    ----------
    address : str
        Of the bus.
    devices : list of Device
        What is around.
    """

    def __init__(self, address: str, devices: list[Device]) -> None:
        self._address = address
        self.devices = devices
        self._bus: MessageBus | None = None
        self._objects: dict[str, Interfaces] = {}
        self._discovering: set[str] = set()
        self._notifying: dict[str, set[str]] = {}
        self._powered = True
        self._has_adapter = True
        self._tasks: set[asyncio.Task[None]] = set()
        self.subscribed = asyncio.Event()

    async def start(self) -> None:
        """Take the name `org.bluez` on the bus; refuse where somebody has it."""
        try:
            bus = await MessageBus(bus_address=self._address).connect()
        except Exception as error:
            raise Refused(f"Nothing answers on the bus {self._address}: {error}.") from None
        bus.add_message_handler(self._handle)
        self._bus = bus
        self._objects = {}
        if self._has_adapter:
            self._put(ADAPTER_PATH, {ADAPTER: self._adapter()})
        for device in self.devices:
            if device.connected:
                self._show(device)
                self._resolve(device)
        rule = f"type='signal',sender='{BUS}',member='NameOwnerChanged'"
        await bus.call(Message(BUS, BUS_PATH, BUS, "AddMatch", signature="s", body=[rule]))
        reply = await bus.request_name("org.bluez", NameFlag.DO_NOT_QUEUE)
        if reply is not RequestNameReply.PRIMARY_OWNER:
            raise Refused(f"Another Bluetooth service runs on the bus {self._address} already.")

    async def stop(self) -> None:
        """Vanish from the bus without a word, as a service that has crashed does."""
        bus, self._bus = self._bus, None
        for task in list(self._tasks):
            task.cancel()
        self._discovering.clear()
        self._notifying.clear()
        self._objects.clear()
        for device in self.devices:
            device.connected = False
        if bus is not None:
            bus.disconnect()
            with contextlib.suppress(Exception):
                await bus.wait_for_disconnect()  # type: ignore[no-untyped-call]

    @property
    def running(self) -> bool:
        return self._bus is not None

    def power(self, on: bool) -> None:
        """Switch the adapter on or off; off ends every connection."""
        if self._powered == on:
            return
        self._powered = on
        if not on:
            self._discovering.clear()
            for device in self.devices:
                self.disconnect(device)
        self._change(ADAPTER_PATH, ADAPTER, Powered=Variant("b", on))

    def plug(self, there: bool) -> None:
        """Plug the adapter in, or pull it out."""
        if self._has_adapter == there:
            return
        self._has_adapter = there
        if there:
            self._put(ADAPTER_PATH, {ADAPTER: self._adapter()})
        else:
            for device in self.devices:
                self.disconnect(device)
                self._forget(device)
            self._withdraw(ADAPTER_PATH)

    def advertise(self, now_s: float) -> None:
        """Let every device that is free advertise once; forget those long not heard of."""
        for device in self.devices:
            if device.connected or not self.running:
                continue
            if device.present and self._powered and self._has_adapter and self._discovering:
                device.last_seen_s = now_s
                if device.path in self._objects:
                    rssi = Variant("n", random.randint(-63, -52))
                    self._change(device.path, DEVICE, RSSI=rssi)
                else:
                    self._show(device)
            elif device.path in self._objects and now_s - device.last_seen_s > FORGOTTEN_AFTER_S:
                self._forget(device)

    def notify(self, device: Device, uuid: str, value: bytes) -> bool:
        """Send a notification to whoever has subscribed; return whether anybody has."""
        device.values[uuid] = value
        if not self.is_heard(device, uuid):
            return False
        path = device.char_path(uuid)
        self._objects[path][CHARACTERISTIC]["Value"] = Variant("ay", value)
        self._emit_changed(path, CHARACTERISTIC, {"Value": Variant("ay", value)})
        return True

    def is_heard(self, device: Device, uuid: str) -> bool:
        """Whether anybody has subscribed."""
        return device.connected and bool(self._notifying.get(device.char_path(uuid)))

    def disconnect(self, device: Device) -> None:
        """End a connection, whoever wanted it."""
        if not device.connected:
            return
        device.connected = False
        device.last_seen_s = asyncio.get_running_loop().time()
        if not self.running:
            return
        for path in device.gatt():
            self._notifying.pop(path, None)
        self._change(device.path, DEVICE, ServicesResolved=Variant("b", False))
        for path in sorted(device.gatt(), reverse=True):
            self._withdraw(path)
        self._change(device.path, DEVICE, Connected=Variant("b", False))

    # --- objects

    def _adapter(self) -> dict[str, Variant]:
        return {
            "Address": Variant("s", "00:00:5E:00:53:01"),
            "Name": Variant("s", "simulated"),
            "Alias": Variant("s", "simulated"),
            "Powered": Variant("b", self._powered),
            "Discovering": Variant("b", False),
            "Roles": Variant("as", ["central"]),
        }

    def _show(self, device: Device) -> None:
        self._put(
            device.path,
            {
                DEVICE: {
                    "Address": Variant("s", device.address),
                    "AddressType": Variant("s", "random"),
                    "Name": Variant("s", device.name),
                    "Alias": Variant("s", device.name),
                    "Adapter": Variant("o", ADAPTER_PATH),
                    "Paired": Variant("b", False),
                    "Connected": Variant("b", device.connected),
                    "ServicesResolved": Variant("b", device.connected),
                    "UUIDs": Variant("as", sorted({c[0] for c in device.characteristics})),
                    "RSSI": Variant("n", random.randint(-63, -52)),
                }
            },
        )

    def _resolve(self, device: Device) -> None:
        for path, interfaces in device.gatt().items():
            self._put(path, interfaces)

    def _forget(self, device: Device) -> None:
        if device.path in self._objects:
            self._withdraw(device.path)

    def _put(self, path: str, interfaces: Interfaces) -> None:
        self._objects[path] = interfaces
        self._signal("/", OBJECTS, "InterfacesAdded", "oa{sa{sv}}", [path, interfaces])

    def _withdraw(self, path: str) -> None:
        names = list(self._objects.pop(path, {}))
        self._signal("/", OBJECTS, "InterfacesRemoved", "oas", [path, names])

    def _change(self, path: str, interface: str, **changed: Variant) -> None:
        if path in self._objects:
            self._objects[path][interface].update(changed)
            self._emit_changed(path, interface, changed)

    def _emit_changed(self, path: str, interface: str, changed: dict[str, Variant]) -> None:
        self._signal(path, PROPERTIES, "PropertiesChanged", "sa{sv}as", [interface, changed, []])

    def _signal(self, path: str, interface: str, member: str, signature: str, body: Any) -> None:
        if self._bus is not None:
            self._bus.send(Message.new_signal(path, interface, member, signature, body))

    # --- calls

    def _handle(self, message: Message) -> Message | bool | None:
        if message.message_type is MessageType.SIGNAL:
            if message.member == "NameOwnerChanged" and message.body[2] == "":
                self._client_gone(message.body[0])
            return None
        if message.message_type is not MessageType.METHOD_CALL:
            return None
        if message.interface == OBJECTS and message.member == "GetManagedObjects":
            return Message.new_method_return(message, "a{oa{sa{sv}}}", [self._objects])
        if message.interface not in (PROPERTIES, ADAPTER, DEVICE, CHARACTERISTIC):
            return None
        if message.path not in self._objects:
            error = "org.freedesktop.DBus.Error.UnknownObject"
            return Message.new_error(message, error, f"There is no object {message.path}")
        answer = getattr(self, f"_on_{message.member}", None)
        if answer is None:
            error = "org.freedesktop.DBus.Error.UnknownMethod"
            return Message.new_error(message, error, f"There is no method {message.member}")
        done: Message | bool = answer(message)
        return done

    def _client_gone(self, client: str) -> None:
        """Stop what a client that has left the bus asked for; its connections stay."""
        self._discovering.discard(client)
        for clients in self._notifying.values():
            clients.discard(client)

    def _device_of(self, path: str | None) -> Device:
        return next(one for one in self.devices if str(path).startswith(one.path))

    def _on_Get(self, message: Message) -> Message:  # noqa: N802
        interface, name = message.body
        value = self._objects[str(message.path)][interface][name]
        return Message.new_method_return(message, "v", [value])

    def _on_GetAll(self, message: Message) -> Message:  # noqa: N802
        properties = self._objects[str(message.path)].get(message.body[0], {})
        return Message.new_method_return(message, "a{sv}", [properties])

    def _on_SetDiscoveryFilter(self, message: Message) -> Message:  # noqa: N802
        return Message.new_method_return(message)

    def _on_StartDiscovery(self, message: Message) -> Message:  # noqa: N802
        if not self._powered:
            return Message.new_error(message, "org.bluez.Error.NotReady", "Resource Not Ready")
        self._discovering.add(str(message.sender))
        return Message.new_method_return(message)

    def _on_StopDiscovery(self, message: Message) -> Message:  # noqa: N802
        self._discovering.discard(str(message.sender))
        return Message.new_method_return(message)

    def _on_Connect(self, message: Message) -> bool:  # noqa: N802
        device = self._device_of(message.path)

        async def connect() -> None:
            await asyncio.sleep(CONNECTS_IN_S)
            if self._bus is None:
                return
            if not device.present or not self._powered:
                error = "org.bluez.Error.Failed"
                self._bus.send(Message.new_error(message, error, "le-connection-timeout"))
                return
            device.connected = True
            self._change(device.path, DEVICE, Connected=Variant("b", True))
            self._bus.send(Message.new_method_return(message))
            self._resolve(device)  # before ServicesResolved, or a client finds none
            self._change(device.path, DEVICE, ServicesResolved=Variant("b", True))

        task = asyncio.get_running_loop().create_task(connect())
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)
        return True

    def _on_Disconnect(self, message: Message) -> bool:  # noqa: N802
        assert self._bus is not None
        # Answered before Connected goes false, as BlueZ does.
        self._bus.send(Message.new_method_return(message))
        self.disconnect(self._device_of(message.path))
        return True

    def _on_ReadValue(self, message: Message) -> Message:  # noqa: N802
        value = self._objects[str(message.path)][CHARACTERISTIC]["Value"].value
        return Message.new_method_return(message, "ay", [value])

    def _on_StartNotify(self, message: Message) -> Message:  # noqa: N802
        self._notifying.setdefault(str(message.path), set()).add(str(message.sender))
        self._change(str(message.path), CHARACTERISTIC, Notifying=Variant("b", True))
        self.subscribed.set()
        return Message.new_method_return(message)

    def _on_StopNotify(self, message: Message) -> Message:  # noqa: N802
        self._notifying.get(str(message.path), set()).discard(str(message.sender))
        return Message.new_method_return(message)
