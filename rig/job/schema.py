"""The tables of a job file, how it is known as ours, and how an older one is brought up to date.

The version of the tables is SQLite's `user_version`; `application_id` says whose file it is.
"""

import sqlite3
from collections.abc import Callable, Sequence

from rig.errors import JobUnusable
from rig.job.identity import derived_uid
from rig.job.trouble import damaged
from rig.language import say

APPLICATION_ID = 0x66914008  # drawn at random once; never to be changed

Migration = Callable[[sqlite3.Connection], None]

# Finite numbers only: SQLite turns NaN into NULL, and 9e999 is its infinity.
_VERSION_1 = (
    """CREATE TABLE job (
        id INTEGER PRIMARY KEY CHECK (id = 1),
        made_utc_s REAL NOT NULL,
        units TEXT NOT NULL CHECK (units IN ('in', 'mm')),
        denominator INTEGER NOT NULL CHECK (denominator > 0),
        covering TEXT,
        min_cover_mm REAL CHECK (min_cover_mm >= 0 AND min_cover_mm < 9e999),
        max_cover_mm REAL CHECK (max_cover_mm >= 0 AND max_cover_mm < 9e999),
        bag_yield_l REAL CHECK (bag_yield_l >= 0 AND bag_yield_l < 9e999),
        bag_mass_kg REAL CHECK (bag_mass_kg >= 0 AND bag_mass_kg < 9e999),
        bag_water_l REAL CHECK (bag_water_l >= 0 AND bag_water_l < 9e999),
        waste_share REAL CHECK (waste_share >= 0 AND waste_share < 9e999),
        other TEXT NOT NULL DEFAULT '{}'    -- JSON: settings that have no column
    ) STRICT""",
    """CREATE TABLE outline (
        id INTEGER PRIMARY KEY,
        ring INTEGER NOT NULL CHECK (ring >= 0),    -- 0 the walls, 1 and up the openings
        corner INTEGER NOT NULL CHECK (corner >= 0),
        x_mm REAL NOT NULL CHECK (abs(x_mm) < 9e999),
        y_mm REAL NOT NULL CHECK (abs(y_mm) < 9e999),
        UNIQUE (ring, corner)
    ) STRICT""",
    """CREATE TABLE door (
        id INTEGER PRIMARY KEY,
        x_mm REAL NOT NULL CHECK (abs(x_mm) < 9e999),
        y_mm REAL NOT NULL CHECK (abs(y_mm) < 9e999),
        end_x_mm REAL NOT NULL CHECK (abs(end_x_mm) < 9e999),
        end_y_mm REAL NOT NULL CHECK (abs(end_y_mm) < 9e999)
    ) STRICT""",
    """CREATE TABLE setup (
        id INTEGER PRIMARY KEY,
        name TEXT NOT NULL UNIQUE CHECK (name <> '')
    ) STRICT""",
    """CREATE TABLE session (
        id INTEGER PRIMARY KEY,
        kind TEXT NOT NULL,
        setup_id INTEGER NOT NULL REFERENCES setup (id),
        source TEXT NOT NULL,
        profile_text TEXT NOT NULL,
        capture TEXT NOT NULL,              -- JSON: the capture settings
        boot_id TEXT NOT NULL,
        utc_s REAL NOT NULL CHECK (abs(utc_s) < 9e999),     -- at time 0 of the session
        monotonic_s REAL CHECK (abs(monotonic_s) < 9e999)   -- the machine's clock then
    ) STRICT""",
    """CREATE TABLE point (
        id INTEGER PRIMARY KEY,
        label TEXT NOT NULL UNIQUE CHECK (label <> ''),
        x_mm REAL NOT NULL CHECK (abs(x_mm) < 9e999),
        y_mm REAL NOT NULL CHECK (abs(y_mm) < 9e999),
        "order" INTEGER NOT NULL
    ) STRICT""",
    """CREATE TABLE reading (
        id INTEGER PRIMARY KEY,
        session_id INTEGER NOT NULL REFERENCES session (id),
        time_s REAL NOT NULL CHECK (abs(time_s) < 9e999),
        utc_s REAL NOT NULL CHECK (abs(utc_s) < 9e999),
        raw TEXT NOT NULL,
        value_mm REAL CHECK (abs(value_mm) < 9e999),
        status TEXT NOT NULL,
        seq INTEGER
    ) STRICT""",
    """CREATE TABLE shot (
        id INTEGER PRIMARY KEY,
        session_id INTEGER REFERENCES session (id),     -- null for an import
        setup_id INTEGER NOT NULL REFERENCES setup (id),
        point TEXT NOT NULL CHECK (point <> ''),        -- the label
        x_mm REAL CHECK (abs(x_mm) < 9e999),
        y_mm REAL CHECK (abs(y_mm) < 9e999),
        reading_mm REAL NOT NULL CHECK (abs(reading_mm) < 9e999),
        stderr_mm REAL NOT NULL CHECK (stderr_mm >= 0 AND stderr_mm < 9e999),
        n INTEGER NOT NULL CHECK (n >= 1),
        kind TEXT NOT NULL
            CHECK (kind IN ('floor', 'benchmark', 'threshold', 'marker', 'finished')),
        time_s REAL CHECK (abs(time_s) < 9e999),        -- in its session
        utc_s REAL NOT NULL CHECK (abs(utc_s) < 9e999),
        superseded_by INTEGER REFERENCES shot (id) DEFERRABLE INITIALLY DEFERRED,
        CHECK ((x_mm IS NULL) = (y_mm IS NULL)),
        CHECK (x_mm IS NOT NULL OR kind = 'benchmark')
    ) STRICT""",
    # One current shot of a kind at a label; a benchmark has one in each set-up.
    """CREATE UNIQUE INDEX shot_current
        ON shot (point, kind, CASE kind WHEN 'benchmark' THEN setup_id ELSE 0 END)
        WHERE superseded_by IS NULL""",
    """CREATE TABLE "check" (
        id INTEGER PRIMARY KEY,
        session_id INTEGER REFERENCES session (id),
        utc_s REAL NOT NULL CHECK (abs(utc_s) < 9e999),
        kind TEXT NOT NULL,                 -- two-peg, cross, repeat, drift
        inputs TEXT NOT NULL,               -- JSON
        result TEXT NOT NULL,               -- JSON
        ok INTEGER NOT NULL CHECK (ok IN (0, 1))
    ) STRICT""",
    """CREATE TABLE "plan" (
        id INTEGER PRIMARY KEY,
        utc_s REAL NOT NULL CHECK (abs(utc_s) < 9e999),
        inputs TEXT NOT NULL,               -- JSON
        result TEXT NOT NULL,               -- JSON
        a REAL NOT NULL CHECK (abs(a) < 9e999),     -- z = a + b·x + c·y, in mm
        b REAL NOT NULL CHECK (abs(b) < 9e999),
        c REAL NOT NULL CHECK (abs(c) < 9e999),
        shot_hash TEXT NOT NULL,
        shot_ids TEXT NOT NULL,             -- JSON: the shots it stands on
        basis TEXT NOT NULL                 -- JSON: the settings and the outline it stands on
    ) STRICT""",
    """CREATE TABLE marker (
        id INTEGER PRIMARY KEY,
        plan_id INTEGER NOT NULL REFERENCES "plan" (id),
        layout INTEGER NOT NULL,            -- the highest is the current one
        label TEXT NOT NULL CHECK (label <> ''),
        x_mm REAL NOT NULL CHECK (abs(x_mm) < 9e999),
        y_mm REAL NOT NULL CHECK (abs(y_mm) < 9e999),
        "order" INTEGER NOT NULL,
        target_reading_mm REAL NOT NULL CHECK (abs(target_reading_mm) < 9e999),
        stick_out_mm REAL NOT NULL CHECK (abs(stick_out_mm) < 9e999),
        stick_out_stderr_mm REAL NOT NULL
            CHECK (stick_out_stderr_mm >= 0 AND stick_out_stderr_mm < 9e999),
        residual_mm REAL CHECK (abs(residual_mm) < 9e999),  -- null until set
        shot_id INTEGER REFERENCES shot (id),
        set_utc_s REAL CHECK (abs(set_utc_s) < 9e999),
        UNIQUE (layout, label)
    ) STRICT""",
    """CREATE TABLE batch (
        id INTEGER PRIMARY KEY,
        n INTEGER NOT NULL CHECK (n >= 1),
        bags REAL NOT NULL CHECK (bags > 0 AND bags < 9e999),
        water_l REAL CHECK (water_l >= 0 AND water_l < 9e999),
        volume_l REAL CHECK (volume_l >= 0 AND volume_l < 9e999),
        mix_s REAL CHECK (abs(mix_s) < 9e999),      -- planned start of mixing, from the pour's
        pour_s REAL CHECK (abs(pour_s) < 9e999),
        x_mm REAL CHECK (abs(x_mm) < 9e999),
        y_mm REAL CHECK (abs(y_mm) < 9e999),
        session_id INTEGER REFERENCES session (id), -- the pour that carried it out
        mixed_utc_s REAL CHECK (abs(mixed_utc_s) < 9e999),
        poured_utc_s REAL CHECK (abs(poured_utc_s) < 9e999)
    ) STRICT""",
    """CREATE TABLE material_rule (
        id INTEGER PRIMARY KEY,
        key TEXT NOT NULL UNIQUE CHECK (key <> ''),
        text TEXT NOT NULL,
        source TEXT NOT NULL,
        per TEXT NOT NULL CHECK (per IN ('m2', 'm', 'bag', 'job')),
        amount REAL NOT NULL CHECK (amount >= 0 AND amount < 9e999),
        unit TEXT NOT NULL,                 -- of the amount: l, kg, m2, m, piece
        package REAL CHECK (package > 0 AND package < 9e999)    -- amount in what is sold as one
    ) STRICT""",
    """CREATE TABLE event (
        id INTEGER PRIMARY KEY,
        session_id INTEGER REFERENCES session (id),     -- null for an act outside any session
        reading_id INTEGER REFERENCES reading (id),     -- the last reading before it
        time_s REAL CHECK (abs(time_s) < 9e999),
        utc_s REAL NOT NULL CHECK (abs(utc_s) < 9e999),
        kind TEXT NOT NULL CHECK (kind <> ''),
        data TEXT NOT NULL                  -- JSON
    ) STRICT""",
)

