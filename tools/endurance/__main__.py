"""Hard use, each a command: `.venv/bin/python tools/endurance NAME [--help]`.

What they find is printed at the end; the exit code is 1 where anything was wrong. Each runs at a
small size in the tests.
"""

import argparse
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))


def main() -> None:
    parser = argparse.ArgumentParser(
        prog="tools/endurance", description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--seed", type=int, default=1)
    commands = parser.add_subparsers(dest="name", required=True, metavar="NAME")
    for name, (text, options, _) in COMMANDS.items():
        command = commands.add_parser(name, help=text)
        for option, default, say in options:
            command.add_argument(
                option, type=type(default), default=default, help=f"{say} [{default}]"
            )
    given = parser.parse_args()
    begun = time.monotonic()
    sound = COMMANDS[given.name][2](given)
    print(f"{'sound' if sound else 'NOT SOUND'}, {time.monotonic() - begun:.0f} s")
    sys.exit(not sound)


def _kills(given: argparse.Namespace) -> bool:
    from tools.endurance import kills

    with tempfile.TemporaryDirectory() as folder:
        tally = kills.torment(given.kills, given.seed, Path(folder))
    print(tally)
    return tally.sound


def _site(given: argparse.Namespace) -> bool:
    from tools.endurance import site, site_parts

    with tempfile.TemporaryDirectory() as folder:
        parts = [Path(folder, name) for name in ("shares", "falls", "prompts", "parts")]
        for part in parts:
            part.mkdir()
        told = [site.shares(parts[0], given.seed)] if given.shares else []
        if given.kills:
            told.append(site.bears_falls(parts[1], given.kills, given.seed))
        if given.rods:
            told.append(site.prompts(parts[2], given.rods, 50.0, 10.0))
        if given.parts:
            told.append(site_parts.torment(given.parts, given.seed, parts[3]).sound)
    return all(told)


def _office(given: argparse.Namespace) -> bool:
    from tools.endurance import office

    with tempfile.TemporaryDirectory() as folder:
        tally = office.torment(given.jobs, given.processes, given.takers, given.seed, Path(folder))
        print(tally)
        if given.rows:
            for key, took_s in office.many_rows(given.rows, Path(folder)).items():
                print(f"{key}: {took_s:.2f} s of processor over {given.rows} jobs")
        if given.redo_kills:
            redone = office.redo_torment(40, given.redo_kills, given.seed, Path(folder, "anew"))
            print(redone)
            return tally.sound and redone.sound
    return tally.sound


def _pours(given: argparse.Namespace) -> bool:
    from tools.endurance import pours

    with tempfile.TemporaryDirectory() as folder:
        tally = pours.torment(given.kills, given.seed, Path(folder))
    print(tally)
    return tally.sound


def _served(given: argparse.Namespace) -> bool:
    from tools.endurance import served

    with tempfile.TemporaryDirectory() as folder:
        tally = served.torment(given.kills, given.seed, Path(folder), given.seconds)
    print(tally)
    return tally.sound


def _copies(given: argparse.Namespace) -> bool:
    from tools.endurance import copies

    with tempfile.TemporaryDirectory() as folder:
        tally = copies.torment(given.copies, given.seed, Path(folder))
    print(tally)
    return tally.sound


def _power(given: argparse.Namespace) -> bool:
    from tools.endurance import power

    with tempfile.TemporaryDirectory() as folder:
        cuts = power.torment(given.cuts, given.seed, Path(folder))
    with tempfile.TemporaryDirectory() as folder:
        failures = power.break_disk(given.seed, Path(folder))
    for tally in (cuts, failures):
        print(tally)
    return cuts.sound and failures.sound


def _slow(given: argparse.Namespace) -> bool:
    from tools.endurance import slow

    with tempfile.TemporaryDirectory() as folder:
        outcome = slow.torment(given.sync, given.seconds, Path(folder))
    print(outcome)
    return not outcome.faults


def _mishaps(given: argparse.Namespace) -> bool:
    from tools.endurance import mishaps

    with tempfile.TemporaryDirectory() as folder:
        outcomes = mishaps.torment(Path(folder))
    for outcome in outcomes:
        print(outcome)
    return not any(outcome.faults for outcome in outcomes)


def _fuzz(given: argparse.Namespace) -> bool:
    from tools.endurance.fuzz import fuzz, name_of
    from tools.endurance.parsers import FAMILIES

    finds = []
    for name in given.families.split(",") if given.families else FAMILIES:
        did = fuzz(FAMILIES[name], given.inputs, given.seed)
        print(
            f"{name:<10} {did.inputs:>9} inputs, {did.refused / did.inputs:4.0%} refused, "
            f"{len(did.finds)} finds, slowest {did.slowest_s:.3f} s, "
            f"{did.inputs / did.seconds:.0f} a second",
            flush=True,
        )
        finds += did.finds
    for find in finds:
        print(f"{find.family}: {find.error}\n    {find.data!r}")
        if given.keep:
            (Path(given.keep) / name_of(find)).write_bytes(find.data)
    return not finds


def _model(given: argparse.Namespace) -> bool:
    from tools.endurance import model

    print(f"{model.run(given.steps, given.seed)} steps, all held")
    return True


def _soak(given: argparse.Namespace) -> bool:
    from tools.endurance import soak

    with tempfile.TemporaryDirectory() as folder:
        report = soak.soak(given.hours, Path(folder), given.limit_mb * 1_000_000 or None)
    for hour in report.hours:
        print(hour)
    print(
        f"memory {report.memory_growth_mb:+.2f} MB after the first hour, "
        f"log {report.file_mb_per_hour:.2f} MB an hour"
    )
    return report.sound


def _small(given: argparse.Namespace) -> bool:
    from tools.endurance import small

    uses, wheel = small.report(given.seconds)
    for use in uses:
        print(
            f"{use.name:<8} ready after {use.ready_s:.2f} s, {use.memory_mb:.0f} MB at most "
            f"(aim {use.most_mb:.0f}), {use.share:.1%} of a core (aim {small.MOST_SHARE:.0%}); "
            f"loaded: {use.loaded}"
        )
    print(f"wheel: {wheel}")
    return all(use.sound for use in uses) and wheel.endswith("-none-any.whl")


Options = list[tuple[str, Any, str]]
COMMANDS: dict[str, tuple[str, Options, Callable[[Any], bool]]] = {
    "kills": (
        "kill live surveys at random instants",
        [("--kills", 500, "how many")],
        _kills,
    ),
    "served": (
        "kill the server of the phone's pages at random instants",
        [("--kills", 200, "how many"), ("--seconds", 12, "that one lives at most")],
        _served,
    ),
    "site": (
        "several rods: their share of a survey, falls of the broker, prompts at 50 a second",
        [
            ("--shares", 1, "whether one rod and three are compared"),
            ("--kills", 20, "falls of the broker"),
            ("--rods", 8, "rods whose prompts are timed"),
            ("--parts", 0, "kills of broker, boxes, session and a phone's server, in turn"),
        ],
        _site,
    ),
    "office": (
        "kill who hands jobs in and who takes them; ask books of many rows",
        [
            ("--jobs", 2000, "how many jobs"),
            ("--processes", 8, "that hand in at a time"),
            ("--takers", 2, "that take at a time"),
            ("--redo-kills", 0, "kill who reckons jobs anew, or a worker, so often"),
            ("--rows", 0, "fill the books with so many, and time the questions"),
        ],
        _office,
    ),
    "pours": (
        "kill the log of a pour at random instants",
        [("--kills", 500, "how many")],
        _pours,
    ),
    "copies": (
        "copy the job file alone while a survey writes to it",
        [("--copies", 200, "how many")],
        _copies,
    ),
    "power": (
        "lose the power, and break the disk, at points of the write sequence",
        [("--cuts", 20_000, "how many power cuts; every step fails once besides")],
        _power,
    ),
    "slow": (
        "survey on a disk whose every sync takes seconds",
        [("--sync", 5.0, "seconds that a sync takes"), ("--seconds", 40.0, "how long")],
        _slow,
    ),
    "mishaps": (
        "a full disk, no leave to write, a file moved or deleted, a clock set back",
        [],
        _mishaps,
    ),
    "fuzz": (
        "throw made-up input at every parser",
        [
            ("--inputs", 1_000_000, "how many for each family of parsers"),
            ("--families", "", "which, by commas; else all"),
            ("--keep", "", "folder for what was found; tests/endurance/finds keeps them as tests"),
        ],
        _fuzz,
    ),
    "model": (
        "drive surveys and marker settings in random order against a model of what must hold",
        [("--steps", 100_000, "how many acts, faults and restarts")],
        _model,
    ),
    "soak": (
        "20 readings a second for simulated hours: does anything grow?",
        [
            ("--hours", 24, "how many"),
            ("--limit-mb", 0, "as --log-limit of rig survey, in MB; 0 is none"),
        ],
        _soak,
    ),
    "small": (
        "what live work takes on one core and 512 MB; build the wheel",
        [("--seconds", 30.0, "how long each is measured")],
        _small,
    ),
}

if __name__ == "__main__":
    main()
