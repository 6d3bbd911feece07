"""Every command line of README and guide runs, in order, as it stands there.

What a line needs beside the program is put in its place by these rules, and by no others:

- A rod (`--serial PORT` or `--ble NAME`, with its `--profile`) is a trace of the same walk: the
  sights the session asks for, each stood on for three seconds; of `--drag` it is a slide.
- A tape (`--typed`) is the same sights, typed; a pour's log is typed words.
- `rig record` listens to the simulated rod, for two seconds.
- What serves until it is stopped is a process that is stopped once it says where it serves.
- `rig devices --scan` and `rig demo` run in processes of their own; the former may say that there
  is no Bluetooth here (exit code 3).
- Each section of the README and each chapter begins with a job as `BEFORE` makes it, of the room
  of the README's first line.
- `rig site up` is a broker that is up while a later line needs it; the rod of a site is a simulated
  one that goes where it is sent, and `rig rod` a process that is stopped once it is there.
- A file that a line reads is what a block before it shows (`toml`), or a table made here.
"""

import json
import math
import re
import shlex
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import click
import pytest

from rig.cli import COMMANDS
from rig.cli import rig as group
from rig.devices.broker import Site
from rig.devices.profile import load_profile
from rig.devices.trace import TraceWriter
from rig.guide import CHAPTERS, chapter, is_in, title
from rig.job import Job
from rig.job.rows import Point
from rig.language import LANGUAGES
from rig.products.library import data_folder
from simulated_devices.site_rod import SiteRod
from tests.bluetooth import simulated
from tests.cli.conftest import Outcome, Run
from tests.office.company import company

ROOT = Path(__file__).resolve().parents[2]
README = (ROOT / "README.md").read_text()
TEXTS = {"README": README, **{name: chapter(name) for name in CHAPTERS}}
OTHERS = [key for key in LANGUAGES if key != "en" and is_in("start", key)]
TEXTS |= {f"start: {key}": chapter("start", key) for key in OTHERS}
BENCHMARK_MM = 1200.0
LINE_MM = 1215.0

# Not run, and why: each is a script around what else is run.
NOT_RUN = {
    "bash tools/office company": "makes a folder and runs `rig office take`",
    "bash tools/demo": "sets itself up, then runs `rig demo`",
    "bash tools/test": "runs this test",
    "rig demo --faults": "a minute long; `tests/cli/test_faults.py` runs it and each of its faults",
}
# Exit codes beside 0: what the line tells is the answer "no" about the job made here.
MAY_END = {"rig devices --scan": 3, "rig flatness --rule click-lock": 1}


# --- the lines -----------------------------------------------------------------------------------


def blocks(text: str, kind: str) -> list[str]:
    return re.findall(rf"^```{kind}\n(.*?)^```$", text, re.M | re.S)


def lines(text: str) -> Iterator[str]:
    """Command lines of the shell blocks, without comments; `&&` makes two."""
    for block in blocks(text, "sh"):
        for line in block.replace("\\\n", " ").splitlines():
            for part in line.split("&&"):
                words = shlex.split(part, comments=True)
                if words:
                    yield shlex.join(words)


def test_the_list_of_chapters_is_what_the_folder_holds() -> None:
    assert {path.stem for path in (ROOT / "rig" / "guide").glob("*.md")} == set(CHAPTERS)
    for name in CHAPTERS:
        assert TEXTS[name].startswith(f"# {title(TEXTS[name])}\n")
        assert len(name) <= 10
        assert f"{name:<11}{CHAPTERS[name]}\n" in README


@pytest.mark.parametrize("key", OTHERS)
def test_the_first_chapter_is_the_same_in_every_language(key: str) -> None:
    """Its lines are run in German; in the other languages they are those, word for word."""
    text = TEXTS[f"start: {key}"]
    told = "\n".join(lines(text)).replace(f" --language {key}", "")
    assert re.sub(r"(\d),(\d)", r"\1.\2", told) == "\n".join(lines(TEXTS["start"]))
    assert text.count("\n## ") == TEXTS["start"].count("\n## ")
    assert text.count("\n- **") == TEXTS["start"].count("\n- **")
    assert title(text) != title(TEXTS["start"])


def test_the_guide_is_shown_in_the_language_that_is_chosen(run: Run) -> None:
    assert run("guide", "start", "--language", "fr").out.startswith("# Le premier chantier")
    assert "start      Pierwsze zlecenie" in run("guide", "--language", "pl").out
    told = run("guide", "pour", "--language", "de")
    assert told.out.startswith("# The pour")
    assert "auf Englisch" in told.err
    assert run("guide", "start", "--json", "--language", "es").json["title"] == "The first job"