LATER = (
    ("job", "uid TEXT CHECK (length(uid) = 32)"),  # which job it is, in every copy of it
    ("session", "rod TEXT CHECK (rod <> '')"),  # of several rods of a site; null for one rod
    ("reading", "box_s REAL CHECK (abs(box_s) < 9e999)"),  # the steady clock at the rod
    ("setup", "stand TEXT CHECK (stand <> '')"),  # where the laser stands, for several rods
)
"""Columns that came after the first tables: each table and what SQLite is told of the column."""

TABLES = frozenset(
    {
        "job",
        "outline",
        "door",
        "setup",
        "session",
        "point",
        "reading",
        "shot",
        "check",
        "plan",
        "marker",
        "batch",
        "material_rule",
        "event",
    }
)


def _first_tables(connection: sqlite3.Connection) -> None:
    for statement in _VERSION_1:
        connection.execute(statement)


def _identity(connection: sqlite3.Connection) -> None:
    """Tell whose a file is, and which of several rods a session and a reading came from."""
    for table, column in LATER:
        connection.execute(f'ALTER TABLE "{table}" ADD COLUMN {column}')
    uid = derived_uid(connection)
    connection.execute("UPDATE job SET uid = ?", (uid,))


# Number i brings a file from version i to i + 1; they are only ever added to. SQLite's foreign keys
# are off meanwhile, so a migration may rebuild a table with sqlite-utils' `transform`; it imports
# that itself, for it costs every new job a quarter of a second where pandas is installed.
MIGRATIONS: Sequence[Migration] = (_first_tables, _identity)


