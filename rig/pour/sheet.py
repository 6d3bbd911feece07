"""Reads what a product's data sheet says, from a TOML file that the user fills; guesses nothing."""

import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import partial
from itertools import pairwise
from pathlib import Path
from typing import Any

from rig.errors import BadInput
from rig.record import OMITTED, Record
from rig.texts import read_toml
from rig.units import Units, parse_duration, parse_length, parse_temperature, parse_volume
from rig.words import join, say
from rig.words import pour as words

_WHERE = {
    "working_time": say("“working time”, “flow time” or “healing time”"),
    "mixing_time": say("“mixing time”, often under “mixing”"),
}
_OPTION = {"working_time": "--working-time 20min", "mixing_time": "--mix-time 2min"}


_SAID = partial(field, default=None, metadata=OMITTED)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet(Record):
    """A data sheet as far as it was filled in; None is what it does not say.

    Attributes
    ----------
    text : str
        Which product and sheet, in the user's words.
    working_time_at : tuple of (celsius, seconds)
        The working time at other temperatures, where the sheet states it, coldest first.
    """

    text: str | None = _SAID()
    water_per_bag_l: float | None = _SAID()
    mixing_time_s: float | None = _SAID()
    slake_time_s: float | None = _SAID()
    working_time_s: float | None = _SAID()
    pot_life_s: float | None = _SAID()
    min_temperature_c: float | None = _SAID()
    max_temperature_c: float | None = _SAID()
    max_cover_mm: float | None = _SAID()
    walk_on_s: float | None = _SAID()
    cover_after_s: float | None = _SAID()
    working_time_at: tuple[tuple[float, float], ...] | None = _SAID()

    def working_time(
        self, temperature_c: float | None, units: Units
    ) -> tuple[float | None, str | None]:
        """Return the working time at a temperature, and what must be said about it.

        Between two stated temperatures the shorter time of the two counts; nothing is interpolated,
        and nothing is said of temperatures that the sheet does not state.
        """
        if not self.working_time_at:
            if temperature_c is None or self.working_time_s is None:
                return self.working_time_s, None
            return self.working_time_s, words.one_working_time(temperature_c, units)
        coldest, warmest = self.working_time_at[0][0], self.working_time_at[-1][0]
        if temperature_c is None:
            if self.working_time_s is not None:
                return self.working_time_s, None
            shortest = min(time for _, time in self.working_time_at)
            return shortest, words.shortest_counts(shortest)
        if not coldest <= temperature_c <= warmest:
            here, low, high = map(units.temperature, (temperature_c, coldest, warmest))
            raise BadInput(
                say(
                    "The sheet states no working time at {here}, only from {low} to {high}: "
                    "wait for another temperature, or give --working-time.",
                    here=here,
                    low=low,
                    high=high,
                )
            )
        below = [time for at, time in self.working_time_at if at <= temperature_c][-1]
        above = next(time for at, time in self.working_time_at if at >= temperature_c)
        return min(below, above), None

    def allows(self, temperature_c: float | None) -> bool:
        """Tell whether the sheet allows to pour at a temperature; one that is not known it does."""
        low, high = self.min_temperature_c, self.max_temperature_c
        if temperature_c is None:
            return True
        return (low is None or temperature_c >= low) and (high is None or temperature_c <= high)

    def warnings(self, temperature_c: float | None, units: Units) -> list[str]:
        """Say where a temperature is outside of what the sheet allows, or that nothing tells."""
        low, high = self.min_temperature_c, self.max_temperature_c
        if temperature_c is None:
            if low is None and high is None:
                return []
            return [words.sheet_allows(low, high, units)]
        if low is None and high is None:
            return [words.not_checked(temperature_c, units)]
        if low is not None and temperature_c < low:
            return [words.outside(temperature_c, low, units)]
        if high is not None and temperature_c > high:
            return [words.outside(temperature_c, high, units)]
        return []


