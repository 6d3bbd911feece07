"""What a session is read from, as a form lets one choose it: a simulated rod, a port, a tape."""

import asyncio
import contextlib
from dataclasses import dataclass
from pathlib import Path

from rig.devices.clock import Clock
from rig.devices.own_profile import made_profile, numbers_in, readings_by
from rig.devices.ports import list_ports
from rig.devices.profile import shipped_profiles
from rig.devices.reading import Reading
from rig.devices.typed import UNITS
from rig.errors import BadInput
from rig.files import write_whole
from rig.language import join, put, say
from rig.page.visit import NO_ACT, Visit
from rig.products.library import data_folder
from rig.record import Record
from rig.session.begin import SurveyWish
from rig.session.source import SourceWish, open_transport, read_profile
from rig.session.sources import Device

SIMULATED, TAPE = "simulated", "tape"
OWN = "own:"


@dataclass(frozen=True, slots=True, kw_only=True)
class SourceView(Record):
    """What there is to measure with, what was used last, and the set-ups so far."""

    choices: tuple[tuple[str, str, str], ...]
    chosen: str
    profiles: tuple[tuple[str, str], ...]
    units: tuple[tuple[str, str], ...]
    unit: str
    setups: tuple[str, ...]
    setup: str


def source_view(visit: Visit, *, simulated: bool = True) -> SourceView:
    """Return what a session may be read from; the simulated rod knows its own room alone."""
    job = visit.job
    ports = list_ports()
    choices = [(SIMULATED, say("A simulated rod"), say("invented, to try it all"))] * (
        simulated and visit.rods.simulated
    )
    choices += [(f"serial:{port.url}", port.url, port.text) for port in ports]
    choices.append((TAPE, say("A tape or staff"), say("typed on the keypad")))
    last = next((one.source for one in reversed(job.sessions()) if one.source != "page"), "")
    there = [key for key, _, _ in choices]
    usual = there[0]
    unit = job.settings.typed_unit or ""
    names = (("", say("the first reading settles it")), ("in", say("inches")),
             ("ft", say("feet, tenths")), ("mm", say("millimetres")), ("cm", say("centimetres")),
             ("m", say("metres")))  # fmt: skip
    return SourceView(
        choices=tuple(choices),
        chosen=TAPE if last == "typed" else usual,
        profiles=(
            *((f"{OWN}{name}", say("{name}, of your own", name=name)) for name in _own()),
            *(
                (key, put("{key}: {text}", key=key, text=text))
                for key, text in shipped_profiles().items()
            ),
        ),
        units=names,
        unit=unit,
        setups=tuple(job.setups()),
        setup=job.last_setup() or "1",
    )


def source_of(visit: Visit) -> SourceWish | None:
    """Return what a form chose; None is the simulated rod.

    Raises
    ------
    BadInput
        Nothing was chosen, or what is not offered.
    """
    form = visit.form
    chosen, unit = form.text("source"), form.text("unit")
    if chosen == SIMULATED:
        return None
    if chosen == TAPE:
        typed_in = next((one for one in UNITS if one == unit), None)
        if unit and typed_in is None:
            raise BadInput(say("There is no such unit."))
        return SourceWish(typed=True, unit=typed_in)
    kind, _, at = chosen.partition(":")
    if kind not in ("serial", "ble") or not at:
        raise BadInput(say("Say what you measure with."))
    clamp = form.length("clamp", say("The clamp's height"), visit.cover_unit, above=0.0)
    baud = form.whole("baud", say("The baud rate"), 50, 4_000_000)
    form.check()
    return SourceWish(
        serial_url=at if kind == "serial" else None,
        ble_rod=at if kind == "ble" else None,
        baud=baud,
        profile_name=_picked_profile(form.text("profile")),
        clamp=clamp,
    )


def _picked_profile(picked: str) -> str | None:
    own = _own().get(picked.removeprefix(OWN))
    if own is not None:
        return str(own)
    if picked and picked not in shipped_profiles():
        raise BadInput(say("There is no such profile."))
    return picked or None


