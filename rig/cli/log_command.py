"""`rig log`: the site's log: air, floor, moisture, primer, notes, photos."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from rig.cli.options import (
    PERCENT,
    Lengths,
    Quantity,
    folder_option,
    job_option,
    json_option,
    show,
)
from rig.errors import BadInput
from rig.language import join, moment, put, say
from rig.units import parse_temperature

if TYPE_CHECKING:
    from rig.study.site_log import Entry, SiteLog
    from rig.units import Units


def _celsius(text: str, what: str) -> float:
    return round(parse_temperature(text, what), 6)


def _cm(text: str, what: str) -> float:
    from rig.units import parse_percent

    return parse_percent(text.upper().removesuffix("CM"), what=what)


def _lb(text: str, what: str) -> float:
    told = text.lower().removesuffix("lb").strip()
    try:
        return float(told)
    except ValueError:
        raise BadInput(
            say(
                "{what} {text!r} is no emission; write 3lb (a 1000 ft², a day).",
                what=what,
                text=text[:40],
            )
        ) from None


TEMPERATURE = Quantity("temperature", _celsius, negative=True)


@click.group()
def command() -> None:
    """Log what the site is like; the limits are those of the compound's own sheet."""


@command.command("add")
@job_option
@click.option("--air", type=TEMPERATURE, help="Temperature of the room's air: 21C.")
@click.option("--air-rh", type=PERCENT, help="Humidity of the room's air: 55%.")
@click.option("--floor", type=TEMPERATURE, help="Temperature of the floor: 18C.")
@click.option(
    "--moisture", type=Quantity("moisture", _cm, zero=True), help="Carbide method: 1.8%CM."
)
@click.option("--slab-rh", type=PERCENT, help="Humidity in the slab (ASTM F2170): 80%.")
@click.option(
    "--emission",
    type=Quantity("emission", _lb, zero=True),
    help="Moisture emission (ASTM F1869), lb/1000 ft² a day: 3lb.",
)
@click.option("--coat", type=click.IntRange(min=1, max=9), help="A coat of primer that was put on.")
@click.option("--note", metavar="TEXT", help="What is to be remembered; or what a photo shows.")
@click.option(
    "--photo",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Kept in the job, made smaller.",
)
@click.option("--serial", "serial_url", metavar="URL", help="Read a sensor on this port.")
@click.option("--ble", "ble_name", metavar="NAME|ADDRESS", help="Read a sensor over Bluetooth LE.")
@click.option(
    "--profile",
    "profile_path",
    type=click.Path(path_type=Path, dir_okay=False),
    help="How the sensor speaks, a TOML file: rig guide profile.",
)
@click.option("--at", type=Lengths("X", "Y"), help="Where on the plan.")
@json_option
def add_command(
    job_path: Path,
    serial_url: str | None,
    ble_name: str | None,
    profile_path: Path | None,
    coat: int | None,
    note: str | None,
    photo: Path | None,
    at: tuple[float, float] | None,
    as_json: bool,
    **read: float | None,
) -> None:
    """Log readings, a coat of primer, a note or a photo, with the time."""
    from rig.job.store import Job
    from rig.report.pictures import photo_of
    from rig.study.site_log import Wish, as_note, log_site

    picture = None if photo is None else photo_of(photo).data
    readings = {key: _scaled(key, value) for key, value in read.items() if value is not None}
    # What was typed counts, whatever a sensor says of it.
    readings = _from_sensor(serial_url, ble_name, profile_path) | readings
    with Job.open(job_path, write=True) as job:
        used = job.settings.product
        primer = used.primer.name if used is not None and used.primer is not None else None
        wish = Wish(
            readings=tuple(readings.items()),
            coat=coat,
            primer=primer,
            note=None if note is None else as_note(note),
            photo=picture,
            at=at,
        )
        told, units = log_site(job, wish), job.units
    show(told.as_json(), as_json, join("\n", _lines(told, units)))


def _from_sensor(
    serial_url: str | None, ble_name: str | None, profile_path: Path | None
) -> dict[str, float]:
    """Read the sensor that was named, if one was."""
    if serial_url is None and ble_name is None and profile_path is None:
        return {}
    if (serial_url is None) == (ble_name is None) or profile_path is None:
        raise BadInput(
            say("A sensor is read with --serial URL or --ble NAME, and with --profile FILE.")
        )
    import asyncio

    from rig.devices.sensor import load_sensor, read_sensor
    from rig.devices.transport import Transport

    profile = load_sensor(profile_path)

    async def heard() -> tuple[tuple[str, float], ...]:
        transport: Transport
        if serial_url is not None:
            from rig.devices.serial_port import SerialTransport

            transport = SerialTransport(serial_url, None, profile.line)
        else:
            from rig.devices.ble import BleTransport

            transport = BleTransport(ble_name or "", profile.line)
        return await read_sensor(transport, profile)

    return dict(asyncio.run(heard()))


@command.command("list")
@job_option
@json_option
def list_command(job_path: Path, as_json: bool) -> None:
    """Show what was logged, and what the compound's sheet asks for."""
    from rig.job.store import Job
    from rig.study.site_log import site_log

    with Job.open(job_path) as job:
        told, units = site_log(job), job.units
    show(told.as_json(), as_json, join("\n", _lines(told, units)))


@command.command("photos")
@job_option
@folder_option
@json_option
def photos_command(job_path: Path, out: Path, as_json: bool) -> None:
    """Write the photos that the job keeps to photo-1.jpg, photo-2.jpg ..."""
    from rig.files import write_whole
    from rig.job.store import Job
    from rig.study.site_log import photos_of

    with Job.open(job_path) as job:
        photos = photos_of(job)
    if not photos:
        raise BadInput(say("The job keeps no photo: rig log add --photo FILE."))
    files = []
    for n, (_, data) in enumerate(photos, 1):
        path = (out / f"photo-{n}.jpg").absolute()
        try:
            out.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise BadInput(
                say("{out} cannot be made: {strerror}.", out=out, strerror=error.strerror)
            ) from None
        write_whole(path, data)
        files.append(str(path))
    show({"files": files}, as_json, join("\n", files))


def _scaled(key: str, value: float) -> float:
    return value if key in ("air", "floor", "emission") else 100.0 * value


def _lines(told: "SiteLog", units: "Units") -> list[str]:
    lines = [_line(one, units) for one in told.entries] or [
        say("Nothing is logged yet: rig log add")
    ]
    return [
        *lines,
        *(
            put("{sign} {text}", sign="!" if one.within is not True else " ", text=one.text)
            for one in told.asks
        ),
    ]


def _line(one: "Entry", units: "Units") -> str:
    from rig.words import site_log as words

    when = moment(one.utc_s, "minute")
    said: list[Any] = [words.named(one.what)]
    if one.value is not None:
        said.append(words.value(one.what, one.value, units))
    if one.text:
        said.append(one.text)
    told = put("{when}  {said}", when=when, said=join(": ", said))
    if one.x_mm is None or one.y_mm is None:
        return told
    x, y = units.place(one.x_mm), units.place(one.y_mm)
    return say("{told}, at {x}, {y}", told=told, x=x, y=y)