def test_the_readme_is_read_in_minutes() -> None:
    text = README
    assert len(text.splitlines()) <= 160
    assert len(text.split()) <= 1200


def test_only_these_lines_are_not_run() -> None:
    every = {line for text in TEXTS.values() for line in lines(text)}
    assert set(NOT_RUN) <= every
    assert {line for line in every if not line.startswith("rig ")} <= set(NOT_RUN)


# --- jobs to run them on -------------------------------------------------------------------------


def height_mm(x_mm: float, y_mm: float) -> float:
    """Reading over a gently warped floor."""
    return LINE_MM + 6.0 * math.sin(x_mm / 1500.0) + 3.0 * math.cos(y_mm / 1100.0)


def unshot(kind: str = "floor") -> list[Point]:
    """Grid points that have no shot yet, in the order of the walk."""
    with Job.open("job.sqlite") as job:
        return job.unshot(kind)


KEPT: dict[str, bytes] = {}  # jobs that were made before, by who makes them


def once(make: Callable[[Run], None]) -> Callable[[Run], None]:
    """Make a job the first time, and take a copy of it from then on."""

    def made(run: Run) -> None:
        if make.__name__ in KEPT:
            Path("job.sqlite").write_bytes(KEPT[make.__name__])
        else:
            make(run)
            KEPT[make.__name__] = Path("job.sqlite").read_bytes()

    return made


def new(run: Run) -> None:
    (line,) = [line for line in lines(README) if line.startswith("rig new")]
    good(run, line)


@once
def gridded(run: Run) -> None:
    new(run)
    good(run, "rig grid")


def coarse(run: Run) -> None:
    """Few points, for a rod by the wall clock."""
    new(run)
    good(run, "rig grid --spacing 12ft")


def tied(run: Run) -> None:
    gridded(run)
    good(run, "rig survey --kind benchmark --label BM1 --typed")


@once
def surveyed(run: Run) -> None:
    tied(run)
    good(run, "rig survey --typed")


@once
def planned(run: Run) -> None:
    surveyed(run)
    good(run, "rig plan")
    good(run, "rig markers")


def with_lines(run: Run) -> None:
    """A table of two lines for F-numbers, too."""
    surveyed(run)
    rows = [f"{n},{48 + 0.02 * math.sin(0.7 * k + n)}\n" for n in (1, 2) for k in range(16)]
    Path("lines.csv").write_text("line,reading\n" + "".join(rows))


def with_table(run: Run) -> None:
    """Half a survey, and a table of shots beside the job."""
    gridded(run)
    readings = "".join(f"{height_mm(p.x_mm, p.y_mm):.1f}mm\n" for p in unshot()[:-3])
    assert run("survey", "--typed", typed=readings + "q\n").code == 0
    with Job.open("job.sqlite") as job:
        points = job.points()
    rows = [
        f"{p.label},{p.x_mm / 25.4},{p.y_mm / 25.4},{height_mm(p.x_mm, p.y_mm) / 25.4}\n"
        for p in points
    ]
    Path("shots.csv").write_text("label,x,y,reading\n" + "".join(rows))


def with_another_job(run: Run) -> None:
    surveyed(run)
    shutil.move("job.sqlite", "other-job.sqlite")
    gridded(run)


def with_a_company(run: Run) -> None:
    """An office with a few jobs that were poured, and a question of one's own."""
    surveyed(run)
    Path("company").mkdir()
    others = [str(made.path) for made in company(Path(), 4)]
    assert run("hand-in", *others, "--to", "company").code == 0
    Path("mine.sql").write_text("".join(blocks(TEXTS["office"], "sql")))


BEFORE: dict[str, Callable[[Run], None]] = {
    "README: two": lambda run: None,
    "README: tape": lambda run: None,
    "README: rod": gridded,
    "README: phone": planned,
    "start: de": lambda run: None,
    "pour": planned,
    "firm": surveyed,
    "planes": surveyed,
    "sure": surveyed,
    "stated": surveyed,
    "proof": with_lines,
    "laser": surveyed,
    "trouble": with_another_job,
    "mend": with_table,
    "phone": planned,
    "site": coarse,
    "office": with_a_company,
    "languages": lambda run: None,
    "bluetooth": gridded,
    "profile": gridded,
    "paper": planned,
    "small": gridded,
    "scripts": surveyed,
}
SECTIONS = {  # a job of its own each
    "README: two": "Two commands",
    "README: tape": "A first job with a tape measure only",
    "README: rod": "A first job with a serial rod",
    "README: phone": "On a phone",
}
TOML_OF = {"firm": "prices.toml", "pour": "sheet.toml", "profile": "mine.toml"}


