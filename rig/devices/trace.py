r"""A device's messages in a file that people can read, and their replay.

The file begins with the line ``floor-rig trace 1`` and a TOML header up to a line ``---``. Then
comes one line a message: seconds since the start with six decimals, a tab, and the message in
ASCII, with ``\\``, ``\t``, ``\n``, ``\r``, ``\xNN`` or ``\uNNNN`` for what is not. In place of a
message ``\!lost REASON`` and ``\!back SECONDS`` tell of the link, ``\!battery PERCENT`` of the
battery.
"""

import contextlib
import math
import os
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import BinaryIO, TypeVar

from rig.devices.decoder import Decoder
from rig.devices.profile import Profile, parse_profile, with_clamp
from rig.devices.reading import Back, Battery, Lost, Reading
from rig.errors import BadInput
from rig.language import numeral, say
from rig.texts import LONGEST_LINE, parse_toml, toml_string

V = TypeVar("V", str, datetime)

_FIRST = "floor-rig trace "
_VERSION = "1"
_END_OF_HEADER = "---"
_LONGEST_HEADER = 10_000  # lines
_LOST = r"\!lost "
_BACK = r"\!back "
_BATTERY = r"\!battery "
_MESSAGE = re.compile(
    r"(?:[ -\[\]-~]|\\(?:[\\tnr]|x[0-9a-f]{2}|u[0-9a-f]{4}|U000[0-9a-f]{5}|U0010[0-9a-f]{4}))*"
)
_PERCENT = re.compile(r"\d{1,3}")
_SECONDS = re.compile(r"\d{1,12}\.\d{6}")


Item = tuple[float, str] | Lost | Back | Battery


@dataclass(frozen=True)
class Trace:
    """A recorded session.

    `items` are messages, as ``(time_s, raw)``, and what happened to the link, in order; `notices`
    what the user should know about the file.
    """

    header: Mapping[str, object]
    profile: Profile
    started_utc_s: float
    items: Iterable[Item]
    notices: tuple[str, ...] = ()

    @property
    def messages(self) -> Iterator[tuple[float, str]]:
        """The messages alone, ``(time_s, raw)``."""
        return (item for item in self.items if isinstance(item, tuple))


class TraceWriter:
    """Writes a trace, each message to the file at once.

    Parameters
    ----------
    path : str or Path
        A file that is not there yet.
    profile : Profile
        Its text goes into the header, so that the trace plays back without it.
    started_utc_s : float
        The time of day at second 0.
    units : str, optional
        The job's units.

    Raises
    ------
    BadInput
        The file is there already or cannot be written.
    """

    def __init__(
        self, path: str | Path, profile: Profile, *, started_utc_s: float, units: str | None = None
    ) -> None:
        self.path = Path(path)
        try:
            self._file = open(self.path, "x", encoding="utf-8", newline="\n", buffering=1)  # noqa: SIM115
        except FileExistsError:
            raise BadInput(
                say("{path} is there already; give another name.", path=self.path)
            ) from None
        except OSError as error:
            raise self._cannot(error) from None
        started = datetime.fromtimestamp(started_utc_s, UTC)
        header = [
            f"key = {_toml_text(profile.key)}",
            f"started = {started.isoformat(timespec='microseconds')}",
        ]
        if units is not None:
            header.append(f"units = {_toml_text(units)}")
        if profile.clamp_mm is not None:
            header.append(f"clamp_mm = {profile.clamp_mm!r}")
        header.append(f"profile = {_toml_text(profile.text_toml)}")
        self._put("\n".join([_FIRST + _VERSION, *header, _END_OF_HEADER, ""]))

    def write(self, time_s: float, raw: str) -> None:
        """Add one message, as `Reading.raw` has it."""
        self._put(f"{time_s:.6f}\t{_escape(raw)}\n")

    def link(self, item: Lost | Back | Battery) -> None:
        """Add what happened to the link or the battery, so that replay goes as live did."""
        match item:
            case Lost():
                mark = _LOST + _escape(item.reason)
            case Back():
                mark = f"{_BACK}{item.gap_s:.6f}"
            case Battery():
                mark = f"{_BATTERY}{item.percent}"
        self._put(f"{item.time_s:.6f}\t{mark}\n")

    def close(self) -> None:
        """Close the file."""
        try:
            self._file.close()
        except OSError as error:
            raise self._cannot(error) from None

    def __enter__(self) -> "TraceWriter":
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        where: TracebackType | None,
    ) -> None:
        self.close()

    def _put(self, text: str) -> None:
        try:
            self._file.write(text)
        except OSError as error:
            raise self._cannot(error) from None

    def _cannot(self, error: OSError) -> BadInput:
        return BadInput(
            say(
                "The trace {path} cannot be written: {strerror}.",
                path=self.path,
                strerror=error.strerror,
            )
        )


