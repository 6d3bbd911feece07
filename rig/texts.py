"""Reads the text files that people give: TOML, and tables as CSV, within bounds.

What every such file may have wrong is refused here, once, with the file, the line and what to do;
what its values mean is the caller's.
"""

import csv
import json
import math
import os
import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from rig.errors import BadInput
from rig.files import read_whole
from rig.language import numeral, put, say, say_many
from rig.units import parse_length, with_point

MB = 1_000_000
MOST_BYTES = 200 * MB
MOST_TOML_BYTES = MB
MOST_ROWS = 1_000_000
LONGEST_LINE = 100_000
DEEPEST = 50
LONGEST_NAME = 64
LONGEST_TEXT = 2000  # of a key in a table that a user writes
_LARGEST_INTEGER = 2**63 - 1  # TOML 1.0.0: integers are of 64 bits

# tomllib walks a dotted key from the top at each use, so one of many parts takes for ever.
_LONG_KEY = re.compile(
    r"(?<![\w\"'-])(?:[\w\"'-]++[ \t]*+\.[ \t]*+){%d}" % DEEPEST  # noqa: UP031
)
# Steers a terminal, turns the writing round or shows as nothing; no XML or PDF takes it all.
_UNSEEN = re.compile(
    "[\x00-\x1f\x7f-\x9f\xad\u061c\u200b-\u200f\u2028-\u202e\u2060-\u206f\ufeff\ufff9-\uffff"
    "\ud800-\udfff\U000e0000-\U000e0fff]"
)
# What a spreadsheet takes for the beginning of a formula.
_FORMULA = ("=", "+", "-", "@")

Path = str | os.PathLike[str]


def name_of(text: str, what: str) -> str:
    """Return a label or name as it is kept, without blanks around it.

    Parameters
    ----------
    text, what : str
        As it was given, and what refusals call it.

    Raises
    ------
    BadInput
        It is empty, longer than 64 characters, has characters that can't be seen, or begins as a
        formula of a spreadsheet does.
    """
    name = text.strip()
    if not name:
        raise BadInput(say("{what} is empty.", what=what))
    if len(name) > LONGEST_NAME:
        raise BadInput(
            say(
                "{what} {name!r}... is longer than {longest_name} characters.",
                what=what,
                name=name[:20],
                longest_name=LONGEST_NAME,
            )
        )
    if _UNSEEN.search(name):
        raise BadInput(
            say(
                "{what} {name!a} has a character that can't be seen; leave it out.",
                what=what,
                name=name,
            )
        )
    if name.startswith(_FORMULA):
        raise BadInput(
            say(
                "{what} {name!r} begins as a formula of a spreadsheet does; begin it with a "
                "letter or a digit.",
                what=what,
                name=name,
            )
        )
    return name


def harmless(text: str) -> str:
    """Return text as a terminal or a page may show it: what can't be seen becomes `?`.

    Line ends and tabs are kept.
    """
    return _UNSEEN.sub(lambda found: found[0] if found[0] in "\n\t" else "?", text)


def as_cell(text: str) -> str:
    """Return text as a cell of a table that a spreadsheet may open: never a formula."""
    text = _UNSEEN.sub("?", text)
    return f"'{text}" if text.startswith(_FORMULA) else text


def shortened(text: str) -> str:
    """Return a name that came from elsewhere as it may be shown: seen, and not too long."""
    return _UNSEEN.sub("?", text)[:LONGEST_NAME]


def read_text(path: Path, hint: str, most_bytes: int = MOST_BYTES) -> str:
    """Return a text file's content, without a byte order mark.

    Parameters
    ----------
    path : path
    hint : str
        What it should be, for the refusal: "save the table as CSV".
    most_bytes : int
        A larger file is none of ours.

    Raises
    ------
    BadInput
        There is none, it cannot be read, it is too large, or it is no text in UTF-8.
    """
    too_large = say(
        "is larger than {mb} MB: is it the right file?", mb=numeral(most_bytes / MB, "g")
    )
    return text_of(read_whole(path, most_bytes, too_large), str(path), hint)


def text_of(data: bytes, name: str, hint: str) -> str:
    """Return the content of a text file that was read or sent; see `read_text`."""
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise BadInput(
            say("{name} is no text file in UTF-8; {hint}.", name=name, hint=hint)
        ) from None
    if "\0" in text:
        line = text.count("\n", 0, text.index("\0")) + 1
        raise BadInput(
            say(
                "{name}, line {line}: a NUL, which no text has; {hint}.",
                name=name,
                line=line,
                hint=hint,
            )
        )
    return text


