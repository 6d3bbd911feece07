"""What a job is told once and keeps: its units, the compound, where the laser stood.

A record for whoever reads; the file holds the first eight in columns, the rest as JSON. What a
newer or older floor-rig keeps beside them stays in the file untouched.
"""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, fields

from rig.job.rows import Given
from rig.products import Product, Used
from rig.record import Record, from_json
from rig.units import System

Place = tuple[float, float]
FLOOR_KINDS = ("concrete", "sheets", "screed", "boards", "unknown")
SYSTEMS = ("in", "mm")
TYPED_UNITS = ("in", "ft", "mm", "cm", "m")


@dataclass(frozen=True, slots=True, kw_only=True)
class RadialError(Record):
    """A climb of the laser's line with distance that is taken off every shot.

    Attributes
    ----------
    error_mm_per_m : float
        Positive where the line climbs with the distance from the laser.
    stderr_mm_per_m : float
    """

    error_mm_per_m: float
    stderr_mm_per_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SetupTilt(Record):
    """A slope of one set-up's line that is taken off its shots.

    Attributes
    ----------
    slope_mm_per_m : (float, float)
        The line's rise along the plan's x and y.
    stderr_mm_per_m : float
        Of each.
    place : (x_mm, y_mm)
        Where the laser stands.
    after_event : int
        The job's last event when it was measured.
    """

    slope_mm_per_m: Place
    stderr_mm_per_m: float
    place: Place
    after_event: int


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptRoom(Record):
    """A room beside the job's first: its name, its number, its outline on the plan in mm.

    The number stays with it, and none comes twice.
    """

    name: str
    number: int
    walls: tuple[Place, ...]
    openings: tuple[tuple[Place, ...], ...] = ()
    doors: tuple[tuple[float, float, float, float], ...] = ()
    wall_names: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Joists(Record):
    """The joists under a floor.

    Attributes
    ----------
    along : {"x", "y"}
        The way that they run on the plan.
    spacing_mm : float
        From the middle of one to that of the next.
    """

    along: str
    spacing_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings(Record):
    """All that a job was told, None where it was not.

    Attributes
    ----------
    units : {"in", "mm"}
        That quantities are written in.
    denominator : int
        The finest fraction of an inch.
    covering : str or None
        What will lie on the floor, in the user's words.
    min_cover_mm, max_cover_mm : float or None
        Least compound over the high point; most of it in one lift.
    bag_yield_l, bag_mass_kg, bag_water_l : float or None
        Of one bag, by its sheet.
    waste_share : float or None
        Bought on top, as a share of what lies in place.
    typed_unit : {"in", "ft", "mm", "cm", "m"} or None
        What a bare number is that is typed as a reading, once that is settled.
    laser_places : mapping of str to (x_mm, y_mm)
        Where the laser stood, by set-up.
    laser_correction : RadialError or None
    laser_tilt : mapping of str to SetupTilt
        By set-up.
    product : Used or None
        The compound that it was given by name, with what goes with it, as it was then.
    crew : str or None
        Who does the work, by the name that the company knows them by.
    laser_name : str or None
        Which laser it is, by its serial number or a name of its own.
    floor : {"concrete", "sheets", "screed", "boards", "unknown"} or None
        What the floor is made of.
    joists : Joists or None
        Under a framed floor.
    joints_mm : float or None
        From one joint of a slab to the next.
    wall_names : mapping of str to str
        The user's own names of walls, by the number of the wall, the first being 1.
    room_name : str or None
        Of the first room.
    rooms : tuple of KeptRoom
        Beside the first, whose outline the job has in tables of its own.
    language : str or None
        In which people are told of the job, by its key.
    last_room : int or None
        The highest number that a room ever had, where there were several.
    """

    units: System = "in"
    denominator: int = 32
    covering: str | None = None
    min_cover_mm: float | None = None
    max_cover_mm: float | None = None
    bag_yield_l: float | None = None
    bag_mass_kg: float | None = None
    bag_water_l: float | None = None
    waste_share: float | None = None
    typed_unit: str | None = None
    laser_places: Mapping[str, Place] = field(default_factory=dict)
    laser_correction: RadialError | None = None
    laser_tilt: Mapping[str, SetupTilt] = field(default_factory=dict)
    product: Used | None = None
    crew: str | None = None
    laser_name: str | None = None
    floor: str | None = None
    joists: Joists | None = None
    joints_mm: float | None = None
    wall_names: Mapping[str, str] = field(default_factory=dict)
    room_name: str | None = None
    rooms: tuple[KeptRoom, ...] = ()
    last_room: int | None = None
    language: str | None = None

    @property
    def compound(self) -> Product | None:
        """The compound that was named, None where none was."""
        return None if self.product is None else self.product.compound

    def stored(self) -> dict[str, object]:
        """Return it as the file keeps it: what is empty is not there."""
        told = self.as_json()
        return {key: None if value in ({}, [], None) else value for key, value in told.items()}


