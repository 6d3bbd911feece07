"""`rig devices`: what is plugged in, and how rods may speak."""

import click

from rig.cli.options import json_option, show


@click.command()
@json_option
def command(as_json: bool) -> None:
    """List the serial ports and the shipped profiles."""
    from rig.devices.profile import parse_profile, shipped_profiles
    from rig.devices.serial_port import list_ports

    ports = list_ports()
    profiles = {key: parse_profile(toml, key).text for key, toml in shipped_profiles().items()}
    lines = ["Serial ports:"]
    lines += [f"  {port['url']}  {port['text']}" for port in ports] or ["  none plugged in"]
    lines += ["Profiles (--profile KEY, or a file of your own):"]
    lines += [f"  {key:<12} {text}" for key, text in profiles.items()]
    show(
        {"serial": ports, "profiles": [{"key": k, "text": t} for k, t in profiles.items()]},
        as_json,
        "\n".join(lines),
    )
