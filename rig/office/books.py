"""The books: one Delta table of job versions, a row each, made from the shelf and makeable anew.

A commit has whole rows or none. One that was made but not acknowledged makes a row twice, which the
view `job` takes away: there each job is one row, that of the version that has come farthest.
"""

import contextlib
import hashlib
import json
import os
import random
import re
import tempfile
import time
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from rig.errors import CannotAnswer, OfficeUnavailable
from rig.job.snapshot import Heads
from rig.office.extract import COLUMNS, Row
from rig.words import office as words

if TYPE_CHECKING:
    from deltalake import DeltaTable
    from duckdb import DuckDBPyConnection

    from rig.office.place import Place

JOB, AGAIN = "job", "again"
_TRIES = 30
_MANY_FILES = 64
_LEAST_OBJECT = 16 << 20
_STRUCT = re.compile(r"[(,]\s*(\w+) ")
"""Names of the fields in a column's type."""
HIDDEN = ("forks", "digest")
LISTS = ("shots", "checks", "markers", "pours", "proofs")
"""Columns that are lists: a view each of its own, beside `job`."""


@dataclass(frozen=True, slots=True)
class Version:
    """A job version that the books have."""

    uid: str
    content: str
    heads: Heads


@dataclass(frozen=True, slots=True)
class Only:
    """Which jobs a question is of; None is no limit."""

    crew: str | None = None
    product: str | None = None
    laser: str | None = None
    since_utc_s: float | None = None

    def where(self) -> str:
        """Return it as SQL."""
        named = (("crew", self.crew), ("product", self.product), ("laser", self.laser))
        told = [f"{name} = {_quoted(value)}" for name, value in named if value is not None]
        if self.since_utc_s is not None:
            told.append(f"last_utc_s >= {float(self.since_utc_s)!r}")
        return " AND ".join(told) or "true"


def append(
    place: "Place", rows: Sequence[Row], name: str = JOB, columns: Mapping[str, str] = COLUMNS
) -> None:
    """Add rows in one commit; other takers' commits at the same time are waited out.

    A table of other columns, as an older version made it, is begun anew by the same commit.

    Raises
    ------
    OfficeUnavailable
        The table cannot be written.
    """
    import duckdb
    from deltalake import WriterProperties, write_deltalake
    from deltalake.exceptions import DeltaError

    lines = [json.dumps(row, allow_nan=False) for row in rows]
    longest = max(_LEAST_OBJECT, 2 * max(map(len, lines), default=0))
    with tempfile.TemporaryDirectory(prefix="rig-") as folder, duckdb.connect() as connection:
        file = Path(folder, "rows.json")
        file.write_text("\n".join(lines) + "\n", encoding="utf-8")
        for attempt in range(_TRIES):
            made = connection.read_json(
                str(file),
                columns=dict(columns),
                format="newline_delimited",
                maximum_object_size=longest,
            )
            try:
                stale = _is_stale(_table(place, name), columns)
                write_deltalake(
                    _address(place, name),
                    made,
                    mode="overwrite" if stale else "append",
                    schema_mode="overwrite" if stale else None,
                    storage_options=place.storage_options,
                    writer_properties=WriterProperties(compression="ZSTD"),
                )
                return
            except DeltaError as error:
                if attempt + 1 == _TRIES:
                    raise OfficeUnavailable(words.not_reached(place.given)) from error
                time.sleep(random.uniform(0.02, 0.1 * (attempt + 1)))
            except OSError as error:
                raise OfficeUnavailable(words.not_reached(place.given)) from error


def compact(place: "Place", name: str = JOB) -> None:
    """Put many small files of the table together; another time where somebody writes meanwhile."""
    from deltalake.exceptions import DeltaError

    table = _table(place, name)
    if table is None or len(table.file_uris()) < _MANY_FILES:
        return
    with contextlib.suppress(DeltaError):
        table.optimize.compact()


def versions(place: "Place") -> list[Version]:
    """Return every job version that the books have, each once."""
    table = _table(place, JOB)
    if table is None or _is_stale(table, COLUMNS):
        return []
    with opened(place) as connection:
        rows = connection.execute(
            "SELECT DISTINCT uid, content, readings, events, shots_ever, digest FROM version "
            "ORDER BY uid, readings + events + shots_ever, content"
        ).fetchall()
    return [Version(uid, content, Heads(*heads)) for uid, content, *heads in rows]


def commits(place: "Place") -> int:
    """Return how often the books were written."""
    table = _table(place, JOB)
    return 0 if table is None else table.version() + 1


def forked(place: "Place") -> list[str]:
    """Return the jobs of which two copies were gone on with."""
    table = _table(place, JOB)
    if table is None or _is_stale(table, COLUMNS):
        return []
    with opened(place) as connection:
        found = connection.execute("SELECT uid FROM job WHERE fork ORDER BY uid").fetchall()
    return [uid for (uid,) in found]


def as_of(place: "Place") -> str:
    """Return when the books were last written, as ISO 8601 in UTC."""
    table = _table(place, JOB)
    if table is None:
        raise CannotAnswer(words.no_books())
    at = table.history(1)[0]["timestamp"] / 1000.0
    return time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(at))