def read_toml(path: Path, hint: str) -> Mapping[str, object]:
    """Read a TOML file of ours; see `read_text` and `parse_toml`."""
    return parse_toml(read_text(path, hint, MOST_TOML_BYTES), str(path))


def parse_toml(text: str, name: str) -> Mapping[str, object]:
    """Read TOML; `name` is what refusals call it.

    Raises
    ------
    BadInput
        It is no TOML, nests too deeply, or has a number that TOML has not.
    """
    if _LONG_KEY.search(text):
        raise BadInput(say("{name} nests its tables or lists too deeply.", name=name))
    try:
        told = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise BadInput(say("{name} is not valid TOML: {error}.", name=name, error=error)) from None
    except RecursionError:
        raise BadInput(say("{name} nests its tables or lists too deeply.", name=name)) from None
    except ValueError as error:  # more digits than Python takes, a date that there is not
        if "digits" in str(error):
            raise BadInput(
                say("{name} has a whole number that is too large for TOML.", name=name)
            ) from None
        raise BadInput(say("{name} is not valid TOML: {error}.", name=name, error=error)) from None
    _refuse_odd(told, name)
    return told


def toml_string(text: str) -> str:
    """Write a text as a basic string of TOML, which is one of JSON but for U+007F."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _refuse_odd(told: Mapping[str, object], name: str) -> None:
    level: list[object] = [told]
    for _ in range(DEEPEST):
        for value in level:
            if isinstance(value, int) and abs(value) > _LARGEST_INTEGER:
                raise BadInput(
                    say("{name} has a whole number that is too large for TOML.", name=name)
                )
        level = [inner for value in level for inner in _inside(value)]
        if not level:
            return
    raise BadInput(say("{name} nests its tables or lists too deeply.", name=name))


def _inside(value: object) -> Iterator[object]:
    if isinstance(value, dict):
        yield from value.values()
    elif isinstance(value, list):
        yield from value


@dataclass(frozen=True, slots=True)
class Row:
    """One row of a table: its cells by column, without blanks around them.

    Attributes
    ----------
    where : str
        "FILE, line N", for refusals.
    unit : str
        Of bare lengths: mm, cm, m, in or ft.
    """

    where: str
    line: int
    cells: Mapping[str, str]
    unit: str

    def text(self, column: str) -> str:
        """Return a cell, empty where the table lacks the column."""
        return self.cells.get(column, "")

    def length(self, column: str) -> float:
        """Read a cell as a length, in mm.

        Raises
        ------
        BadInput
            It is none.
        """
        try:
            text = with_point(self.cells[column], self.unit)
            return parse_length(text, unit=self.unit, what=column)
        except BadInput as error:
            raise BadInput(put("{where}: {error}", where=self.where, error=error)) from None

    def number(self, column: str) -> float:
        """Read a cell as a finite number.

        Raises
        ------
        BadInput
            It is none.
        """
        text = self.cells[column]
        try:
            number = float(text)
        except ValueError:
            raise BadInput(
                say(
                    "{where}: {column} {text!r} is no number.",
                    where=self.where,
                    column=column,
                    text=text[:40],
                )
            ) from None
        if not math.isfinite(number):
            raise BadInput(
                say(
                    "{where}: {column} {text!r} is not finite.",
                    where=self.where,
                    column=column,
                    text=text[:40],
                )
            )
        return number


def read_table(
    path: Path,
    unit: str,
    needed: tuple[str, ...],
    optional: tuple[str, ...] = (),
    *,
    most: int | None = None,
    thinner: str = say("part the table"),
) -> Iterator[Row]:
    """Read a table with a heading; see `table_rows`."""
    text = read_text(path, say("save the table as CSV"))
    return table_rows(text, str(path), unit, needed, optional, most=most, thinner=thinner)


def table_rows(
    text: str,
    name: str,
    unit: str,
    needed: tuple[str, ...],
    optional: tuple[str, ...] = (),
    *,
    others: bool = False,
    most: int | None = None,
    thinner: str = say("part the table"),
) -> Iterator[Row]:
    """Yield the rows of a table; blank lines are passed over.

    Parameters
    ----------
    text, name : str
        The CSV, and what refusals call it.
    unit : str
        Of bare lengths. A column's name may end in ``_mm`` where it is mm.
    needed, optional : tuple of str
        The columns, in any order.
    others : bool
        Whether there may be columns besides, which are passed over.
    most : int
        Rows that there may be, a million unless said; a table of more is refused before the first
        is read.
    thinner : str
        What to do with a table of more.

    Raises
    ------
    BadInput
        With the line at fault.
    """
    heading = ",".join(needed) + "".join(f"[,{column}]" for column in optional)
    reader = csv.reader(_lines(text, name), strict=True)
    most = MOST_ROWS if most is None else most
    _refuse_too_many(text, name, most, thinner)
    names: list[str] = []
    rows = 0
    try:
        for record in reader:
            if not any(cell.strip() for cell in record):
                continue
            where = say("{name}, line {line_num}", name=name, line_num=reader.line_num)
            if not names:
                names = _columns(record, where, unit, needed, None if others else optional, heading)
                continue
            if len(record) != len(names):
                raise BadInput(
                    say(
                        "{where}: {cells}, but the heading names {names}.",
                        where=where,
                        cells=say_many("{count} cell", "{count} cells", len(record)),
                        names=len(names),
                    )
                )
            rows += 1
            if rows > most:
                raise BadInput(
                    say(
                        "{where}: more than {most} rows; {thinner}.",
                        where=where,
                        most=most,
                        thinner=thinner,
                    )
                )
            cells = dict(zip(names, (cell.strip() for cell in record), strict=True))
            yield Row(where, reader.line_num, cells, unit)
    except csv.Error as error:
        raise BadInput(
            say(
                "{name}, line {line_num}: {error}.",
                name=name,
                line_num=reader.line_num,
                error=error,
            )
        ) from None
    if not names:
        raise BadInput(
            say(
                "{name} is empty; it needs a heading {heading} and rows.",
                name=name,
                heading=heading,
            )
        )


def _refuse_too_many(text: str, name: str, most: int, thinner: str) -> None:
    if text.count("\n") <= most:
        return
    rows = sum(1 for line in text.splitlines() if line.strip(" \t,")) - 1
    if rows > most:
        raise BadInput(
            say(
                "{name} has {rows} rows, and more than {most} cannot be worked with; {thinner}.",
                name=name,
                rows=rows,
                most=most,
                thinner=thinner,
            )
        )


def no_rows(name: Path) -> BadInput:
    """Return the refusal of a table that has nothing but its heading."""
    return BadInput(say("{name} has a heading but no rows.", name=name))


def _lines(text: str, name: str) -> Iterator[str]:
    for number, line in enumerate(text.splitlines(), 1):
        if len(line) > LONGEST_LINE:
            raise BadInput(
                say(
                    "{name}, line {number}: longer than {longest_line} characters.",
                    name=name,
                    number=number,
                    longest_line=LONGEST_LINE,
                )
            )
        yield line


def _columns(
    record: list[str],
    where: str,
    unit: str,
    needed: tuple[str, ...],
    optional: tuple[str, ...] | None,
    heading: str,
) -> list[str]:
    names: list[str] = []
    for cell in record:
        column = cell.strip().lower()
        if column.endswith("_mm") and optional is not None:
            if unit != "mm":
                raise BadInput(
                    say(
                        "{where}: column {column} is in mm, but --unit is {unit}.",
                        where=where,
                        column=column,
                        unit=unit,
                    )
                )
            column = column.removesuffix("_mm")
        if optional is not None and column not in needed + optional:
            raise BadInput(
                say(
                    "{where}: column {cell!r} is not known; it takes {heading}. Its cells must be "
                    "parted by commas."
                    if re.search(r"[;\t]", cell)
                    else "{where}: column {cell!r} is not known; it takes {heading}.",
                    where=where,
                    cell=cell[:80],
                    heading=heading,
                )
            )
        if column in names and (optional is not None or column in needed):
            raise BadInput(
                say("{where}: column {cell!r} stands twice.", where=where, cell=cell[:80])
            )
        names.append(column)
    missing = [column for column in needed if column not in names]
    if missing:
        raise BadInput(
            say(
                "{where}: column {missing!r} is missing; the heading is {heading}.",
                where=where,
                missing=missing[0],
                heading=heading,
            )
        )
    return names
