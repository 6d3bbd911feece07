"""`rig site`: the broker of a place, the accounts on it, and which rods are there."""

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from rig.cli.options import json_option, show, tell
from rig.cli.site_options import run_to_the_end, site_option
from rig.errors import BadInput, RigError
from rig.language import join, put, say

if TYPE_CHECKING:
    from rig.devices.broker import Site
    from rig.devices.site import Role
    from rig.session.rods_there import RodThere

LOOK_S = 2.5


def folder_option(command: click.decorators.FC) -> click.decorators.FC:
    """Add `--folder`."""
    return click.option(
        "--folder",
        type=click.Path(path_type=Path, file_okay=False),
        help="Where the site is kept.  [default: site, among your own data]",
    )(command)


def _site_in(folder: Path | None) -> "Site":
    from rig.devices.broker import Site
    from rig.products.library import data_folder

    return Site(folder or data_folder() / "site")


@click.group()
def command() -> None:
    """Several rods in one job: the broker of a place, who is let in, and who is there."""


@command.command("up")
@folder_option
@click.option(
    "--host", default="0.0.0.0", show_default=True, help="Where it listens; this is everywhere."
)
@click.option(
    "--port", type=click.IntRange(1, 65535), default=8883, show_default=True, help="Its port."
)
@json_option
def up_command(folder: Path | None, host: str, port: int, as_json: bool) -> None:
    """Run the broker of this place until Ctrl-C; needs Debian's package mosquitto.

    Links are encrypted by a certificate of the site's own, and nobody gets in without an account.
    """
    import signal

    from rig.page.listening import names_of, shown_host

    site, shown = _site_in(folder), shown_host(host)
    names = {*names_of(host), shown, "localhost", "127.0.0.1"}
    url = site.prepare(host, shown, port, names)
    broker = site.start()
    for number in (signal.SIGTERM, signal.SIGHUP):
        signal.signal(number, lambda number, frame: broker.terminate())
    told = {"event": "site", "url": url, "folder": str(site.folder.absolute())}
    if as_json:
        tell(json.dumps(told))
    else:
        tell(say("The site is up: {url}, kept in {folder}", url=url, folder=told["folder"]))
        tell(say("Let a rod in: rig site invite rod-1 --rod"))
    sys.stdout.flush()
    try:
        code = broker.wait()
    except KeyboardInterrupt:
        broker.terminate()
        code = broker.wait()
    if code not in (0, -15, -2):
        raise RigError(
            say(
                "The broker ended by itself ({code}); see {log}.",
                code=put(str(code)),
                log=site.folder / "broker.log",
            )
        )


@command.command("invite")
@click.argument("name")
@folder_option
@click.option("--rod", "role", flag_value="rod", help="For the box at a rod of this name.")
@click.option("--phone", "role", flag_value="phone", help="For a phone: it sees, and acts.")
@click.option(
    "--session", "role", flag_value="session", help="For who surveys, sets, pours or serves."
)
@click.option(
    "--out",
    type=click.Path(path_type=Path, dir_okay=False),
    help="The invitation's file.  [default: NAME.site]",
)
@json_option
def invite_command(
    name: str, folder: Path | None, role: "Role | None", out: Path | None, as_json: bool
) -> None:
    """Make an account: one file to carry there, and the same as a code to scan.

    To invite NAME anew makes the old invitation worthless.
    """
    from rig.devices.site import kept_secret

    if role is None:
        raise BadInput(say("Say whom the invitation is for: --rod, --phone or --session."))
    account = _site_in(folder).invite(name, role)
    path = out or Path(f"{name}.site")
    try:
        kept_secret(path, account.as_text())
    except OSError as error:
        raise BadInput(
            say("{path} cannot be written: {reason}.", path=path, reason=error.strerror)
        ) from None
    if not as_json:
        import segno

        segno.make(account.as_text(), error="l").terminal(compact=True)
    text = say(
        "The invitation is {path}. Whoever has it, or scans this, is let in as {name}: carry it "
        "there as you would a key.",
        path=path,
        name=name,
    )
    show({"file": str(path.absolute()), "name": name, "role": role}, as_json, text)


@command.command("rods")
@site_option
@json_option
def rods_command(site_path: Path | None, as_json: bool) -> None:
    """Tell which rods are there, how often they read, and how their clocks stand."""
    from rig.devices.site import read_account
    from rig.session.rods_there import rods_there

    if site_path is None:
        raise BadInput(say("Say which site: --site FILE, the invitation of a session."))
    account = read_account(site_path)
    nobody: list[RodThere] = []
    found = run_to_the_end(rods_there(account, LOOK_S), lambda: nobody)
    lines = [_line(one) for one in found] or [say("No rod is there.")]
    show({"rods": [one.as_json() for one in found]}, as_json, join("\n", lines))


def _line(one: "RodThere") -> str:
    if one.link != "here":
        return say("{rod}: gone", rod=one.rod)
    clock = say("its clock is not known")
    if one.doubt_s is not None:
        clock = say("its clock is known to {doubt:.1f} ms", doubt=1000.0 * one.doubt_s)
    told = say(
        "{rod}: here, {rate:.1f} readings a second, {clock}, {missed} missed, {doubled} doubled",
        rod=one.rod,
        rate=one.rate_hz,
        clock=clock,
        missed=one.missed,
        doubled=one.doubled,
    )
    if one.battery_percent is None:
        return told
    return say("{told}, battery {percent} %", told=told, percent=one.battery_percent)
