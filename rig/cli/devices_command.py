"""`rig devices`: what is plugged in, and how rods may speak."""

from typing import TYPE_CHECKING

import click

from rig.cli.options import json_option, show
from rig.errors import DeviceUnavailable
from rig.language import join, put, say

if TYPE_CHECKING:
    from rig.devices.ble import RodInReach


@click.command()
@click.option("--scan", is_flag=True, help="Look for rods over Bluetooth LE, too.")
@json_option
def command(scan: bool, as_json: bool) -> None:
    """List the serial ports, the rods in reach over Bluetooth, and the shipped profiles."""
    from rig.devices.ports import list_ports
    from rig.devices.profile import shipped_profiles

    ports = list_ports()
    profiles = shipped_profiles()
    lines = [say("Serial ports:")]
    for port in ports:
        lines.append(put("  {url}  {text}", url=port.url, text=port.text))
        if port.lasting:
            lasting = say("wherever it is plugged in: {lasting}", lasting=port.lasting)
            lines.append("    " + lasting)
    if not ports:
        lines.append("  " + say("none plugged in"))
    rods: list[RodInReach] = []
    problem: DeviceUnavailable | None = None
    if scan:
        from rig.devices.ble import list_rods

        try:
            rods = list_rods()
        except DeviceUnavailable as error:
            problem = error  # told last: the ports are worth knowing all the same
        lines += [say("In reach over Bluetooth (--ble NAME or ADDRESS):")]
        lines += [_line(rod) for rod in rods] or ["  " + say("none")]
    lines += [say("Profiles (--profile KEY, or a file of your own):")]
    lines += [put("  {key:<12} {text}", key=key, text=text) for key, text in profiles.items()]
    show(
        {
            "serial": [port.as_json() for port in ports],
            "ble": [rod.as_json() for rod in rods],
            "scanned": scan,
            "profiles": [{"key": k, "text": t} for k, t in profiles.items()],
        },
        as_json,
        join("\n", lines),
    )
    if problem is not None:
        raise problem


def _line(rod: "RodInReach") -> str:
    return put(
        "  {address}  {name}  {strength}",
        address=rod.address,
        name=rod.name or say("without a name"),
        strength=say("connected") if rod.rssi is None else put("{rssi} dBm", rssi=rod.rssi),
    )