def read_trace(path: str | Path) -> Trace:
    """Read a trace.

    A last line without its end was cut off when recording stopped; it is dropped with a notice.

    Raises
    ------
    BadInput
        It is not a trace, or a line is wrong; the message names the line.
    """
    header: list[str] = []
    with _opened(path) as file:
        for number, line in _lines(file, path, 1):
            header.append(line)
            _refuse_first(header[0], path)
            if line == _END_OF_HEADER or number > _LONGEST_HEADER:
                break
        start = file.tell()
    if not header:
        raise BadInput(say("{path} is not a trace: it has no whole line.", path=path))
    if header[-1] != _END_OF_HEADER:
        raise BadInput(
            say(
                "{path} is not a whole trace: its header has no line '{end_of_header}'.",
                path=path,
                end_of_header=_END_OF_HEADER,
            )
        )
    told, profile, started_utc_s = _read_header("\n".join(header[1:-1]), path)

    items = _Items(Path(path), start, len(header) + 1, started_utc_s)
    # Each is looked at before the first is used.
    last = max((number for number, _ in items.numbered()), default=len(header))
    notices = []
    with _opened(path) as file:
        size = file.seek(0, os.SEEK_END)
        file.seek(size - 1)
        if file.read(1) != b"\n":
            notices.append(
                say(
                    "{path}: the last line, {last}, was cut off and is left out.",
                    path=path,
                    last=last + 1,
                )
            )
    return Trace(told, profile, started_utc_s, items, tuple(notices))


@dataclass(frozen=True, slots=True)
class _Items:
    """A trace's items, read from its file each time that they are gone through."""

    path: Path
    start: int  # of the first, in bytes, and its line
    first_line: int
    started_utc_s: float

    def __iter__(self) -> Iterator[Item]:
        return (item for _, item in self.numbered())

    def numbered(self) -> Iterator[tuple[int, Item]]:
        """Yield each with its line's number."""
        path, last_s = self.path, 0.0
        with _opened(path) as file:
            file.seek(self.start)
            for number, line in _lines(file, path, self.first_line):
                seconds, tab, escaped = line.partition("\t")
                if not tab or not _SECONDS.fullmatch(seconds):
                    raise BadInput(
                        say(
                            "{path}, line {number}: expected seconds with six decimals and a tab.",
                            path=path,
                            number=number,
                        )
                    )
                time_s = float(seconds)
                if time_s < last_s:
                    raise BadInput(
                        say(
                            "{path}, line {number}: time goes back from {last} to {seconds}.",
                            path=path,
                            number=number,
                            last=numeral(last_s, ".6f"),
                            seconds=seconds,
                        )
                    )
                last_s = time_s
                item = _item(escaped, time_s, round(self.started_utc_s + time_s, 6))
                if item is None:
                    raise BadInput(
                        say(
                            "{path}, line {number}: the message is not written as a trace has it.",
                            path=path,
                            number=number,
                        )
                    )
                yield number, item


@contextlib.contextmanager
def _opened(path: str | Path) -> Iterator[BinaryIO]:
    try:
        file = open(path, "rb")  # noqa: SIM115
    except OSError as error:
        raise BadInput(
            say("The trace {path} cannot be read: {strerror}.", path=path, strerror=error.strerror)
        ) from None
    with file:
        try:
            yield file
        except OSError as error:
            raise BadInput(
                say(
                    "The trace {path} cannot be read: {strerror}.",
                    path=path,
                    strerror=error.strerror,
                )
            ) from None


