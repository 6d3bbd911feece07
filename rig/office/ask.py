"""Questions to the books: an SQL file each over the view `job`, its columns told in TOML."""

import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rig.errors import BadInput
from rig.office import books
from rig.office.books import Only
from rig.record import Record, from_json
from rig.texts import read_text
from rig.words import office as words

if TYPE_CHECKING:
    from rig.office.place import Place

_MOST_SQL = 100_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Question(Record):
    """What a question tells, and the unit of each of its columns, in their order."""

    text: str
    columns: Mapping[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer(Record):
    """Rows of the books, how many jobs they are of, and when the books were written."""

    rows: tuple[Mapping[str, Any], ...]
    jobs: int
    as_of: str


@cache
def questions() -> Mapping[str, Question]:
    """Return the questions that there are, by their keys."""
    told = tomllib.loads(_file("questions.toml"))
    return {key: from_json(Question, one) for key, one in told.items()}


def ask(place: "Place", key: str, only: Only | None = None) -> Answer:
    """Answer a question by its key.

    Raises
    ------
    BadInput
        There is no such question.
    CannotAnswer
        Where nothing was taken yet.
    """
    return _answer(place, sql_of(key), only)


def sql_of(key: str) -> str:
    """Return a question's SQL, as DuckDB and most others read it.

    Raises
    ------
    BadInput
        There is no such question.
    """
    if key not in questions():
        raise BadInput(words.no_question(key[:40], list(questions())))
    return _file(f"{key}.sql")


def ask_sql(place: "Place", path: Path, only: Only | None = None) -> Answer:
    """Answer a question that the user wrote in SQL over the view `job`.

    Raises
    ------
    BadInput
        Where the SQL cannot be run; the engine's own words say why.
    """
    import duckdb

    sql = read_text(path, words.sql_is(), _MOST_SQL)
    try:
        return _answer(place, sql, only)
    except duckdb.Error as error:
        raise BadInput(words.bad_sql(str(path), str(error).splitlines()[0])) from error


def _answer(place: "Place", sql: str, only: Only | None) -> Answer:
    with books.opened(place, only) as connection:
        (jobs,) = connection.execute("SELECT count(*) FROM job").fetchone() or (0,)
        found = connection.execute(sql)
        names = [column[0] for column in found.description or ()]
        rows = [dict(zip(names, map(plain_value, row), strict=True)) for row in found.fetchall()]
    return Answer(rows=tuple(rows), jobs=jobs, as_of=books.as_of(place))


def plain_value(value: Any) -> Any:
    """Return a value as JSON can hold it."""
    if value is None or isinstance(value, bool | int | str):
        return value
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, list | tuple):
        return [plain_value(one) for one in value]
    if isinstance(value, dict):
        return {name: plain_value(one) for name, one in value.items()}
    return str(value)


def _file(name: str) -> str:
    return files("rig.office").joinpath("questions", name).read_text(encoding="utf-8")