def test_no_section_of_the_readme_is_left_out() -> None:
    parts = re.findall(r"^## (.*)\n((?:(?!^## ).*\n)*)", README, re.M)
    assert [name for name, text in parts if list(lines(text))] == list(SECTIONS.values())


@pytest.mark.timeout(600)
@pytest.mark.parametrize("name", BEFORE)
def test_every_command_line_runs(name: str, run: Run) -> None:
    if name in SECTIONS:
        text = README.partition(f"## {SECTIONS[name]}\n")[2].partition("\n## ")[0]
    else:
        text = TEXTS[name]
    BEFORE[name](run)
    if name in TOML_OF:
        Path(TOML_OF[name]).write_text("".join(blocks(text, "toml")))
    for line in lines(text):
        if line not in NOT_RUN:
            good(run, line)


# --- one line ------------------------------------------------------------------------------------


def good(run: Run, line: str) -> None:
    done = one(run, shlex.split(line)[1:])
    assert done.code in (0, MAY_END.get(line, 0)), (line, done.out, done.err)


def one(run: Run, words: list[str]) -> Outcome:
    """Run a command line with what it needs in its place."""
    if words[0] in ("site", "rod") or "--site" in words:
        return of_site(run, words)
    if (
        words[0] in ("serve", "practice")
        or words[:2] == ["office", "serve"]
        or words[:2] == ["demo", "--serve"]
    ):
        return served(words)
    if words[0] == "demo" or "--scan" in words:
        return process(words)
    if words[0] == "record":
        return recorded(run, words)
    if words[:2] == ["pour", "run"]:
        return run(*words, typed="tick primer\nbatch\nbatch\nfront 1\nundo\nstop\n")
    if not {"--typed", "--serial", "--ble"} & set(words):
        return run(*words)
    if "--drag" in words:
        n = words.index("--serial")
        words[n : n + 2] = ["--replay", str(slide_trace(words[words.index("--drag") + 1]))]
        return run(*words)
    asked = sights(run, words)
    if "--typed" in words:
        return run(*words, typed="".join(f"{reading:.2f}mm\n" for reading in asked))
    for link in ("--serial", "--ble"):
        if link in words:
            n = words.index(link)
            words[n : n + 2] = ["--replay", str(trace(asked))]
            if "--profile" in words:
                n = words.index("--profile")
                load_profile(words[n + 1])  # the one that is named is there
                del words[n : n + 2]
    return run(*words)


def of_site(run: Run, words: list[str]) -> Outcome:
    """Run it on a site that is up meanwhile, with a simulated rod that goes where it is sent."""
    site = Site(data_folder() / "site")
    if words[:2] == ["site", "up"] or words[1] == "invite":
        if words[1] == "up":
            with socket.socket() as probe:
                probe.bind(("127.0.0.1", 0))
                port = probe.getsockname()[1]
            site.prepare("127.0.0.1", "127.0.0.1", port, {"localhost", "127.0.0.1"})
            assert "--port" in run(*words, "--help").out
            return Outcome(0, "", "")
        return run(*words)
    broker = site.start()
    try:
        if words[0] == "rod":
            with simulated("serial", "--rate", "20") as rod:
                n = words.index("--serial")
                words[n : n + 2] = rod.source
                return boxed(words)
        with SiteRod(Path("rod-1.site"), height_mm, least_walk_s=1.1, walk_mm_s=1e6):
            return run(*words)
    finally:
        broker.terminate()
        broker.wait()


def boxed(words: list[str]) -> Outcome:
    """Run the box at a rod until it is seen on its site."""
    with subprocess.Popen(
        [sys.executable, "-m", "rig.cli", *words],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as running:
        assert running.stdout is not None
        assert "rod-1" in running.stdout.readline()
        time.sleep(1.0)
        assert running.poll() is None
        running.send_signal(signal.SIGINT)
        _, err = running.communicate(timeout=30)
    return Outcome(running.returncode, "", err)


def sights(run: Run, words: list[str]) -> list[float]:
    """Readings that a session will ask for, in order."""
    if words[0] == "set":
        markers = run("markers", "--json").json["markers"]
        targets = [(m["target_reading_mm"] + 4.0, m["target_reading_mm"]) for m in markers]
        return [BENCHMARK_MM, *(reading for pair in targets for reading in pair)]
    if words[0] == "check":
        return [BENCHMARK_MM] * 10
    if "benchmark" in words or "threshold" in words:
        return [BENCHMARK_MM]
    if "finished" in words:
        return [LINE_MM - 15.0 + 0.2 * (n % 3) for n in range(len(unshot("finished")))]
    return [*(height_mm(p.x_mm, p.y_mm) for p in unshot()), *[BENCHMARK_MM] * 4]


def trace(asked: list[float]) -> Path:
    """A rod that stands on each sight for three seconds and is carried for two."""
    path = Path(f"walk{len(list(Path().glob('walk*')))}.trace")
    profile = load_profile("decimal-mm")
    with TraceWriter(path, profile, started_utc_s=time.time()) as writer:
        tick = 0
        for reading in asked:
            for text in [f"{reading:.1f}"] * 30 + ["---"] * 20:
                writer.write(tick / 10.0, text)
                tick += 1
    return path


def slide_trace(ends: str) -> Path:
    """A rod that stands on one shot, slides to another in six seconds and is lifted."""
    path = Path(f"slide{len(list(Path().glob('slide*')))}.trace")
    with Job.open("job.sqlite") as job:
        readings = {shot.point: shot.reading_mm for shot in job.shots(kinds=["floor"])}
    start, end = (readings[label] for label in ends.split(","))
    way = [start] * 18 + [start + n / 60 * (end - start) for n in range(61)] + [end] * 4
    with TraceWriter(path, load_profile("decimal-mm"), started_utc_s=time.time()) as writer:
        for tick, text in enumerate([f"{one:.1f}" for one in way] + ["---"] * 20):
            writer.write(tick / 10.0, text)
    return path


def recorded(run: Run, words: list[str]) -> Outcome:
    profile = words[words.index("--profile") + 1]
    with simulated("serial", "--profile", profile, "--rate", "20") as rod:
        n = words.index("--serial")
        words[n : n + 2] = rod.source
        return run(*words, "--seconds", "2")


def process(words: list[str]) -> Outcome:
    done = subprocess.run(
        [sys.executable, "-m", "rig.cli", *words],
        capture_output=True,
        text=True,
        stdin=subprocess.DEVNULL,
        timeout=100,
    )
    return Outcome(done.returncode, done.stdout, done.stderr)


def served(words: list[str]) -> Outcome:
    with subprocess.Popen(
        [sys.executable, "-m", "rig.cli", *words, "--json"],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as running:
        assert running.stdout is not None
        assert running.stderr is not None
        told = next((json.loads(line) for line in running.stdout if "serving" in line), None)
        running.send_signal(signal.SIGINT)
        _, err = running.communicate(timeout=30)
    assert told, err
    assert told["url"].startswith("http://")
    stopped = running.returncode in (130, -signal.SIGINT)  # a shell sees 130 in both
    return Outcome(0 if stopped else running.returncode, "", err)


# --- what is named in passing --------------------------------------------------------------------


def test_commands_and_options_named_in_passing_are_there() -> None:
    seen = 0
    for text in TEXTS.values():
        prose = re.sub(r"^```.*?^```$", "", text, flags=re.M | re.S)
        for named in re.findall(r"`rig ([a-z][^`]*)`", prose):
            words = named.split()
            assert words[0] in COMMANDS, named
            seen += 1
            command: click.Command | None = group.get_command(click.Context(group), words.pop(0))
            while isinstance(command, click.Group) and words and words[0] in command.commands:
                command = command.commands[words.pop(0)]
            assert command is not None
            known = {option for p in command.params for option in (*p.opts, *p.secondary_opts)}
            assert {word for word in words if word.startswith("--")} <= known, named
    assert seen > 20


# --- rig guide -----------------------------------------------------------------------------------


def test_the_guide_lists_its_chapters(run: Run) -> None:
    listed = run("guide")
    assert [line.split()[0] for line in listed.out.splitlines()[:-1]] == list(CHAPTERS)
    told = run("guide", "--json").json["chapters"]
    assert [one["name"] for one in told] == list(CHAPTERS)


@pytest.mark.parametrize("name", CHAPTERS)
def test_a_chapter_is_shown(name: str, run: Run) -> None:
    assert run("guide", name).out.strip() == TEXTS[name].strip()
    assert run("guide", name, "--json").json["text"] == TEXTS[name]


def test_a_chapter_is_set_for_a_terminal(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.stdout.isatty", lambda: True)
    monkeypatch.setenv("COLUMNS", "60")
    shown = re.sub(r"\x1b\[[\d;]*m", "", run("guide", "scripts").out)
    assert "```" not in shown
    assert "rig plan --json" in shown
    assert max(map(len, shown.splitlines())) <= 60


def test_no_chapter_of_that_name_says_which_there_are(run: Run) -> None:
    refused = run("guide", "walls")
    assert refused.code == 2
    assert all(name in refused.err for name in CHAPTERS)
