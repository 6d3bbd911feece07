"""The site's log: air and floor, moisture of the screed, primer, notes, photos; and the limits.

What may be and what must be read is the compound's own sheet's, as the job keeps it.
"""

import base64
import math
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from rig.errors import BadInput, JobUnusable
from rig.record import OMITTED, Record
from rig.study.acts import standing
from rig.words import join, numeral, say
from rig.words import site_log as words

if TYPE_CHECKING:
    from rig.job.rows import StoredEvent
    from rig.job.store import Job
    from rig.products import Product
    from rig.units import Units

EVENT = "site"
FRESH_S = 24 * 3600.0
"""A reading of air or floor older than this says nothing of today (our own figure, no source)."""
MOST_PHOTO_BYTES = 3_000_000
LONGEST_NOTE = 1000


@dataclass(frozen=True, slots=True)
class Kind:
    """What can be read on a site: in which unit, by which method, in which range."""

    key: str
    unit: str
    method: str
    least: float
    most: float
    lasts_s: float = math.inf


# Methods in open terms: the carbide method weighs the gas that a sample gives with calcium carbide
# (in %CM, percent of mass); ASTM F2170 is humidity in the slab, ASTM F1869 what it gives off in a
# day, in lb on 1000 ft².
KINDS = {
    one.key: one
    for one in (
        Kind("air", "C", "thermometer", -40.0, 60.0, FRESH_S),
        Kind("air_rh", "%", "hygrometer", 0.0, 100.0, FRESH_S),
        Kind("floor", "C", say("thermometer on the floor"), -40.0, 80.0, FRESH_S),
        Kind("moisture", "%CM", say("carbide method"), 0.0, 20.0),
        Kind("slab_rh", "%", say("relative humidity in the slab (ASTM F2170)"), 0.0, 100.0),
        Kind("emission", "lb", say("moisture emission (ASTM F1869)"), 0.0, 50.0),
    )
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry(Record):
    """Something that was logged.

    Attributes
    ----------
    utc_s : float
    what : str
        A key of `KINDS`, or primer, note, photo.
    value : float or None
    unit, method : str or None
    x_mm, y_mm : float or None
        Where, if that was told.
    text : str or None
    within : bool or None
        Whether the sheet's limits hold; None where it states none.
    """

    utc_s: float
    what: str
    value: float | None = field(default=None, metadata=OMITTED)
    unit: str | None = field(default=None, metadata=OMITTED)
    method: str | None = field(default=None, metadata=OMITTED)
    x_mm: float | None = field(default=None, metadata=OMITTED)
    y_mm: float | None = field(default=None, metadata=OMITTED)
    text: str | None = field(default=None, metadata=OMITTED)
    within: bool | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Ask(Record):
    """A limit of the compound's sheet, and whether the last reading keeps it.

    Attributes
    ----------
    what : str
    least, most : float or None
    unit : str
    last : float or None
        The last reading, where there is one that still says something.
    within : bool or None
        None where nothing was read.
    text : str
    """

    what: str
    least: float | None
    most: float | None
    unit: str
    last: float | None
    within: bool | None
    text: str

    @property
    def is_open(self) -> bool:
        """Whether it is out, or was not read and nothing else asks for it."""
        return self.within is False or (self.within is None and self.what not in ("air", "floor"))


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteLog(Record):
    """All that was logged on the site, oldest first, and what the sheet asks for."""

    entries: tuple[Entry, ...]
    asks: tuple[Ask, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """What is to be logged: readings by their kind, and words.

    Attributes
    ----------
    readings : mapping items of (key, value)
    coat : int or None
        Of primer.
    note : str or None
    photo : bytes or None
        As JPEG.
    at : (x_mm, y_mm) or None
    """

    readings: tuple[tuple[str, float], ...] = ()
    coat: int | None = None
    primer: str | None = None
    note: str | None = None
    photo: bytes | None = None
    at: tuple[float, float] | None = None

    @property
    def is_empty(self) -> bool:
        """Whether there is nothing to log."""
        return not self.readings and self.coat is None and not self.note and self.photo is None


def as_note(text: str) -> str:
    """Return a note as it is kept, on one line.

    Raises
    ------
    BadInput
        It is empty or too long.
    """
    note = join(" ", text.split())
    if not 1 <= len(note) <= LONGEST_NOTE:
        raise BadInput(
            say("A note has from 1 to {longest_note} characters.", longest_note=LONGEST_NOTE)
        )
    return note


def log_site(job: "Job", wish: Wish, utc_s: float | None = None) -> SiteLog:
    """Log what was read, done or seen, all of it or nothing; return the whole log.

    Raises
    ------
    BadInput
        Nothing, a value that no such reading has, or a photo that is too large.
    """
    if wish.is_empty:
        raise BadInput(say("There is nothing to log: give a reading, --coat, --note or --photo."))
    for key, value in wish.readings:
        kind = KINDS[key]
        if not kind.least <= value <= kind.most:
            raise BadInput(
                say(
                    "{named} of {value} {unit} is none that is read: it is from {least} to {most}.",
                    named=words.named(key),
                    value=numeral(value, "g"),
                    unit=kind.unit,
                    least=numeral(kind.least, "g"),
                    most=numeral(kind.most, "g"),
                )
            )
    if wish.photo is not None and len(wish.photo) > MOST_PHOTO_BYTES:
        raise BadInput(say("The photo is too large to keep in the job; make it smaller."))
    now = time.time() if utc_s is None else utc_s
    at = {} if wish.at is None else {"x_mm": wish.at[0], "y_mm": wish.at[1]}
    with job.together(say("nothing was logged")):
        for key, value in wish.readings:
            job.log_event(None, None, now, EVENT, {"what": key, "value": value, **at})
        if wish.coat is not None:
            told = {"what": "primer", "value": float(wish.coat), "text": wish.primer}
            job.log_event(None, None, now, EVENT, told | at)
        if wish.photo is not None:
            jpeg = base64.b64encode(wish.photo).decode()
            told = {"what": "photo", "text": wish.note, "jpeg": jpeg}
            job.log_event(None, None, now, EVENT, told | at)
        elif wish.note:
            job.log_event(None, None, now, EVENT, {"what": "note", "text": wish.note, **at})
    return site_log(job, now)


def site_log(job: "Job", utc_s: float | None = None) -> SiteLog:
    """Return the site's log, and what the compound's sheet asks for as of now."""
    now = time.time() if utc_s is None else utc_s
    compound = job.settings.compound
    entries = tuple(_entry(event, compound) for event in standing(job, [EVENT]))
    return SiteLog(entries=entries, asks=tuple(_asks(job.units, compound, entries, now)))


def last_read(entries: Sequence[Entry], key: str, utc_s: float) -> float | None:
    """Return the last reading of a kind, where it still says something then."""
    for one in reversed(entries):
        if one.what == key and one.value is not None:
            return one.value if utc_s - one.utc_s <= KINDS[key].lasts_s else None
    return None


def photos_of(job: "Job") -> list[tuple[Entry, bytes]]:
    """Return the photos that a job keeps, as JPEG, oldest first."""
    compound = job.settings.compound
    return [
        (_entry(event, compound), base64.b64decode(event.data["jpeg"]))
        for event in standing(job, [EVENT])
        if event.data.get("what") == "photo"
    ]


def _limits(compound: "Product | None", key: str) -> tuple[float | None, float | None]:
    if compound is None:
        return None, None
    least_c, most_c = compound.min_temperature_c, compound.max_temperature_c
    return {
        "air": (least_c, most_c),
        "floor": (least_c, most_c),
        "air_rh": (None, compound.max_air_rh),
        "moisture": (None, compound.max_moisture_cm),
        "slab_rh": (None, compound.max_slab_rh),
        "emission": (None, compound.max_emission),
    }[key]


def _keeps(value: float, limits: tuple[float | None, float | None]) -> bool | None:
    least, most = limits
    if least is None and most is None:
        return None
    return (least is None or value >= least) and (most is None or value <= most)


def _entry(event: "StoredEvent", compound: "Product | None") -> Entry:
    told = event.data
    try:
        what, value = str(told["what"]), told.get("value")
        kind = KINDS.get(what)
        return Entry(
            utc_s=event.utc_s,
            what=what,
            value=None if value is None else float(value),
            unit=None if kind is None else kind.unit,
            method=None if kind is None else kind.method,
            x_mm=told.get("x_mm"),
            y_mm=told.get("y_mm"),
            text=told.get("text"),
            within=None
            if kind is None or value is None
            else _keeps(float(value), _limits(compound, what)),
        )
    except (KeyError, TypeError, ValueError) as error:
        raise JobUnusable(
            say("The log of the site cannot be read: {error}.", error=error)
        ) from None


def _asks(
    units: "Units", compound: "Product | None", entries: Sequence[Entry], now: float
) -> Iterator[Ask]:
    for key, kind in KINDS.items():
        least, most = _limits(compound, key)
        if least is None and most is None:
            continue
        value = last_read(entries, key, now)
        within = None if value is None else _keeps(value, (least, most))
        yield Ask(
            what=key,
            least=least,
            most=most,
            unit=kind.unit,
            last=value,
            within=within,
            text=words.ask(key, (least, most), value, within, units),
        )
