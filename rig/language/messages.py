"""Sentences that read as English and know of what they were made, and how a file keeps that."""

import contextlib
import re
from collections.abc import Callable, Iterable, Mapping
from datetime import UTC, datetime
from typing import Any, Literal, Protocol

_NUMERAL, _JOINED, _MESSAGE, _PUT = "number", "parts", "say", "put"
_MONEY, _MOMENT = "money", "moment"

_AMOUNT = re.compile(r"-?[0-9]{1,20}(\.[0-9]{1,20})?")
Form = Literal["day", "minute", "time", "day and time", "weekday"]
_FORMS: Mapping[str, str] = {
    "day": "%Y-%m-%d",
    "minute": "%Y-%m-%d %H:%M",
    "time": "%%k:%M",
    "day and time": "%m-%d %H:%M",
    "weekday": "%a %H:%M",
}


class Writer(Protocol):
    """A language, as far as messages need it."""

    def find(self, message: str, many: str | None, count: float) -> str:
        """Return a message as the language has it, in the form for the count."""
        ...

    def numeral(self, text: str) -> str:
        """Return a number as the language writes it."""
        ...

    def money(self, amount: str, currency: str) -> str:
        """Return a sum of money as the language writes it."""
        ...

    def moment(self, at: datetime, form: str) -> str:
        """Return a day or a time of day as the language writes it."""
        ...


class Worded(str):
    """A text for people: English as it stands, another language by `written`."""

    def written(self, writer: Writer) -> str:
        """Return it in a language."""
        raise NotImplementedError

    def as_kept(self) -> object:
        """Return what `again` makes it from, as JSON holds it."""
        raise NotImplementedError

    def __add__(self, other: str) -> "Worded":
        return Joined("", (self, other))

    def __radd__(self, other: str) -> "Worded":
        return Joined("", (other, self))

    def __reduce__(self) -> tuple[object, ...]:
        return again, (self.as_kept(),)


class Message(Worded):
    """A sentence and its values; `many` and `how_many` where its form hangs on a number."""

    message: str
    many: str | None
    how_many: float
    values: Mapping[str, object]
    looked_up: bool

    def __new__(
        cls,
        message: str,
        values: Mapping[str, object],
        many: str | None = None,
        count: float = 1,
        looked_up: bool = True,
    ) -> "Message":
        """Put the values into the English."""
        told = {name: _value(value) for name, value in values.items()}
        form = message if many is None or count == 1 else many
        made = super().__new__(cls, form.format(**told) if told else form)
        made.message, made.many, made.how_many = str(message), many, count
        made.values, made.looked_up = told, looked_up
        return made

    def written(self, writer: Writer) -> str:
        """Return it in a language."""
        form = self.message
        if self.looked_up:
            form = writer.find(form, self.many, self.how_many)
        if not self.values:
            return form
        told = {name: _Written(value, writer) for name, value in self.values.items()}
        return form.format(**told)

    def as_kept(self) -> object:
        """Return what `again` makes it from."""
        told = {name: _kept_value(value) for name, value in self.values.items()}
        if not self.looked_up:
            return [_PUT, self.message, told]
        if self.many is None:
            return [_MESSAGE, self.message, told]
        return [_MESSAGE, self.message, told, self.many, self.how_many]


class Numeral(Worded):
    """A number as it is written: `1221.5`."""

    def written(self, writer: Writer) -> str:
        """Return it with the language's decimal sign."""
        return writer.numeral(str(self))

    def as_kept(self) -> object:
        """Return what `again` makes it from."""
        return [_NUMERAL, str(self)]


class Money(Worded):
    """A sum of money: `1234.50 EUR`; the currency is the user's own letters, or not said."""

    amount: str
    currency: str

    def __new__(cls, amount: str, currency: str) -> "Money":
        """Write it in English."""
        made = super().__new__(cls, f"{amount} {currency}".strip())
        made.amount, made.currency = amount, currency
        return made

    def written(self, writer: Writer) -> str:
        """Return it as the language writes its currency."""
        return writer.money(self.amount, self.currency)

    def as_kept(self) -> object:
        """Return what `again` makes it from."""
        return [_MONEY, self.amount, self.currency]