def benchmark_wish(visit: Visit, setup: str | None) -> SurveyWish:
    """Return the sight of a benchmark that a form asks for."""
    label = visit.form.name("label", say("The benchmark's name"))
    visit.form.check()
    assert label is not None
    return SurveyWish(kind="benchmark", labels=(label,), setup=setup)


@dataclass(frozen=True, slots=True, kw_only=True)
class RodsView(Record):
    """Rods in reach over Bluetooth."""

    rods: tuple[tuple[str, str], ...]
    trouble: str = ""


def rods_in_reach() -> RodsView:
    """Look for rods over Bluetooth."""
    from rig.devices.ble import list_rods
    from rig.errors import DeviceUnavailable

    try:
        found = list_rods()
    except DeviceUnavailable as error:
        return RodsView(rods=(), trouble=error.text)
    return RodsView(rods=tuple((rod.address, rod.name or say("without a name")) for rod in found))


@dataclass(frozen=True, slots=True, kw_only=True)
class ListenView(Record):
    """What a rod says at present."""

    at: str
    reading: str
    raw: tuple[str, ...]
    numbers: tuple[tuple[str, ...], ...] = ()


LISTEN_S = 2.5
MOST_HEARD = 8
MOST_SHOWN = 3


def listen(visit: Visit) -> ListenView:
    """Listen to a rod for a moment, and tell what it reads and what it sends.

    Raises
    ------
    RigError
        No rod was named, or it cannot be reached.
    """
    wish = source_of(visit)
    if wish is None or wish.typed:
        raise BadInput(say("Only a rod can be listened to."))
    profile = read_profile(wish)
    transport = open_transport(wish, profile)
    assert transport is not None
    heard = asyncio.run(_heard(Device(transport, profile, Clock())))
    valid = [one.value_mm for one in heard if one.value_mm is not None]
    raw = tuple(one.raw for one in heard[-MOST_SHOWN:])
    return ListenView(
        at=wish.serial_url or wish.ble_rod or "",
        reading=visit.units.length(valid[-1]) if valid else "",
        raw=raw,
        numbers=tuple(tuple(numbers_in(one)) for one in raw) if profile.framing == "line" else (),
    )


def _own() -> dict[str, Path]:
    """Return the profiles that were made on the phone, by name."""
    folder = data_folder() / "profiles"
    files = sorted(folder.glob("*.toml")) if folder.is_dir() else []
    return {file.stem: file for file in files}


def keep_profile(visit: Visit, act: str) -> bool:
    """Make a profile of the number that was tapped, and pick it in the form; if that was the act.

    Raises
    ------
    BadInput
        It does not read what the rod sent, or it has no name.
    """
    form = visit.form
    word, _, which = act.partition(" ")
    if word != "height":
        return False
    line, _, number = which.partition(" ")
    lines = [form.text(f"raw{n}") for n in range(MOST_SHOWN) if form.text(f"raw{n}")]
    name = form.name("own_name", say("The rod's name"))
    form.check()
    assert name is not None
    if not line.isdigit() or not number.isdigit():
        raise BadInput(NO_ACT)
    if any(sign in name for sign in "/\\:") or name.startswith("."):
        form.wrong["own_name"] = say("A name has no / \\ or : and no dot at its beginning.")
        form.check()
    made = made_profile(lines, int(line[:3]), int(number[:3]), form.text("own_unit"))
    folder = data_folder() / "profiles"
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise BadInput(
            say("{folder} cannot be made: {reason}.", folder=folder, reason=error.strerror)
        ) from None
    write_whole(folder / f"{name}.toml", made)
    read = [visit.units.length(mm) for mm in readings_by(made, lines) if mm is not None]
    told = say("Kept. It reads the last messages as {readings}.", readings=join(", ", read))
    form.fields = {**form.fields, "profile": f"{OWN}{name}", "told": told}
    return True


async def _heard(device: Device) -> list[Reading]:
    heard: list[Reading] = []
    with contextlib.suppress(TimeoutError):
        async with asyncio.timeout(LISTEN_S):
            async for item in device:
                if isinstance(item, Reading):
                    heard.append(item)
                if len(heard) >= MOST_HEARD:
                    break
    return heard
