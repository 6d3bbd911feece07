"""The user's own list of products, crews and mixers: a TOML file in the user's data directory.

What was given stays as it was written, with its units; it is read into records when it is used.
"""

import os
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import partial
from itertools import pairwise
from pathlib import Path
from typing import Any, TypeVar

from rig.errors import BadInput, RigError
from rig.files import write_whole
from rig.language import numeral, put, say
from rig.products.kinds import (
    Crew,
    Mixer,
    Primer,
    Product,
    Reinforcement,
    Took,
    Used,
    price_of,
)
from rig.products.written import Told, table_of, told_of
from rig.texts import name_of, parse_toml, read_text
from rig.units import (
    parse_area,
    parse_duration,
    parse_length,
    parse_mass,
    parse_percent,
    parse_rate,
    parse_temperature,
    parse_use,
    parse_volume,
    parted,
    pointed,
)

T = TypeVar("T", Product, Primer, Reinforcement, Crew, Mixer)
Thing = Product | Primer | Reinforcement | Crew | Mixer
Read = Callable[..., Any]

MOST_BYTES = 1_000_000
EXAMPLE = say("plain example")


def _emission(text: str, what: str) -> float:
    told = text.strip().lower().removesuffix("lb").strip()
    return _number(0.0, 100.0, told, what)


