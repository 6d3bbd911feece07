"""What goes wrong with Bluetooth, in plain sentences."""

import contextlib
from collections.abc import Iterator

from rig.errors import BadInput, DeviceUnavailable
from rig.language import say


class NotInReach(DeviceUnavailable):
    """It is not there now, and shows itself when it is again."""


class NoBluetooth(DeviceUnavailable):
    """Nothing can be reached as long as this computer's own Bluetooth does not work."""


@contextlib.contextmanager
def plain_words(name: str = say("the rod")) -> Iterator[None]:
    """Turn whatever the Bluetooth library and the bus under it raise into a plain sentence."""
    try:
        yield
    except (DeviceUnavailable, BadInput):
        raise
    except TimeoutError:
        raise DeviceUnavailable(
            say(
                "{name} is in reach but did not connect in time. Come nearer, or switch it off "
                "and on.",
                name=name,
            )
        ) from None
    except Exception as error:
        raise _error(error, name) from None


def _error(error: Exception, name: str) -> DeviceUnavailable:
    from bleak.exc import BleakBluetoothNotAvailableError, BleakDBusError, BleakError
    from bleak.exc import BleakBluetoothNotAvailableReason as Reason

    if isinstance(error, BleakBluetoothNotAvailableError):
        return NoBluetooth(
            {
                Reason.NO_BLUETOOTH: say(
                    "This computer has no Bluetooth adapter. Plug one in, or use the rod's cable: "
                    "--serial."
                ),
                Reason.NO_BLE_CENTRAL_ROLE: say(
                    "This computer's Bluetooth adapter is too old for Bluetooth LE. Plug in a "
                    "newer one."
                ),
                Reason.POWERED_OFF: say(
                    "Bluetooth is switched off. Switch it on: bluetoothctl power on (and rfkill "
                    "unblock bluetooth)."
                ),
            }.get(
                error.reason,
                say("You are not allowed to use Bluetooth: {error}.", error=error.args[0]),
            )
        )
    if isinstance(error, BleakDBusError):
        code = error.dbus_error.rpartition(".")[2]
        if code in ("ServiceUnknown", "NameHasNoOwner", "NoReply", "Disconnected", "SpawnFailed"):
            return NoBluetooth(
                say(
                    "The Bluetooth service (BlueZ) does not run here. Start it: sudo systemctl "
                    "start bluetooth."
                )
            )
        if code == "AccessDenied":
            return NoBluetooth(
                say(
                    "You are not allowed to use Bluetooth. Run `sudo usermod -aG bluetooth "
                    "$USER`, then sign out and in again."
                )
            )
        return DeviceUnavailable(
            say("{name} cannot be reached over Bluetooth: {error}.", name=name, error=error)
        )
    if isinstance(error, BleakError):
        if "BlueZ >=" in str(error):
            return DeviceUnavailable(
                say(
                    "The Bluetooth service (BlueZ) of this computer is too old: 5.55 or newer "
                    "is needed. Upgrade the package bluez."
                )
            )
        return DeviceUnavailable(
            say("{name} cannot be reached over Bluetooth: {error}.", name=name, error=error)
        )
    if isinstance(error, OSError | EOFError) or type(error).__module__.startswith("dbus_fast"):
        return NoBluetooth(
            say(
                "There is no D-Bus system bus here, and Bluetooth needs it. Start it: sudo "
                "systemctl start dbus ({error}).",
                error=error or type(error).__name__,
            )
        )
    return DeviceUnavailable(
        say(
            "{name} cannot be reached over Bluetooth: {name__} {error}.",
            name=name,
            name__=type(error).__name__,
            error=error,
        )
    )
