"""The site's log: what was read there, the primer, notes, and photos pinned to a place."""

import re
import time
from collections.abc import Callable
from dataclasses import dataclass

from markupsafe import Markup

from rig.errors import BadInput
from rig.page.drawn import look, markup
from rig.page.visit import MOST_UPLOAD, NO_ACT, NO_PART, Served, Step, Visit
from rig.record import Record
from rig.report.pictures import uploaded_photo
from rig.report.source import place_words
from rig.study.room import outline_of
from rig.study.site_log import Entry, Wish, as_note, log_site, photos_of, site_log
from rig.units import parse_percent, parse_temperature
from rig.words import say
from rig.words import site_log as words
from rig.words.clock import when

READ = ("air", "air_rh", "floor", "moisture", "slab_rh", "emission")
_BARE = re.compile(r"[-+]?\d+(?:[.,]\d+)?")


@dataclass(frozen=True, slots=True, kw_only=True)
class Logged(Record):
    """An entry as it is told; `photo` is the photo's number, if it is one."""

    when: str
    what: str
    text: str
    where: str
    out: bool
    photo: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteView(Record):
    """What the page of the site's log shows."""

    drawing: Markup
    asks: tuple[str, ...]
    entries: tuple[Logged, ...]
    primer: str
    coat: str


class _Site(Step):
    key = "site"
    of_job = True
    most_upload = MOST_UPLOAD

    def view(self, visit: Visit) -> SiteView:
        from rig.drawing.points import pins_drawing

        job = visit.job
        outline, log = outline_of(job), site_log(job)
        used = job.settings.product
        coats = sum(one.what == "primer" for one in log.entries)
        photos = [one for one in log.entries if one.what == "photo"]
        pins = [
            (str(n), one.x_mm, one.y_mm)
            for n, one in enumerate(photos, 1)
            if one.x_mm is not None and one.y_mm is not None
        ]
        return SiteView(
            drawing=markup(pins_drawing(outline, look(visit.units), pins)),
            asks=tuple(one.text for one in log.asks if one.within is not True),
            entries=tuple(_told(visit, one, photos) for one in reversed(log.entries)),
            primer="" if used is None or used.primer is None else used.primer.name,
            coat=str(coats + 1),
        )

    def act(self, visit: Visit, act: str) -> str:
        if act != "log":
            raise BadInput(NO_ACT)
        form = visit.form
        readings = [(key, form.quantity(key, _reader(visit, key))) for key in READ]
        coat = form.whole("coat", say("The coat"), 1, 9)
        note = form.read("note", as_note)
        photo = None
        if "photo" in form.files:
            with form.noted("photo"):
                photo = uploaded_photo(form.files["photo"]).data
        at = (
            visit.place(say("Tap the place, or type both."))
            if form.text("x") or form.text("y")
            else None
        )
        form.check()
        used = visit.job.settings.product
        wish = Wish(
            readings=tuple((key, value) for key, value in readings if value is not None),
            coat=coat,
            primer=None if used is None or used.primer is None else used.primer.name,
            note=note,
            photo=photo,
            at=at,
        )
        if wish.is_empty:
            raise BadInput(words.NOTHING_TYPED)
        log_site(visit.job, wish)
        return ""

    def part(self, visit: Visit, part: str) -> "tuple[str, object] | Served":
        word, _, number = part.partition("-")
        photos = photos_of(visit.job) if word == "photo" and number.isdigit() else []
        n = int(number[:9]) if photos else 0
        if not 1 <= n <= len(photos):
            raise BadInput(NO_PART)
        return Served(f"photo-{n}.jpg", "image/jpeg", photos[n - 1][1], download=False)


def _told(visit: Visit, one: Entry, photos: list[Entry]) -> Logged:
    where = ""
    if one.x_mm is not None and one.y_mm is not None:
        where = place_words(outline_of(visit.job), one.x_mm, one.y_mm, visit.units)
    value = "" if one.value is None else words.value(one.what, one.value, visit.units)
    return Logged(
        when=when(one.utc_s, time.time()),
        what=words.named(one.what),
        text=", ".join(text for text in (value, one.text) if text),
        where=where,
        out=one.within is False,
        photo=photos.index(one) + 1 if one.what == "photo" else None,
    )


def _reader(visit: Visit, key: str) -> Callable[[str], float]:
    """Return what reads a field: a number alone is in the unit that stands beside it."""
    name = words.named(key)
    if key in ("air", "floor"):
        bare = "C" if visit.units.is_metric else "F"
        return lambda text: round(parse_temperature(_with(bare, text), name), 6)

    def share(text: str) -> float:
        told = text.lower().removesuffix("cm").removesuffix("lb").strip()
        return round(100.0 * parse_percent(_with("%", told), what=name), 6)

    return share


def _with(unit: str, text: str) -> str:
    """Return a number with its unit, which is that of the field where none was typed."""
    found = _BARE.fullmatch(text)
    return text if found is None else f"{text.replace(',', '.')}{unit}"


STEP = _Site()