class Moment(Worded):
    """A day, a time of day or both, by the clock on a wall: `2026-12-01 17:40`."""

    at: datetime
    form: str

    def __new__(cls, at: datetime, form: str) -> "Moment":
        """Write it in English."""
        made = super().__new__(cls, at.strftime(_FORMS[form]).replace("%k", str(at.hour)))
        made.at, made.form = at, form
        return made

    def written(self, writer: Writer) -> str:
        """Return it as the language writes days and times."""
        return writer.moment(self.at, self.form)

    def as_kept(self) -> object:
        """Return what `again` makes it from."""
        return [_MOMENT, self.at.isoformat(timespec="minutes"), self.form]


class Joined(Worded):
    """Texts one after another: things of a list, sentences of a paragraph."""

    between: str
    parts: tuple[str, ...]

    def __new__(cls, between: str, parts: Iterable[str]) -> "Joined":
        """Join the English."""
        listed = tuple(parts)
        made = super().__new__(cls, str(between).join(listed))
        made.between, made.parts = between, listed
        return made

    def written(self, writer: Writer) -> str:
        """Return it in a language."""
        between = _written(self.between, writer)
        return between.join(_written(part, writer) for part in self.parts)

    def as_kept(self) -> object:
        """Return what `again` makes it from."""
        return [_JOINED, _kept_value(self.between), [_kept_value(part) for part in self.parts]]


class Changed(Worded):
    """A text of which something is taken away or put otherwise, in every language alike."""

    of: str
    how: Callable[[str], str]

    def __new__(cls, of: str, how: Callable[[str], str]) -> "Changed":
        """Change the English."""
        made = super().__new__(cls, how(str(of)))
        made.of, made.how = of, how
        return made

    def written(self, writer: Writer) -> str:
        """Return it in a language."""
        return _written(self.how(_written(self.of, writer)), writer)

    def as_kept(self) -> object:
        """Return what `again` makes it from: English, for no file knows how it was changed."""
        return str(self)


class _Written:
    """A value on its way into a sentence of a language."""

    def __init__(self, value: object, writer: Writer) -> None:
        self._value, self._writer = value, writer

    def __format__(self, spec: str) -> str:
        value = self._value
        if isinstance(value, str):
            return format(_written(value, self._writer), spec)
        text = format(value, spec)
        return self._writer.numeral(text) if isinstance(value, float) else text

    def __repr__(self) -> str:
        return repr(
            _written(self._value, self._writer) if isinstance(self._value, str) else self._value
        )

    def __str__(self) -> str:
        return format(self, "")


def say(message: str, /, **values: object) -> str:
    """Return a sentence with its values put in: `say("{label} taken: {reading}", label=...)`.

    Parameters
    ----------
    message : str
        A whole sentence, written out here, for what translates it is found by it.
    **values : object
        Of its names: numbers, texts, other sentences, or an error for what it says.
    """
    return Message(message, values)


def say_many(one: str, many: str, count: float, /, **values: object) -> str:
    """Return the sentence that fits a count; `{count}` stands for it."""
    shown = Numeral(f"{count:g}") if isinstance(count, float) else count
    return Message(one, {"count": shown, **values}, many, count)


def put(form: str, /, **values: object) -> str:
    """Put values into what has no words of its own, and so is the same in every language."""
    return Message(form, values, looked_up=False)


def numeral(value: object, spec: str = "") -> str:
    """Write a number: `numeral(1221.5, ".1f")`."""
    return Numeral(format(value, spec))


def money(amount: object, currency: str = "") -> str:
    """Write a sum of money: a decimal, or its text, which stays as exact as it is."""
    return Money(str(amount), currency)