def ask_for(name: str) -> BadInput:
    """Return the refusal that asks for what a pour cannot do without."""
    return BadInput(
        say(
            "The {replace} is missing, and it is not guessed: look for {where} on the "
            "product's data sheet and give it as {option}, or as {name} in the file of --sheet.",
            replace=name.replace("_", " "),
            where=_WHERE[name],
            option=_OPTION[name],
            name=name,
        )
    )


def read_sheet(path: str | os.PathLike[str]) -> Sheet:
    """Read a sheet.

    Raises
    ------
    BadInput
        Naming the key: unknown, without unit, not more than zero.
    """
    return parse_sheet(read_toml(path, say("a sheet is a TOML file")), Path(path).name)


def parse_sheet(told: Mapping[str, Any], name: str) -> Sheet:
    """Turn a sheet's keys into numbers; `name` is for the refusals."""
    unknown = sorted(set(told) - set(_KEYS))
    if unknown:
        raise BadInput(
            say(
                "{name} has the key {unknown!r}; the keys are {keys}.",
                name=name,
                unknown=unknown[0],
                keys=join(", ", _KEYS),
            )
        )
    values = {}
    for key, value in told.items():
        attribute, read = _KEYS[key]
        values[attribute] = read(value, what=f"{name}: {key}")
    sheet = Sheet(**values)
    low, high = sheet.min_temperature_c, sheet.max_temperature_c
    if low is not None and high is not None and low > high:
        written = (join(" ", str(told[f"{end}_temperature"]).split()) for end in ("min", "max"))
        least, most = written
        raise BadInput(
            say(
                "{name}: min_temperature {least} is above max_temperature {most}.",
                name=name,
                least=least,
                most=most,
            )
        )
    return sheet


def _quantity(parse: Callable[..., float], zero: bool, value: object, what: str) -> float:
    if not isinstance(value, str):
        raise BadInput(
            say(
                '{what} is {value!r}: write it with its unit in quotes, as "20min".',
                what=what,
                value=value,
            )
        )
    return parse(value, what=what, **({"least": 0.0} if zero else {"above": 0.0}))


def _words(value: object, what: str) -> str | None:
    if not isinstance(value, str):
        raise BadInput(say("{what} must be text in quotes.", what=what))
    return value or None


def _by_temperature(value: object, what: str) -> tuple[tuple[float, float], ...] | None:
    rows: list[tuple[float, float]] = []
    for row in value if isinstance(value, list) else [value]:
        if not isinstance(row, dict) or set(row) != {"temperature", "working_time"}:
            raise BadInput(
                say("{what}: each needs temperature and working_time, and nothing else.", what=what)
            )
        rows.append(
            (
                parse_temperature(row["temperature"], what),
                _quantity(parse_duration, False, row["working_time"], what),
            )
        )
    rows.sort()
    if any(one[0] == other[0] for one, other in pairwise(rows)):
        raise BadInput(say("{what} states the same temperature twice.", what=what))
    return tuple(rows) or None


_time = partial(_quantity, parse_duration, False)
_KEYS: dict[str, tuple[str, Callable[..., Any]]] = {
    "text": ("text", _words),
    "water_per_bag": ("water_per_bag_l", partial(_quantity, parse_volume, False)),
    "mixing_time": ("mixing_time_s", _time),
    "slake_time": ("slake_time_s", partial(_quantity, parse_duration, True)),
    "working_time": ("working_time_s", _time),
    "pot_life": ("pot_life_s", _time),
    "min_temperature": ("min_temperature_c", parse_temperature),
    "max_temperature": ("max_temperature_c", parse_temperature),
    "max_cover": ("max_cover_mm", partial(_quantity, parse_length, False)),
    "walk_on": ("walk_on_s", _time),
    "cover_after": ("cover_after_s", _time),
    "working_time_at": ("working_time_at", _by_temperature),
}