NAMES = tuple(one.name for one in fields(Settings))

_NUMBERS = (
    "min_cover_mm",
    "max_cover_mm",
    "bag_yield_l",
    "bag_mass_kg",
    "bag_water_l",
    "waste_share",
    "joints_mm",
)


def settings_of(stored: Given) -> Settings:
    """Return the settings that a file keeps.

    Raises
    ------
    ValueError
        With the key whose value is not as floor-rig writes it.
    """
    known = {name: stored[name] for name in NAMES if stored.get(name) is not None}
    for key, read in (
        ("laser_places", _places),
        ("laser_correction", _radial),
        ("laser_tilt", _tilts),
        ("product", _used),
        ("joists", _joists),
        ("wall_names", _wall_names),
        ("rooms", _rooms),
    ):
        if key in known:
            try:
                known[key] = read(known[key])
            except (KeyError, TypeError, ValueError, AttributeError, OverflowError) as error:
                raise ValueError(key) from error
    _refuse_odd(known)
    return Settings(**known)


def _refuse_odd(known: Given) -> None:
    """Raise a ValueError with the key of a plain value that is not as floor-rig writes it."""
    for key in _NUMBERS:
        number = known.get(key, 0.0)
        if isinstance(number, bool) or not isinstance(number, int | float):
            raise ValueError(key)
        if not 0.0 <= number < math.inf:
            raise ValueError(key)
    for key, choices in (
        ("units", SYSTEMS),
        ("denominator", range(1, 1025)),
        ("typed_unit", TYPED_UNITS),
        ("floor", FLOOR_KINDS),
    ):
        if known.get(key, choices[0]) not in choices:
            raise ValueError(key)
    for key in ("covering", "crew", "laser_name", "language"):
        if not isinstance(known.get(key, ""), str):
            raise ValueError(key)


def _places(stored: Given) -> dict[str, Place]:
    return {setup: _pair(place) for setup, place in stored.items()}


def _rooms(stored: Iterable[Given]) -> tuple[KeptRoom, ...]:
    return tuple(from_json(KeptRoom, room) for room in stored)


def _joists(stored: Given) -> Joists:
    joists = from_json(Joists, stored)
    if joists.along not in ("x", "y") or not 0 < joists.spacing_mm < math.inf:
        raise ValueError("joists")
    return joists


def _wall_names(stored: Given) -> dict[str, str]:
    return {str(int(number)): str(name) for number, name in stored.items()}


def _radial(stored: Given) -> RadialError:
    error, stderr = _pair((stored["error_mm_per_m"], stored["stderr_mm_per_m"]))
    return RadialError(error_mm_per_m=error, stderr_mm_per_m=stderr)


def _tilts(stored: Given) -> dict[str, SetupTilt]:
    found = {}
    for setup, kept in stored.items():
        stderr, after = _pair((kept["stderr_mm_per_m"], kept["after_event"]))
        found[setup] = SetupTilt(
            slope_mm_per_m=_pair(kept["slope_mm_per_m"]),
            stderr_mm_per_m=stderr,
            place=_pair(kept["place"]),
            after_event=int(after),
        )
    return found


def _used(stored: Given) -> Used:
    return from_json(Used, stored)


def _pair(given: Iterable[float]) -> Place:
    first, second = (float(one) for one in given)
    if not (math.isfinite(first) and math.isfinite(second)):
        raise ValueError(given)
    return first, second