@contextlib.contextmanager
def opened(place: "Place", only: Only | None = None) -> "Iterator[DuckDBPyConnection]":
    """Open the books to ask: the table `version` as it is, the view `job`, one of each list.

    Raises
    ------
    CannotAnswer
        Where nothing was taken yet.
    """
    with plain(place, JOB) as connection:
        _make_view(connection, only or Only())
        yield connection


@contextlib.contextmanager
def plain(place: "Place", name: str) -> "Iterator[DuckDBPyConnection]":
    """Open one table as it is, as `version`.

    Only what the table lists may be read from here, and nothing can be written.

    Raises
    ------
    CannotAnswer
        Where nothing was taken yet.
    """
    import duckdb

    table = _table(place, name)
    files = [] if table is None else _files(place, table)
    if not files:
        raise CannotAnswer(words.no_books())
    if name == JOB and _is_stale(table, COLUMNS):
        raise CannotAnswer(words.older_books())
    with duckdb.connect() as connection:
        listed = ", ".join(_quoted(file) for file in files)
        connection.execute(f"SET allowed_paths = [{listed}]")
        connection.execute("SET enable_external_access = false")
        connection.execute("SET lock_configuration = true")
        source = f"read_parquet([{listed}], filename = true, file_row_number = true)"
        connection.execute(f"CREATE VIEW version AS SELECT * FROM {source}")
        yield connection


def _make_view(connection: "DuckDBPyConnection", only: Only) -> None:
    hidden = ", ".join((*HIDDEN, "filename", "file_row_number"))
    ((rows, jobs),) = connection.execute(
        "SELECT count(*), count(DISTINCT uid) FROM version"
    ).fetchall()
    if rows == jobs:  # each job once: no need to look for the newest
        join, fork = "", "len(v.forks) > 0"
    else:
        connection.execute(
            """CREATE TEMP TABLE newest AS SELECT uid, bool_or(len(forks) > 0) AS fork,
            arg_max({'file': filename, 'nth': file_row_number},
                    {'rows': readings + events + shots_ever, 'last': last_utc_s, 'name': content})
            AS at FROM version GROUP BY uid"""
        )
        join = "JOIN newest n ON v.filename = n.at.file AND v.file_row_number = n.at.nth"
        fork = "n.fork"
    connection.execute(
        f"CREATE VIEW job AS SELECT v.* EXCLUDE ({hidden}), {fork} AS fork "
        f"FROM version v {join} WHERE {only.where()}"
    )
    _make_lists(connection)


def _make_lists(connection: "DuckDBPyConnection") -> None:
    for name in LISTS:
        connection.execute(
            f"CREATE VIEW {name} AS SELECT uid, crew, laser, nth, one.* FROM (SELECT uid, crew, "
            f"laser, unnest({name}) AS one, generate_subscripts({name}, 1) AS nth FROM job)"
        )


def _quoted(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"


def _address(place: "Place", name: str) -> str:
    return f"{place.url}/books/{name}"


def _table(place: "Place", name: str) -> "DeltaTable | None":
    from deltalake import DeltaTable
    from deltalake.exceptions import DeltaError, TableNotFoundError

    try:
        return DeltaTable(_address(place, name), storage_options=place.storage_options)
    except TableNotFoundError:
        return None
    except (DeltaError, OSError) as error:
        raise OfficeUnavailable(words.not_reached(place.given)) from error


def _is_stale(table: "DeltaTable | None", columns: Mapping[str, str]) -> bool:
    """Whether a table has other columns than this version's, nested ones included."""
    if table is None:
        return False
    told = json.loads(table.schema().to_json())["fields"]
    there = {name for one in told for name in (one["name"], *_nested(one["type"]))}
    wanted = {name for one in columns.items() for name in (one[0], *_STRUCT.findall(one[1]))}
    return there != wanted


def _nested(kind: object) -> list[str]:
    inner = kind.get("elementType") if isinstance(kind, dict) else None
    return [one["name"] for one in inner["fields"]] if isinstance(inner, dict) else []


def _files(place: "Place", table: "DeltaTable") -> list[str]:
    """Return the table's files as DuckDB can read them: a store's are kept here once fetched."""
    if place.is_folder:
        return sorted(table.file_uris())
    import obstore

    address = hashlib.sha256(table.table_uri.encode()).hexdigest()[:16]
    folder = _cache_folder() / address
    folder.mkdir(parents=True, exist_ok=True)
    wanted = {Path(uri).name: uri for uri in table.file_uris()}
    for old in folder.iterdir():
        if old.name not in wanted:
            old.unlink(missing_ok=True)
    for name, uri in wanted.items():
        if not (folder / name).exists():
            with place.in_words():
                data = bytes(obstore.get(place.store, uri.removeprefix(place.url + "/")).bytes())
            draft = folder / f".{name}.{os.getpid()}"
            draft.write_bytes(data)
            draft.replace(folder / name)
    return sorted(str(folder / name) for name in wanted)


def _cache_folder() -> Path:
    given = os.environ.get("XDG_CACHE_HOME", "")
    return (Path(given) if os.path.isabs(given) else Path.home() / ".cache") / "floor-rig" / "books"