def _lines(file: BinaryIO, path: str | Path, number: int) -> Iterator[tuple[int, str]]:
    """Yield the whole lines from here on, without their ends; the last one may be cut off."""
    while (line := file.readline(LONGEST_LINE)).endswith(b"\n"):
        yield number, _decoded(line[:-1], path, number)
        number += 1
    if len(line) == LONGEST_LINE:
        raise BadInput(
            say(
                "{path}, line {number}: longer than {longest_line} characters.",
                path=path,
                number=number,
                longest_line=LONGEST_LINE,
            )
        )


def _refuse_first(line: str, path: str | Path) -> None:
    if not line.startswith(_FIRST):
        raise BadInput(
            say(
                "{path} is not a trace: line 1 is not '{first}{version}'.",
                path=path,
                first=_FIRST,
                version=_VERSION,
            )
        )
    version = line.removeprefix(_FIRST)
    if version != _VERSION:
        raise BadInput(
            say(
                "{path}, line 1: this program reads version {version}, not {version_2!r}.",
                path=path,
                version=_VERSION,
                version_2=version,
            )
        )


def _item(escaped: str, time_s: float, utc_s: float) -> Item | None:
    """Return what a line tells; None where it is not written so."""
    gap = escaped.removeprefix(_BACK)
    reason = escaped.removeprefix(_LOST)
    percent = escaped.removeprefix(_BATTERY)
    if _MESSAGE.fullmatch(escaped):
        return time_s, _unescape(escaped)
    if reason != escaped and _MESSAGE.fullmatch(reason):
        return Lost(time_s, utc_s, _unescape(reason))
    if gap != escaped and _SECONDS.fullmatch(gap):
        return Back(time_s, utc_s, float(gap))
    if percent != escaped and _PERCENT.fullmatch(percent):
        return Battery(time_s, utc_s, int(percent))
    return None


def replay(trace: Trace) -> Iterator[Reading | Lost | Back | Battery]:
    """Yield the readings that the messages were when they came, and what happened to the link."""
    decoder = Decoder(trace.profile)
    for item in trace.items:
        if isinstance(item, tuple):
            time_s, raw = item
            yield decoder.decode_raw(raw, time_s, round(trace.started_utc_s + time_s, 6))
        else:
            if not isinstance(item, Battery):
                decoder.reset()
            yield item


def _read_header(text: str, path: str | Path) -> tuple[Mapping[str, object], Profile, float]:
    header = parse_toml(text, say("The header of {path} (from line 2)", path=path))

    def needed(key: str, kind: type[V]) -> V:
        value = header.get(key)
        if not isinstance(value, kind):
            raise BadInput(
                say(
                    "The header of {path} is wrong: `{key}` is missing or of another kind.",
                    path=path,
                    key=key,
                )
            )
        return value

    key, toml, started = needed("key", str), needed("profile", str), needed("started", datetime)
    if started.tzinfo is None:
        raise BadInput(say("The header of {path} is wrong: `started` has no time zone.", path=path))
    profile = parse_profile(toml, say("{key} in {path}", key=key, path=path))
    clamp_mm = header.get("clamp_mm")
    if clamp_mm is not None:
        if not isinstance(clamp_mm, int | float) or not math.isfinite(clamp_mm):
            raise BadInput(
                say("The header of {path} is wrong: `clamp_mm` must be a number.", path=path)
            )
        profile = with_clamp(profile, float(clamp_mm))
    return header, profile, round(started.timestamp(), 6)


def _decoded(line: bytes, path: str | Path, number: int) -> str:
    try:
        return line.removesuffix(b"\r").decode("utf-8")
    except UnicodeDecodeError:
        raise BadInput(say("{path}, line {number}: not text.", path=path, number=number)) from None


def _unescape(escaped: str) -> str:
    return escaped.encode("ascii").decode("unicode_escape")


def _escape(raw: str) -> str:
    return raw.encode("unicode_escape").decode("ascii")


def _toml_text(text: str) -> str:
    """Write a TOML string: as it stands where TOML and the header allow it, else escaped."""
    plain = all(char.isprintable() or char in "\n\t" for char in text)
    fits = "'''" not in text and not text.endswith("'") and _END_OF_HEADER not in text.split("\n")
    if "\n" in text and plain and fits:
        return f"'''\n{text}'''"
    return toml_string(text)