def moment(utc_s: float, form: Form, *, utc: bool = False) -> str:
    """Write when something was, by the clock of this place, or in UTC.

    Parameters
    ----------
    utc_s : float
    form : {'day', 'minute', 'time', 'day and time', 'weekday'}
        `2026-12-01`, `2026-12-01 09:05`, `9:05`, `12-01 09:05`, `Tue 09:05`.
    utc : bool
    """
    at = datetime.fromtimestamp(utc_s, UTC)
    return Moment((at if utc else at.astimezone()).replace(tzinfo=None), form)


def changed(text: str, how: Callable[[str], str]) -> str:
    """Change a text that is told to people, in whichever language it is shown."""
    return Changed(text, how) if isinstance(text, Worded) else how(text)


def join(between: str, parts: Iterable[str]) -> str:
    """Join texts that are told to people, as `between.join(parts)` does."""
    listed = list(parts)
    if isinstance(between, Worded) or any(isinstance(part, Worded) for part in listed):
        return Joined(between, listed)
    return between.join(listed)


def kept(value: object) -> dict[str, object]:
    """Return the sentences in what JSON shall hold, by their English, as `again` takes them."""
    found: dict[str, object] = {}
    _gather(value, found)
    return found


def again(told: object) -> str:
    """Make a text of what `as_kept` gave; what is none comes back as it can be shown."""
    match told:
        case [str(kind), str(text)] if kind == _NUMERAL:
            return Numeral(text)
        case [str(kind), str(amount), str(currency)] if kind == _MONEY and _AMOUNT.fullmatch(
            amount
        ):
            return Money(amount, currency)
        case [str(kind), str(at), str(form)] if kind == _MOMENT and form in _FORMS:
            with contextlib.suppress(ValueError):
                return Moment(datetime.fromisoformat(at), form)
        case [str(kind), between, [*parts]] if kind == _JOINED:
            return Joined(again(between), [again(part) for part in parts])
        case [str(kind), str(message), dict(values)] if kind in (_MESSAGE, _PUT):
            return Message(message, _values_again(values), looked_up=kind == _MESSAGE)
        case [str(kind), str(message), dict(values), str(many), int() | float() as count] if (
            kind == _MESSAGE
        ):
            return Message(message, _values_again(values), many, count)
    return str(told)


def again_in(told: Any, sentences: Mapping[str, str]) -> None:
    """Put sentences that know of what they were made in the place of their English, in JSON."""
    places: Iterable[tuple[Any, Any]]
    places = list(told.items() if isinstance(told, dict) else enumerate(told))
    for place, one in places:
        if isinstance(one, dict | list):
            again_in(one, sentences)
        elif isinstance(one, str) and sentences.get(one) == one:
            told[place] = sentences[one]


def _values_again(values: Mapping[str, object]) -> dict[str, object]:
    return {
        name: value if isinstance(value, int | float) else again(value)
        for name, value in values.items()
    }


def _gather(value: object, found: dict[str, object]) -> None:
    if isinstance(value, Worded):
        found[str(value)] = value.as_kept()
    elif isinstance(value, Mapping):
        for one in value.values():
            _gather(one, found)
    elif isinstance(value, tuple | list):
        for one in value:
            _gather(one, found)


def _value(value: object) -> object:
    """Return a value as a sentence keeps it: an error as what it says."""
    if isinstance(value, BaseException):
        said = value.args[0] if len(value.args) == 1 else None
        return said if isinstance(said, Worded) else str(value)
    return value


def _written(text: str, writer: Writer) -> str:
    return text.written(writer) if isinstance(text, Worded) else text


def _kept_value(value: object) -> object:
    if isinstance(value, Worded):
        return value.as_kept()
    if isinstance(value, bool) or not isinstance(value, int | float):
        return str(value)
    return int(value) if isinstance(value, int) else float(value)
