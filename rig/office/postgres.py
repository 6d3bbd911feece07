"""The named questions asked of a PostgreSQL that a company has already, by Ibis.

The books stay what they are: their rows are copied into a schema of that database, whole or not at
all, whenever the books are ahead of it, and it may be dropped at any time. The questions are the
same files, put into PostgreSQL's words by Ibis's own translator.
"""

import contextlib
import hashlib
import os
from collections.abc import Iterator, Mapping
from decimal import Decimal
from typing import TYPE_CHECKING, Any, NamedTuple
from urllib.parse import parse_qs, urlsplit

from rig.errors import BadInput, OfficeUnavailable
from rig.office import books
from rig.office.ask import Answer, plain_value, sql_of
from rig.office.books import LISTS, Only
from rig.office.extract import COLUMNS
from rig.words import office as words

if TYPE_CHECKING:
    from duckdb import DuckDBPyConnection

    from rig.office.place import Place

SCHEMA = "floor_rig"
_PATIENCE_S = 10
_KINDS: Mapping[str, str] = {
    "VARCHAR": 'text COLLATE "C"',
    "DOUBLE": "double precision",
    "BIGINT": "bigint",
    "INTEGER": "integer",
    "BOOLEAN": "boolean",
}


class _At(NamedTuple):
    """Where a database is; the password comes from `PGPASSWORD` or PostgreSQL's own file."""

    host: str | None
    port: int
    user: str | None
    database: str | None


def ask_postgres(place: "Place", key: str, address: str, only: Only | None = None) -> Answer:
    """Answer a question by its key from a PostgreSQL database.

    Parameters
    ----------
    place : Place
    key : str
    address : str
        As postgresql://user@host:5432/database; a folder as host is that of a socket.

    Raises
    ------
    BadInput
        The address is none, or bears a password, which every process of the machine would see.
    OfficeUnavailable
        The database cannot be reached or used.
    """
    sql = sql_of(key)
    at = _at(address)
    with _connected(at) as connection:
        _bring(place, connection)
        with connection.cursor() as cursor:
            for name, told in _views(only or Only()).items():
                cursor.execute(f"CREATE TEMP VIEW {name} AS {told}")
            cursor.execute("SELECT count(*) FROM pg_temp.job")
            (jobs,) = cursor.fetchone() or (0,)
            cursor.execute(_in_its_words(sql))
            names = [column.name for column in cursor.description or ()]
            rows = [
                {name: _plain(value) for name, value in zip(names, row, strict=True)}
                for row in cursor.fetchall()
            ]
        connection.rollback()
    return Answer(rows=tuple(rows), jobs=jobs, as_of=books.as_of(place))


def _at(address: str) -> _At:
    try:
        told = urlsplit(address)
        port = told.port or 5432
    except ValueError:
        raise BadInput(words.no_database()) from None
    if told.scheme not in ("postgresql", "postgres") or not told.path.strip("/"):
        raise BadInput(words.no_database())
    if told.password is not None or "password" in parse_qs(told.query):
        raise BadInput(words.password_in_address())
    hosts = parse_qs(told.query).get("host")
    return _At(hosts[0] if hosts else told.hostname, port, told.username, told.path.strip("/"))


@contextlib.contextmanager
def _connected(at: _At) -> Iterator[Any]:
    """Connect by Ibis; what the database says of an account is not repeated, it may name it."""
    import ibis
    import psycopg

    os.environ.setdefault("PGCONNECT_TIMEOUT", str(_PATIENCE_S))
    try:
        made = ibis.postgres.connect(
            host=at.host, port=at.port, user=at.user, database=at.database, password=None
        )
        connection = made.con
    except psycopg.Error as error:
        raise OfficeUnavailable(words.database_not_reached(at.host or "", at.database or "")) from (
            error
        )
    try:
        connection.rollback()
        connection.autocommit = False
        yield connection
    except psycopg.Error as error:
        raise OfficeUnavailable(words.database_not_used(at.database or "", _reason(error))) from (
            error
        )
    finally:
        with contextlib.suppress(psycopg.Error):
            made.disconnect()


def _reason(error: Exception) -> str:
    return str(error).splitlines()[0][:200] if str(error) else type(error).__name__


def _bring(place: "Place", connection: Any) -> None:
    """Copy the books there where they are ahead, in one transaction."""
    stand = f"{hashlib.sha256(place.url.encode()).hexdigest()[:16]} {books.commits(place)}"
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_xact_lock(hashtext(%s))", [SCHEMA])
        cursor.execute("SELECT to_regclass(%s)", [f"{SCHEMA}.stand"])
        ((there,),) = cursor.fetchall()
        if there is not None:
            cursor.execute(f"SELECT books FROM {SCHEMA}.stand")
            if cursor.fetchall() == [(stand,)]:
                connection.rollback()
                return
        cursor.execute(f"DROP SCHEMA IF EXISTS {SCHEMA} CASCADE")
        cursor.execute(f"CREATE SCHEMA {SCHEMA}")
        with books.opened(place) as books_there:
            for name, columns in _tables().items():
                _copy(cursor, books_there, name, columns)
        cursor.execute(f"CREATE TABLE {SCHEMA}.stand (books text)")
        cursor.execute(f"INSERT INTO {SCHEMA}.stand VALUES (%s)", [stand])
    connection.commit()


def _tables() -> dict[str, dict[str, str]]:
    """Return the tables with their columns; shots no named question reads."""
    whole = {name: kind for name, kind in COLUMNS.items() if kind in _KINDS}
    made = {"job": {k: v for k, v in whole.items() if k not in books.HIDDEN} | {"fork": "BOOLEAN"}}
    for name in LISTS:
        if name != "shots":
            inner = COLUMNS[name].removeprefix("STRUCT(").removesuffix(")[]").split(", ")
            fields = dict(one.split(" ", 1) for one in inner)
            made[name] = {"uid": "VARCHAR", "nth": "BIGINT", **fields}
    return made


def _copy(
    cursor: Any, books_there: "DuckDBPyConnection", name: str, columns: Mapping[str, str]
) -> None:
    told = ", ".join(f"{column} {_KINDS[kind]}" for column, kind in columns.items())
    cursor.execute(f"CREATE TABLE {SCHEMA}.{name} ({told})")
    found = books_there.execute(f"SELECT {', '.join(columns)} FROM {name}")
    with cursor.copy(f"COPY {SCHEMA}.{name} ({', '.join(columns)}) FROM STDIN") as copy:
        while rows := found.fetchmany(10_000):
            for row in rows:
                copy.write_row(row)
    cursor.execute(f"ANALYZE {SCHEMA}.{name}")


def _views(only: Only) -> dict[str, str]:
    """Return the views that the questions know, of the jobs that are asked for."""
    made = {"job": f"SELECT * FROM {SCHEMA}.job WHERE {only.where()}"}
    for name in _tables():
        if name != "job":
            made[name] = (
                f"SELECT one.*, job.crew, job.laser FROM {SCHEMA}.{name} AS one "
                "JOIN pg_temp.job USING (uid)"
            )
    return made


def _in_its_words(sql: str) -> str:
    import sqlglot  # what Ibis itself translates with

    (told,) = sqlglot.transpile(sql, read="duckdb", write="postgres")
    return told


def _plain(value: Any) -> Any:
    return plain_value(float(value) if isinstance(value, Decimal) else value)