def version_of(connection: sqlite3.Connection, path: str) -> int:
    """Return the version of a job file's tables.

    Raises
    ------
    JobUnusable
        If the file is an SQLite database that is not a job file, a newer one than this program
        knows, or holds a trigger, a view or a virtual table, each in its own sentence.
    sqlite3.Error
        As SQLite finds it.
    """
    (application,) = connection.execute("PRAGMA application_id").fetchone()
    (version,) = connection.execute("PRAGMA user_version").fetchone()
    if application != APPLICATION_ID:
        raise JobUnusable(
            say(
                "{path} is an SQLite database, but not a job file: it belongs to another program.",
                path=path,
            )
        )
    if version > len(MIGRATIONS):
        raise JobUnusable(
            say(
                "{path} was made by a newer floor-rig (its version is {version}, this program "
                "knows {migrations}). Update floor-rig to use it.",
                path=path,
                version=version,
                migrations=len(MIGRATIONS),
            )
        )
    if version < 1:
        raise damaged(path, say("its version is {version}", version=version))
    # A file from elsewhere must not bring its own doings: none of ours has a trigger or a view.
    alien = connection.execute(
        "SELECT name FROM sqlite_schema "
        "WHERE type NOT IN ('table', 'index') OR sql LIKE 'CREATE VIRTUAL%' LIMIT 1"
    ).fetchone()
    if alien is not None:
        raise JobUnusable(
            say(
                "{path} holds {alien!r}, which does something of its own and is in no job "
                "file: do not trust where it came from.",
                path=path,
                alien=str(alien[0])[:40],
            )
        )
    return int(version)


def examine(connection: sqlite3.Connection, path: str) -> None:
    """See that a job file of the current version is whole.

    Raises
    ------
    JobUnusable
        If SQLite finds it damaged or a table is missing.
    """
    (verdict,) = connection.execute("PRAGMA quick_check(1)").fetchone()
    if verdict != "ok":
        raise damaged(path, " ".join(str(verdict).split()))
    there = {name for (name,) in connection.execute("SELECT name FROM sqlite_schema")}
    missing = sorted(TABLES - there)
    if missing:
        raise damaged(path, say("the table {missing} is missing", missing=missing[0]))
    if connection.execute("SELECT id FROM job").fetchall() != [(1,)]:
        raise damaged(path, say("it has no settings"))


def migrate(connection: sqlite3.Connection, path: str) -> None:
    """Bring the tables from the file's version to the current one, all or nothing.

    Parameters
    ----------
    connection : sqlite3.Connection
        In autocommit, outside a transaction, with foreign keys off; an empty database is
        version 0.
    path : str
        For the messages.
    """
    connection.execute("BEGIN IMMEDIATE")
    try:
        (version,) = connection.execute("PRAGMA user_version").fetchone()
        for step in MIGRATIONS[version:]:
            step(connection)
        if connection.execute("PRAGMA foreign_key_check").fetchone():
            raise damaged(path, say("a row points at one that is not there"))
        connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        connection.execute(f"PRAGMA user_version = {len(MIGRATIONS)}")
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise
