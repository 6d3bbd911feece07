"""Jobs come to the shelf whole and once, go into the books whole or not at all, and come back."""

import shutil
from pathlib import Path

import pytest

from rig.job import Job
from rig.office import books
from rig.office.place import Place
from tests.cli.conftest import Run
from tests.office.company import company

SECRET = "Mrs Appleyard, 12 Weir Lane"


def rows_of(folder: Path, sql: str = "SELECT * FROM job ORDER BY uid") -> list[tuple[object, ...]]:
    with books.opened(Place(str(folder))) as connection:
        return connection.execute(sql).fetchall()


def act(path: Path, what: str) -> None:
    """Go on with a job."""
    with Job.open(path, write=True) as job:
        job.log_event(None, None, 1.8e9, "act", {"what": what})


def test_a_job_is_handed_in_once_and_comes_back_unchanged(run: Run, office: Path) -> None:
    (made,) = company(Path(), 1, seed=9)
    with Job.open(made.path) as job:
        uid, content = job.uid, job.content_hash()
    told = {"job": str(made.path), "uid": uid, "content": content}
    first = run("hand-in", made.path, "--to", office, "--json").json["jobs"]
    assert first == [{**told, "was_there": False}]
    again = run("hand-in", made.path, "--to", office, "--json").json["jobs"]
    assert again == [{**told, "was_there": True}]
    taken = run("office", "take", "--office", office, "--json").json
    assert taken == {"taken": 1, "there_already": 24, "forks": [], "damaged": []}
    back = run("office", "out", uid, "--office", office, "--out", "back.sqlite", "--json")
    assert back.json == {"file": str(Path("back.sqlite").absolute())}
    with Job.open("back.sqlite") as job:
        assert (job.uid, job.content_hash()) == (uid, content)
    assert run("office", "out", uid, "--office", office, "--out", "back.sqlite").code == 2


def test_a_later_version_counts_and_a_fork_is_named(run: Run, office: Path) -> None:
    (made,) = company(Path(), 1, seed=9)
    other = Path(shutil.copy(made.path, "other.sqlite"))
    run("hand-in", made.path, "--to", office)
    act(made.path, "one")
    run("hand-in", made.path, "--to", office)
    told = run("office", "take", "--office", office, "--json").json
    assert (told["taken"], told["forks"]) == (2, [])
    with Job.open(made.path) as job:
        uid, content = job.uid, job.content_hash()
    (counted,) = rows_of(office, f"SELECT content, fork FROM job WHERE uid = '{uid}'")
    assert counted == (content, False)
    for what in ("other", "more"):
        act(other, what)
    run("hand-in", other, "--to", office)
    told = run("office", "take", "--office", office, "--json").json
    assert told["forks"] == [uid]
    (counted,) = rows_of(office, f"SELECT content, fork FROM job WHERE uid = '{uid}'")
    with Job.open(other) as job:
        assert counted == (job.content_hash(), True)
    assert len(rows_of(office)) == 25
    mine = run("office", "out", uid, "--version", content[:10], "--office", office, "--json").json
    with Job.open(mine["file"]) as job:
        assert job.content_hash() == content
    before = rows_of(office)
    shutil.rmtree(office / "books")
    assert run("office", "take", "--office", office, "--json").json["forks"] == [uid]
    assert rows_of(office) == before


def test_a_damaged_file_is_named_and_the_others_are_taken(run: Run, office: Path) -> None:
    shutil.rmtree(office / "books")
    files = sorted(office.glob("jobs/*/*"))
    files[0].write_bytes(files[0].read_bytes()[:-200])
    shutil.copy(files[2], files[1])  # whole, and not what its name says
    names = sorted(one.name.partition(".")[0] for one in files[:2])
    told = run("office", "take", "--office", office, "--json").json
    assert (told["taken"], sorted(told["damaged"])) == (22, names)
    files[3].unlink()
    checked = run("office", "check", "--office", office, "--json")
    assert checked.code == 1
    assert checked.json["files"] == 23
    assert sorted(checked.json["damaged"]) == names
    assert checked.json["missing"] == [files[3].name.partition(".")[0]]


def test_a_row_written_twice_counts_once(office: Path) -> None:
    place = Place(str(office))
    before = rows_of(office)
    with books.opened(place) as connection:
        found = connection.execute("SELECT * EXCLUDE (filename, file_row_number) FROM version")
        names = [column[0] for column in found.description or ()]
        row = dict(zip(names, found.fetchone() or (), strict=True))
    books.append(place, [row])
    assert len(rows_of(office, "SELECT uid FROM version")) == len(before) + 1
    assert rows_of(office) == before


def test_what_names_a_customer_or_a_file_is_in_no_byte_of_the_books(run: Run, office: Path) -> None:
    (made,) = company(Path(), 1, seed=9)
    secret = made.path.rename(f"{SECRET}.sqlite")
    with Job.open(secret, write=True) as job:
        row = {"point": SECRET, "x_mm": None, "y_mm": None, "reading_mm": 1000.0, "stderr_mm": 0.1}
        job.import_shots([{**row, "kind": "benchmark", "setup": SECRET}])
        job.log_event(None, None, 1.8e9, "site", {"what": "note", "text": SECRET})
    Path("about.txt").write_text(SECRET)
    given = run("hand-in", secret, "--to", office, "--with-customer", "about.txt", "--json")
    assert run("office", "take", "--office", office, "--json").json["taken"] == 1
    uid = given.json["jobs"][0]["uid"]
    assert (office / "customers" / uid).read_text() == SECRET
    for file in (office / "books").rglob("*"):
        assert not file.is_file() or b"Appleyard" not in file.read_bytes()
    assert not [row for row in rows_of(office) if "Appleyard" in repr(row)]


@pytest.mark.parametrize(
    "words", [("hand-in", "none.sqlite", "--to"), ("office", "take", "--office")]
)
def test_a_place_that_is_not_there_is_not_made(run: Run, words: tuple[str, ...]) -> None:
    told = run(*words, "nowhere")
    assert told.code == 3
    assert "no office at nowhere" in told.err
    assert not Path("nowhere").exists()


def test_one_bad_job_keeps_no_other_from_the_shelf(run: Run, tmp_path: Path) -> None:
    Path("place").mkdir()
    (made,) = company(Path(), 1, seed=9)
    Path("bad.sqlite").write_bytes(b"no job at all" * 100)
    told = run("hand-in", "bad.sqlite", made.path, "--to", "place", "--json")
    assert (told.code, len(told.json["jobs"])) == (4, 1)
    assert "bad.sqlite" in told.err


def test_books_that_were_never_made_are_said_to_be_so(run: Run) -> None:
    Path("place").mkdir()
    told = run("office", "ask", "yield", "--office", "place")
    assert (told.code, "rig office take" in told.err) == (1, True)
    assert run("office", "take").code == 2
