"""What is said of a job's rooms: their list, their plan, the steps at their doorways."""

from collections.abc import Iterable, Sequence
from typing import Protocol

from rig.units import Units
from rig.words import join, say, say_many

RAMP = 12.0  # the steepest ramp for a wheelchair, one in twelve (ADA Standards 2010, 405.2)


class _Step(Protocol):
    @property
    def between(self) -> tuple[str, str]: ...
    @property
    def step_mm(self) -> float: ...
    @property
    def threshold(self) -> str | None: ...


def job_and_room(job: str, room: str) -> str:
    """Name a room of a job in a title."""
    return say("{job}, {room}", job=job, room=room)


def listed(name: str, area_m2: float, joins: Sequence[str], shots: int, units: Units) -> str:
    """Tell of a room in a line."""
    told = {
        "name": name,
        "area": units.area(area_m2),
        "shots": say_many("{count} point", "{count} points", shots),
    }
    if not joins:
        return say("{name}: {area}; {shots} shot.", **told)
    return say("{name}: {area}, doorway to {joins}; {shots} shot.", joins=join(", ", joins), **told)


def row(area_m2: float, joins: Sequence[str], shots: int, units: Units) -> str:
    """Tell of a room in a line that does not name it."""
    told = {
        "area": units.area(area_m2),
        "shots": say_many("{count} point", "{count} points", shots),
    }
    if joins:
        return say("{area}, doorway to {joins}, {shots} shot", joins=join(", ", joins), **told)
    return say("{area}, {shots} shot", **told)


def joins_nothing(name: str) -> str:
    """Say that no doorway leads from a room to another."""
    return say(
        "{name} is joined to no other room: give its doorway with rig room edit {name!r} "
        "--doorway X,Y,WIDTH.",
        name=name,
    )


def joins_no_door(name: str) -> str:
    """Say on the page that no doorway leads from a room to another."""
    return say("{name} is joined to no other room: give it a door to one.", name=name)


def door_of(name: str, number: int, width_mm: float, units: Units) -> str:
    """Name a door of a room."""
    return say(
        "{name}, door {number}, {width} wide",
        name=name,
        number=str(number),
        width=units.place(width_mm),
    )


def how_far_left() -> str:
    """Ask where a room begins beside its door."""
    return say("How far is it from the door to the corner on your left, as you come in?")


def goes_with(name: str, shots: int) -> str:
    """Say what is lost with a room that is taken away."""
    return say(
        "{name} has {shots}: they stay in the file and count nowhere.",
        name=name,
        shots=say_many("{count} shot", "{count} shots", shots),
    )


def steps(found: Iterable[_Step], flush_mm: float, units: Units) -> list[str]:
    """Say where two floors meet at a step."""
    told = []
    for one in found:
        if abs(one.step_mm) <= flush_mm:
            continue
        low, high = one.between if one.step_mm > 0 else one.between[::-1]
        told.append(
            say(
                "Doorway {low} – {high}: a step of {step} up into {high}; a ramp of 1 in 12 takes "
                "{ramp}. --hold a threshold shot there, or --together, makes it flush.",
                low=low,
                high=high,
                step=units.length(abs(one.step_mm)),
                ramp=units.place(abs(one.step_mm) * RAMP),
            )
        )
    return told


def room_plan(
    name: str, a_mm: float, slope: float, cover: tuple[float, float], bags: int, units: Units
) -> str:
    """Tell a room's plane in a line."""
    lies = say("level") if slope == 0 else say("sloping {slope}", slope=units.slope(slope))
    return say(
        "{name}: {lies}, {down} below the line; cover {least} to {most}, {bags}.",
        name=name,
        lies=lies,
        down=units.length(-a_mm),
        least=units.length(cover[0]),
        most=units.length(cover[1]),
        bags=say_many("{count} bag", "{count} bags", bags),
    )


def one_order(buy: int, apart: int, sure: str) -> str:
    """Say what to buy for all rooms, and what ordering room by room would take."""
    return say(
        "Buy {buy} for all rooms to be {sure} sure; ordered room by room it would be {apart}.",
        buy=say_many("{count} bag", "{count} bags", buy),
        sure=sure,
        apart=apart,
    )


def pour_order(names: Sequence[str]) -> str:
    """Say in which order the rooms are poured, so that nobody is walled in."""
    return say("Pour the rooms in this order, out by the last: {names}.", names=join(", ", names))
