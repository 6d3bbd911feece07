"""One table of a device profile, read key by key; what is wrong is refused by name."""

import math
import re
from collections.abc import Mapping
from typing import Any, NoReturn

from rig.errors import BadInput
from rig.language import join, numeral, say
from rig.texts import LONGEST_TEXT

_UUID = re.compile(r"[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}")


class ProfileTable:
    """One TOML table, whose getters refuse what is wrong by name."""

    def __init__(self, profile: str, prefix: str, data: Mapping[str, object]) -> None:
        self._profile = profile
        self._prefix = prefix
        self._data = data

    def refuse(self, key: str, what: str) -> NoReturn:
        """Refuse a key: what is wrong with it."""
        raise BadInput(
            say(
                "The profile {profile} is wrong: `{prefix}{key}` {what}.",
                profile=self._profile,
                prefix=self._prefix,
                key=key,
                what=what,
            )
        )

    def __contains__(self, key: str) -> bool:
        return key in self._data

    def allow(self, *keys: str) -> None:
        """Refuse keys other than these."""
        for key in self._data:
            if key not in keys:
                self.refuse(
                    key, say("is not known here; allowed are {keys}", keys=join(", ", keys))
                )

    def needs(self, key: str, why: str) -> None:
        """Refuse the table where a key is missing, and say what needs it."""
        if key not in self._data:
            self.refuse(key, say("is missing; it is needed {why}", why=why))

    def table(self, key: str) -> "ProfileTable":
        """Return a table inside."""
        if key not in self._data:
            self.refuse(key, say("is missing: add a table [{key}]", key=key))
        inner = self._data[key]
        if not isinstance(inner, dict):
            self.refuse(key, say("must be a table [{key}]", key=key))
        return ProfileTable(self._profile, f"{self._prefix}{key}.", inner)

    def text(self, key: str) -> str:
        """Return a text that is not empty."""
        value = self._get(key, str, say("text in quotes"))
        if not value:
            self.refuse(key, say("is empty"))
        if len(value) > LONGEST_TEXT:
            self.refuse(
                key, say("is longer than {longest_text} characters", longest_text=LONGEST_TEXT)
            )
        return str(value)

    def choice(
        self, key: str, allowed: tuple[str, ...], default: str | None = None, framing: str = ""
    ) -> str:
        """Return one of the texts that are allowed, be it only with this framing."""
        if default is not None and key not in self._data:
            return default
        listed = join(", ", allowed)
        value = self._get(key, str, say("one of {allowed}", allowed=listed))
        if value in allowed:
            return str(value)
        if framing:
            text = say(
                "is {value!r}; allowed for {framing} framing: {allowed}",
                value=value,
                framing=framing,
                allowed=listed,
            )
        else:
            text = say("is {value!r}; allowed: {allowed}", value=value, allowed=listed)
        self.refuse(key, text)

    def number(
        self,
        key: str,
        default: float | None = None,
        above: float = -math.inf,
        least: float = -math.inf,
        between: tuple[float, float] | None = None,
    ) -> float:
        """Return a number within its bounds."""
        if default is not None and key not in self._data:
            return default
        value = float(self._get(key, (int, float), say("a number")))
        if not (math.isfinite(value) and value > above and value >= least):
            told = {"value": numeral(value, "g")}
            if above > -math.inf:
                text = say("is {value}; it must be a finite number above {above}")
                told["above"] = numeral(above, "g")
            elif least > -math.inf:
                text = say("is {value}; it must be a finite number of at least {least}")
                told["least"] = numeral(least, "g")
            else:
                text = say("is {value}; it must be a finite number")
            self.refuse(key, say(text, **told))
        if between is not None and not between[0] <= value <= between[1]:
            self.refuse(
                key,
                say(
                    "is {value}; it is from {between} to {between_2}",
                    value=numeral(value, "g"),
                    between=numeral(between[0], "g"),
                    between_2=numeral(between[1], "g"),
                ),
            )
        return value

    def whole(self, key: str, default: int | None, least: int, most: int) -> int:
        """Return a whole number within its bounds."""
        if default is not None and key not in self._data:
            return default
        value = int(self._get(key, int, say("a whole number")))
        if not least <= value <= most:
            self.refuse(
                key,
                say(
                    "is {value}; it is from {least} to {most}", value=value, least=least, most=most
                ),
            )
        return value

    def octets(self, key: str, most: int) -> bytes | None:
        """Bytes written as text: characters up to U+00FF stand for themselves."""
        if key not in self._data:
            return None
        try:
            data = self.text(key).encode("latin-1")
        except UnicodeEncodeError:
            self.refuse(key, say("has a character above U+00FF; each stands for one byte"))
        if len(data) > most:
            self.refuse(key, say("is longer than {most} bytes", most=most))
        return data

    def sign(self, key: str) -> int:
        """Return 1 or -1."""
        value = self._data.get(key, 1)
        if type(value) is not int or value not in (1, -1):
            self.refuse(key, say("is {value!r}; allowed: 1, -1", value=value))
        return value

    def flag(self, key: str) -> bool:
        """Return whether it is true; missing is false."""
        return bool(self._get(key, bool, say("true or false"))) if key in self._data else False

    def values(self, key: str, kind: type, needed: bool = False) -> tuple[Any, ...]:
        """Return a list of values of one kind."""
        if not needed and key not in self._data:
            return ()
        allowed = say("a list of text") if kind is str else say("a list of whole numbers")
        values = self._get(key, list, allowed)
        if any(type(value) is not kind for value in values):
            self.refuse(key, say("must be {allowed}", allowed=allowed))
        return tuple(values)

    def uuid(self, key: str) -> str:
        """Return a UUID in small letters."""
        value = self.text(key).lower()
        if not _UUID.fullmatch(value):
            self.refuse(
                key,
                say("is {value!r}; it must be a 128-bit UUID, 8-4-4-4-12 hex digits", value=value),
            )
        return value

    def _get(self, key: str, kind: type | tuple[type, ...], allowed: str) -> Any:
        if key not in self._data:
            self.refuse(key, say("is missing; it must be {allowed}", allowed=allowed))
        value = self._data[key]
        if not isinstance(value, kind) or (isinstance(value, bool) and kind is not bool):
            self.refuse(
                key, say("is {value!r}; it must be {allowed}", value=value, allowed=allowed)
            )
        return value