def _number(least: float, most: float, text: str, what: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not least <= value <= most:
        raise BadInput(
            say(
                "{what} {text!r} must be a number from {least} to {most}.",
                what=what,
                text=text[:40],
                least=numeral(least, "g"),
                most=numeral(most, "g"),
            )
        )
    return value


def _count(text: str, what: str) -> int:
    value = _number(1, 1000, text, what)
    if value != int(value):
        raise BadInput(say("{what} {text!r} must be a whole number.", what=what, text=text[:40]))
    return int(value)


def _percent(text: str, what: str) -> float:
    value = 100.0 * parse_percent(text.upper().removesuffix("CM").removesuffix("RH"), what=what)
    if value > 100.0:
        raise BadInput(say("{what} {text!r} is over 100 %.", what=what, text=text[:40]))
    return value


def _size(text: str, what: str) -> tuple[float, float]:
    parts = text.split(",")
    if len(parts) != 2:
        raise BadInput(
            say(
                "{what} {text!r} is no size of a sheet; write 27in,96in.", what=what, text=text[:40]
            )
        )
    wide, long = (parse_length(part, what=what, above=0.0) for part in parts)
    return wide, long


def _by_temperature(rows: tuple[str, ...], what: str) -> tuple[tuple[float, float], ...]:
    found = []
    for row in rows:
        at, equals, time = row.partition("=")
        if not equals:
            raise BadInput(
                say(
                    "{what} {row!r}: write the temperature and the time, 10C=30min.",
                    what=what,
                    row=row[:40],
                )
            )
        found.append((parse_temperature(at, what), parse_duration(time, what=what, above=0.0)))
    found.sort()
    if any(one[0] == other[0] for one, other in pairwise(found)):
        raise BadInput(say("{what} states the same temperature twice.", what=what))
    return tuple(found)


def _took(rows: tuple[str, ...], what: str) -> tuple[Took, ...]:
    found = []
    for row in rows:
        area, comma, time = row.partition(",")
        if not comma:
            raise BadInput(
                say(
                    "{what} {row!r}: write area and time on site, 320ft2,5h.",
                    what=what,
                    row=row[:40],
                )
            )
        found.append(
            Took(
                area_m2=parse_area(area, what=what, above=0.0),
                time_s=parse_duration(time, what=what, above=0.0),
            )
        )
    return tuple(found)


_time = partial(parse_duration, above=0.0)
_length = partial(parse_length, above=0.0)
_volume = partial(parse_volume, above=0.0)
_SOLD: dict[str, tuple[str, Read]] = {
    "edition": ("edition", name_of),
    "price": ("price", price_of),
}
MANY = ("working_time_at", "took")

_TEXTS = ("edition", "primer", "reinforcement")

KEYS: dict[str, dict[str, tuple[str, Read]]] = {
    "compound": {
        **_SOLD,
        "use": ("use_kg_l", partial(parse_use, above=0.0)),
        "bag_yield": ("bag_yield_l", _volume),
        "bag_mass": ("bag_mass_kg", partial(parse_mass, above=0.0)),
        "bag_water": ("bag_water_l", _volume),
        "min_cover": ("min_cover_mm", partial(parse_length, least=0.0)),
        "max_cover": ("max_cover_mm", _length),
        "mix_time": ("mix_time_s", _time),
        "slake_time": ("slake_time_s", parse_duration),
        "working_time": ("working_time_s", _time),
        "working_time_at": ("working_time_at", _by_temperature),
        "min_temperature": ("min_temperature_c", parse_temperature),
        "max_temperature": ("max_temperature_c", parse_temperature),
        "max_air_rh": ("max_air_rh", _percent),
        "walk_on": ("walk_on_s", _time),
        "cover_after": ("cover_after_s", _time),
        "max_moisture": ("max_moisture_cm", _percent),
        "max_slab_rh": ("max_slab_rh", _percent),
        "max_emission": ("max_emission", _emission),
        "primer": ("primer", name_of),
        "reinforcement": ("reinforcement", name_of),
    },
    "primer": {
        **_SOLD,
        "rate": ("rate_l_m2", partial(parse_rate, above=0.0)),
        "dilution": ("dilution", partial(_number, 0.0, 100.0)),
        "coats": ("coats", _count),
        "dry": ("dry_s", _time),
        "pack": ("pack_l", _volume),
    },
    "reinforcement": {
        **_SOLD,
        "sheet": ("sheet_mm", _size),
        "overlap": ("overlap_mm", partial(parse_length, least=0.0)),
    },
    "crew": {
        "people": ("people", _count),
        "mixers": ("mixers", _count),
        "took": ("took", _took),
    },
    "mixer": {
        "bags_per_batch": ("bags_per_batch", _count),
        "mix_time": ("mix_time_s", _time),
    },
}
KINDS = tuple(KEYS)
SPOKEN: Mapping[str, str] = {
    "product": say("product"),
    "compound": say("compound"),
    "primer": say("primer"),
    "reinforcement": say("reinforcement"),
    "crew": say("crew"),
    "mixer": say("mixer"),
}
"""The kinds as they are told."""


def from_typed(key: str, told: Told) -> Told:
    """Return what is said under a key, as the language in use writes it, as it is kept.

    Raises
    ------
    BadInput
        A number in it could mean two things.
    """
    if key in _TEXTS:
        return told
    if not isinstance(told, str):
        return tuple(str(from_typed(key, one)) for one in told)
    return ",".join(parted(told, 2)) if key in ("sheet", "took") else pointed(told, what=key)


def as_typed(key: str, told: Told) -> Told:
    """Return what is kept under a key as the language in use writes it."""
    if key in _TEXTS:
        return told
    return numeral(told) if isinstance(told, str) else tuple(numeral(one) for one in told)


_CLASSES: dict[str, type[Any]] = {
    "compound": Product,
    "primer": Primer,
    "reinforcement": Reinforcement,
    "crew": Crew,
    "mixer": Mixer,
}


@dataclass(frozen=True)
class Entry:
    """One thing of the list: its kind, its name, and what was said of it, as it was written."""

    kind: str
    name: str
    told: Mapping[str, Told]

    def read(self) -> Thing:
        """Return it as a record.

        Raises
        ------
        BadInput
            A key that its kind does not have, a value that cannot be, or too little said.
        """
        keys, values = KEYS[self.kind], {}
        for key, value in self.told.items():
            if key not in keys:
                known = ", ".join(_option(one) for one in keys)
                raise BadInput(
                    say(
                        "{name}: a {kind} has no {option}; it has {known}.",
                        name=self.name,
                        kind=self.kind,
                        option=_option(key),
                        known=known,
                    )
                )
            attribute, read = keys[key]
            if isinstance(value, str) == (key in MANY):
                raise BadInput(
                    say("{name}: {key} is not as floor-rig writes it.", name=self.name, key=key)
                )
            values[attribute] = read(value, what=f"{self.name}: {_option(key)}")
        thing: Thing = _CLASSES[self.kind](name=self.name, **values)
        thing.check()
        return thing


# Invented, and said to be so: figures that are easy to reckon with.
INVENTED = Entry(
    "compound",
    EXAMPLE,
    {
        "edition": say("invented, of no maker"),
        "bag_yield": "0.45ft3",
        "bag_mass": "50lb",
        "bag_water": "5qt",
        "min_cover": "1/8in",
        "max_cover": "1in",
        "mix_time": "2min",
        "working_time": "20min",
        "min_temperature": "50F",
        "max_temperature": "85F",
        "walk_on": "4h",
        "cover_after": "24h",
        "price": "20.00",
    },
)


def data_folder() -> Path:
    """Return where floor-rig keeps what belongs to the user, not to a job.

    That is `$XDG_DATA_HOME/floor-rig`, else `~/.local/share/floor-rig` (XDG Base Directory
    Specification 0.8, where a path that is not absolute counts as none).
    """
    given = os.environ.get("XDG_DATA_HOME", "")
    home = Path(given) if os.path.isabs(given) else Path.home() / ".local" / "share"
    return home / "floor-rig"


@dataclass(frozen=True)
class Library:
    """The list, by names; every change gives another one, which `save` writes."""

    path: Path
    entries: Mapping[str, Entry]

    @classmethod
    def load(cls) -> "Library":
        """Read the user's list; an empty one where there is none yet.

        Raises
        ------
        BadInput
            Where it is not as floor-rig writes it.
        """
        path = data_folder() / "products.toml"
        if not path.exists():
            return cls(path, {})
        return cls(path, dict(_entries(_text_of(path), str(path))))

    def __iter__(self) -> Iterator[Entry]:
        if EXAMPLE not in self.entries:
            yield INVENTED
        yield from self.entries.values()

    def entry(self, name: str, kind: str | None = None) -> Entry:
        """Return one by its name, whatever its letters' case.

        Raises
        ------
        BadInput
            There is none, or it is of another kind.
        """
        wanted = name.strip()
        for one in self:
            if one.name.casefold() == wanted.casefold():
                if kind is not None and one.kind != kind:
                    raise BadInput(
                        say(
                            "{name} is of another kind: {kind}, not {wanted}.",
                            name=one.name,
                            kind=SPOKEN[one.kind],
                            wanted=SPOKEN[kind],
                        )
                    )
                return one
        known = ", ".join(one.name for one in self if kind in (None, one.kind)) or say("none yet")
        raise BadInput(
            say(
                "There is no {wanted!r} ({kind}); there is: {known}.",
                kind=SPOKEN[kind or "product"],
                wanted=wanted[:40],
                known=known,
            )
        )

    def used(self, name: str) -> Used:
        """Return a compound with the primer and the reinforcement that go with it."""
        compound = self._read(name, Product)
        return Used(
            compound=compound,
            primer=None if compound.primer is None else self._read(compound.primer, Primer),
            reinforcement=None
            if compound.reinforcement is None
            else self._read(compound.reinforcement, Reinforcement),
        )

    def crew(self, name: str) -> Crew:
        """Return a crew by its name."""
        return self._read(name, Crew)

    def mixer(self, name: str) -> Mixer:
        """Return a mixer by its name."""
        return self._read(name, Mixer)

    def _read(self, name: str, kind: type[T]) -> T:
        found = self.entry(name, next(k for k, one in _CLASSES.items() if one is kind)).read()
        assert isinstance(found, kind)
        return found

    def with_added(self, entry: Entry) -> "Library":
        """Return the list with one more; a name that is there already is refused."""
        if any(one.name.casefold() == entry.name.casefold() for one in self.entries.values()):
            raise BadInput(
                say(
                    "{name} is there already: change it with rig product edit, or drop it.",
                    name=entry.name,
                )
            )
        return self.with_changed(entry)

    def with_changed(self, entry: Entry) -> "Library":
        """Return the list with one in place of the one of its name."""
        entry.read()
        return self._checked({**self.entries, entry.name: entry})

    def without(self, name: str) -> "Library":
        """Return the list without one."""
        entry = self.entry(name)
        if entry.name not in self.entries:
            raise BadInput(
                say("{name} is built in as an example; it is in nobody's way.", name=entry.name)
            )
        return self._checked({n: one for n, one in self.entries.items() if n != entry.name})

    def taken_from(self, path: Path, *, replacing: bool) -> "tuple[Library, list[str]]":
        """Return the list with all of a TOML file, whole or not at all, and the names that came.

        Raises
        ------
        BadInput
            A file that is not as `export` writes it, or one of its names said otherwise here.
        """
        return self.taken(_text_of(path), str(path), replacing=replacing)

    def taken(self, text: str, file: str, *, replacing: bool) -> "tuple[Library, list[str]]":
        """Return the list with all of a file's text; see `taken_from`."""
        came = dict(_entries(text, file))
        for name, entry in came.items():
            there = next((e for n, e in self.entries.items() if n.casefold() == name.casefold()), 0)
            if there and there != entry and not replacing:
                raise BadInput(
                    say(
                        "{name} is here already, and says something else: nothing was taken. "
                        "Take the file's with --replace, or drop yours first.",
                        name=name,
                    )
                )
        gone = {name.casefold() for name in came}
        kept = {n: one for n, one in self.entries.items() if n.casefold() not in gone}
        return self._checked({**kept, **came}), list(came)

    def save(self) -> None:
        """Write the list; what was there stays until all of it is on the disk.

        Raises
        ------
        BadInput
            Where it cannot be written.
        """
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise BadInput(
                say(
                    "{parent} cannot be made: {strerror}.",
                    parent=self.path.parent,
                    strerror=error.strerror,
                )
            ) from error
        write_whole(self.path, self.text())

    def text(self) -> str:
        """Return the list as TOML."""
        return "\n".join(table_of(one.kind, one.name, one.told) for one in self.entries.values())

    def _checked(self, entries: Mapping[str, Entry]) -> "Library":
        """Return a list of these, refusing one that names another that is not there."""
        made = replace(self, entries=entries)
        for one in entries.values():
            if one.kind == "compound":
                made.used(one.name)
        return made


def _text_of(path: Path) -> str:
    return read_text(path, say("a list of products is a TOML file"), MOST_BYTES)


def _entries(text: str, name: str) -> Iterator[tuple[str, Entry]]:
    seen: set[str] = set()
    for kind, tables in parse_toml(text, name).items():
        if kind not in KINDS or not isinstance(tables, dict):
            raise BadInput(
                say(
                    "{name} has the table {kind!r}; the tables are {kinds}.",
                    name=name,
                    kind=kind[:40],
                    kinds=", ".join(KINDS),
                )
            )
        for called, told in tables.items():
            entry = Entry(
                kind, name_of(called, say("{name}: a name", name=name)), told_of(told, name, called)
            )
            try:
                entry.read()
            except RigError as error:
                raise BadInput(put("{name}: {error}", name=name, error=error)) from None
            if entry.name.casefold() in seen:
                raise BadInput(
                    say(
                        "{name} has {name_2} twice; a name is one thing's.",
                        name=name,
                        name_2=entry.name,
                    )
                )
            seen.add(entry.name.casefold())
            yield entry.name, entry


def _option(key: str) -> str:
    return "--" + key.replace("_", "-")
