"""The same questions asked of a PostgreSQL of the test's own: the same rows as the books give.

The server is Debian's (`tools/test` installs it or says so); it listens on a socket alone.
"""

import contextlib
import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from rig.office.ask import questions
from tests.cli.conftest import Run
from tests.office.conftest import Company

NOBODY = "nobody" if os.geteuid() == 0 else None  # the server does not run as root
PASSWORD = "never-to-be-told"


def program(name: str) -> str:
    """Find a program of the newest server that is here."""
    found = sorted(Path("/usr/lib/postgresql").glob(f"*/bin/{name}"))
    path = str(found[-1]) if found else shutil.which(name)
    assert path, "PostgreSQL is missing: sudo apt-get install postgresql (tools/test does)"
    return path


@pytest.fixture(scope="module")
def database() -> Iterator[str]:
    """Start a server in a folder of its own; return the address of its database."""
    folder = tempfile.mkdtemp(prefix="rig-pg-")
    data = Path(folder, "data")
    if NOBODY:
        shutil.chown(folder, NOBODY)

    def do(*words: str) -> None:
        subprocess.run(words, check=True, capture_output=True, user=NOBODY, cwd=folder)

    secret = Path(folder, "secret")
    secret.write_text(PASSWORD)
    secret.chmod(0o644)
    do(program("initdb"), "-D", str(data), "-U", "rig", "-A", "scram-sha-256", "-N",
       "--locale=C.UTF-8", f"--pwfile={secret}")  # fmt: skip
    own = f"-c listen_addresses= -c unix_socket_directories={folder} -c fsync=off"
    control = program("pg_ctl")
    do(control, "-D", str(data), "-w", "-o", own, "-l", f"{folder}/log", "start")
    try:
        yield f"postgresql://rig@/postgres?host={folder}"
    finally:
        with contextlib.suppress(subprocess.CalledProcessError):
            do(control, "-D", str(data), "-m", "immediate", "stop")
        shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture
def ask(run: Run, settled: Company, database: str, monkeypatch: pytest.MonkeyPatch) -> Run:
    monkeypatch.setenv("PGPASSWORD", PASSWORD)
    return run


def test_every_question_has_the_same_rows_as_the_books(
    ask: Run, settled: Company, database: str
) -> None:
    for key in questions():
        some = ((), ("--crew", "crew 1"), ("--since", "2025-07-01"))
        for more in some if key == "pace" else some[:1]:
            words = ("office", "ask", key, "--office", settled.folder, *more, "--json")
            here, there = ask(*words), ask(*words, "--at", database)
            assert there.code == 0, there.err
            own, other = here.json, there.json
            assert other["jobs"] == own["jobs"]
            assert len(other["rows"]) == len(own["rows"]), key
            for row, same in zip(own["rows"], other["rows"], strict=True):
                assert list(same) == list(row)
                for name, value in row.items():
                    kind = type(value)
                    wanted = pytest.approx(value, rel=1e-9) if kind is float else value
                    assert same[name] == wanted, (key, name)


def test_books_that_went_on_are_brought_and_an_office_of_others_is_not_asked(
    ask: Run, office: Path, database: str
) -> None:
    from tests.office.company import company

    words = ("office", "ask", "yield", "--office", office, "--at", database, "--json")
    before = ask(*words).json
    (made,) = company(Path(), 1, seed=9)
    assert ask("hand-in", made.path, "--to", office).code == 0
    assert ask("office", "take", "--office", office).code == 0
    assert ask(*words).json["jobs"] == before["jobs"] + 1


def test_a_database_that_cannot_be_had_is_said_so_without_a_secret(
    ask: Run, settled: Company, database: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    words = ("office", "ask", "yield", "--office", settled.folder, "--at")
    told = ask(*words, database.replace("rig@", f"rig:{PASSWORD}@"))
    assert (told.code, PASSWORD in told.err, "PGPASSWORD" in told.err) == (2, False, True)
    assert ask(*words, "mysql://x/y").code == 2
    assert ask(*words, f"{database}x").code == 3
    monkeypatch.setenv("PGPASSWORD", "wrong-one")
    refused = ask(*words, database)
    assert (refused.code, "wrong-one" in refused.err) == (3, False)
    Path("q.sql").write_text("SELECT 1")
    own = ("office", "ask", "--sql", "q.sql", "--office", settled.folder, "--at", database)
    assert ask(*own).code == 2
