"""The languages that there are, which of them is in use, and their catalogues.

A catalogue is read when a language is first asked for; English has none. The language in use is
the process's own, unless something narrower, as a phone's request, speaks another (`speaking`).
"""

import contextlib
import gettext
import os
import re
from collections.abc import Iterator, Mapping, Sequence
from contextvars import ContextVar
from dataclasses import fields, is_dataclass, replace
from datetime import datetime
from decimal import Decimal
from functools import cache
from importlib import resources
from threading import current_thread, main_thread
from typing import Any, TypeVar

from rig.language.messages import Worded

T = TypeVar("T")

LANGUAGES: Mapping[str, tuple[str, str]] = {
    "en": ("en", "English"),
    "es": ("es", "Español"),
    "de": ("de", "Deutsch"),
    "fr": ("fr", "Français"),
    "pl": ("pl", "Polski"),
    "pt": ("pt_BR", "Português (Brasil)"),
}
"""Every language by its key: its locale, which names its catalogue, and its own name."""

_CODES = {"€": "EUR", "£": "GBP", "zł": "PLN", "R$": "BRL"}
"""Signs that can mean one currency only."""

_NUMBER = re.compile(r"\d+(?:\.\d+)?")


class Tongue:
    """A language in which text can be written.

    Parameters
    ----------
    key : str
        As `--language` takes it.
    locale : str
    catalogue : gettext.NullTranslations
    decimal : str, optional
    group : str
        Signs of its numbers, None for those of Babel's data, which are then read when they are
        first needed; where `group` is empty thousands are not parted.
    """

    def __init__(
        self,
        key: str,
        locale: str,
        catalogue: gettext.NullTranslations,
        decimal: str | None = ".",
        group: str = "",
    ) -> None:
        self.key, self.locale = key, locale
        self._catalogue = catalogue
        self._signs = None if decimal is None else (decimal, group)

    @property
    def decimal(self) -> str:
        """Sign between a number's whole part and its decimals."""
        return self._read_signs()[0]

    def _read_signs(self) -> tuple[str, str]:
        if self._signs is None:
            from babel import Locale
            from babel.numbers import get_decimal_symbol, get_group_symbol

            data = Locale.parse(self.locale)
            # A point or comma between thousands would read as a decimal sign of the other kind.
            parts = get_group_symbol(data).isspace() and self.key == "fr"
            self._signs = get_decimal_symbol(data), "\xa0" if parts else ""
        return self._signs

    @property
    def lang(self) -> str:
        """As HTML names it: `pt-BR`."""
        return self.locale.replace("_", "-")

    def find(self, message: str, many: str | None, count: float) -> str:
        """Return a message as the language has it; English where it lacks it."""
        if many is None:
            return self._catalogue.gettext(message)
        whole = int(count) if count == int(count) else int(count) + 2  # 1.5 bags are several
        return self._catalogue.ngettext(message, many, whole)

    def numeral(self, text: str) -> str:
        """Return a number, as Python writes it, with the signs of the language."""
        return _NUMBER.sub(self._numeral, text) if self.decimal != "." else text

    def money(self, amount: str, currency: str) -> str:
        """Return a sum of money with its currency, by Babel's data; never rounded."""
        if self.key == "en":
            return f"{amount} {currency}".strip()
        from babel.numbers import format_currency, format_decimal, is_currency

        code = _CODES.get(currency, currency)
        exact = Decimal(amount)
        if is_currency(code):
            told = format_currency(exact, code, locale=self.locale, decimal_quantization=False)
            return told.replace("\u202f", "\xa0")
        digits = "#,##0." + "0" * max(0, -int(exact.as_tuple().exponent))
        number = format_decimal(exact, digits, locale=self.locale, decimal_quantization=False)
        return f"{number}\xa0{currency}".rstrip().replace("\u202f", "\xa0")

    def moment(self, at: datetime, form: str) -> str:
        """Return a day or a time of day, by Babel's data."""
        from babel.dates import format_date, format_skeleton

        match form:
            case "day":
                return format_date(at, "medium", self.locale)
            case "weekday":
                return format_skeleton("EHm", at, locale=self.locale)
        time = format_skeleton("Hm", at, locale=self.locale)
        if form == "time":
            return time
        day = at.date()
        if form == "minute":
            return f"{format_date(day, 'medium', self.locale)}, {time}"
        return f"{format_skeleton('MMMd', day, locale=self.locale)}, {time}"

    def _numeral(self, found: re.Match[str]) -> str:
        whole, point, decimals = found[0].partition(".")
        sign, group = self._read_signs()
        if group and len(whole) > 3:
            whole = f"{int(whole):,}".replace(",", group)
        return whole + (sign + decimals if point else "")


class _English(Tongue):
    """What every text is written in."""

    def __init__(self) -> None:
        super().__init__("en", "en", gettext.NullTranslations())


_ENGLISH = _English()
_narrow: ContextVar[Tongue | None] = ContextVar("language", default=None)
_usual: list[Tongue] = [_ENGLISH]
_open_to_jobs = [False]


@cache
def tongue(key: str) -> Tongue:
    """Return a language by its key; its catalogue is read now, and only now."""
    if key == "en":
        return _ENGLISH
    locale, _ = LANGUAGES[key]
    return Tongue(key, locale, _catalogue(locale), None)


def _catalogue(locale: str) -> gettext.NullTranslations:
    """Read a catalogue: compiled, as the wheel has it, else as it is edited."""
    folder = resources.files("rig") / "words" / "languages" / locale / "LC_MESSAGES"
    compiled = folder / "rig.mo"
    if compiled.is_file():
        with compiled.open("rb") as file:
            return gettext.GNUTranslations(file)
    import io

    from babel.messages.mofile import write_mo
    from babel.messages.pofile import read_po

    made = io.BytesIO()
    with (folder / "rig.po").open("rb") as file:
        write_mo(made, read_po(file, locale))
    made.seek(0)
    return gettext.GNUTranslations(made)


def current() -> Tongue:
    """Return the language in use here."""
    return _narrow.get() or _usual[-1]


def speak(key: str, *, until_a_job: bool = False) -> None:
    """Use a language in this process from now on, where nothing narrower is spoken.

    Parameters
    ----------
    key : str
    until_a_job : bool
        Whether the language of a job that is opened takes its place.
    """
    _usual[-1] = tongue(key)
    _open_to_jobs[-1] = until_a_job


def waits_for_a_job() -> bool:
    """Whether the language of a job that is opened would take the place of the one in use."""
    return _open_to_jobs[-1]


def of_job(key: str | None) -> None:
    """Use the language of a job that was opened, where nobody asked for another."""
    if key in LANGUAGES and _open_to_jobs[-1] and current_thread() is main_thread():
        _usual[-1] = tongue(key)


@contextlib.contextmanager
def as_before() -> Iterator[None]:
    """Put the process's language back at the end to what it is now."""
    before = _usual[-1], _open_to_jobs[-1]
    try:
        yield
    finally:
        _usual[-1], _open_to_jobs[-1] = before


@contextlib.contextmanager
def speaking(told: Tongue) -> Iterator[None]:
    """Use a language in this context: one phone's request, one page, one paper."""
    token = _narrow.set(told)
    try:
        yield
    finally:
        _narrow.reset(token)


def shown(text: object) -> str:
    """Return a text, or what an error says, as a person reads it: in the language in use."""
    if isinstance(text, BaseException):
        text = text.args[0] if len(text.args) == 1 else str(text)
    if isinstance(text, Worded):
        told = current()
        return str(text) if told is _ENGLISH else text.written(told)
    return str(text)


def shown_in(value: T) -> T:
    """Return lists, mappings and records with every text in them in the language in use."""
    if current() is _ENGLISH:
        return value
    told: Any = _shown_in(value)
    made: T = told
    return made


def _shown_in(value: Any) -> Any:
    if isinstance(value, Worded):
        return shown(value)
    if isinstance(value, Mapping):
        return {name: _shown_in(one) for name, one in value.items()}
    if isinstance(value, tuple | list):
        inner = [_shown_in(one) for one in value]
        if hasattr(value, "_make"):
            return type(value)(*inner)
        return tuple(inner) if isinstance(value, tuple) else inner
    if is_dataclass(value) and not isinstance(value, type):
        changed = {}
        for one in fields(value):
            before = getattr(value, one.name)
            after = _shown_in(before)
            if one.init and after is not before:
                changed[one.name] = after
        return replace(value, **changed) if changed else value
    return value


def of_environment(environment: Mapping[str, str] = os.environ) -> str:
    """Return the key of the language that the environment asks for, English where it has none."""
    for name in ("LANGUAGE", "LC_ALL", "LC_MESSAGES", "LANG"):
        asked = environment.get(name, "")
        if asked:
            return next(filter(None, map(_key_of, asked.split(":"))), "en")
    return "en"


def accepted(header: str, otherwise: str) -> str:
    """Return the key of the language that a browser asks for first among those there are."""
    asked: Sequence[str] = [part.partition(";")[0].strip() for part in header.split(",")]
    return next(filter(None, map(_key_of, asked)), otherwise)


def _key_of(locale: str) -> str | None:
    key = re.split(r"[_.@-]", locale.lower(), maxsplit=1)[0]
    return key if key in LANGUAGES else None
