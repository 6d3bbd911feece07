"""Hard use, each a command: `.venv/bin/python tools/endurance NAME [--help]`.

What they find is printed at the end; the exit code is 1 where anything was wrong. Each runs at a
small size in the tests.
"""

import argparse
import sys
import tempfile
import time
from pathlib import Path

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


def _power(given: argparse.Namespace) -> bool:
    from tools.endurance import power

    with tempfile.TemporaryDirectory() as folder:
        cuts = power.torment(given.cuts, given.seed, Path(folder))
    with tempfile.TemporaryDirectory() as folder:
        failures = power.break_disk(given.seed, Path(folder))
    for tally in (cuts, failures):
        print(tally)
    return cuts.sound and failures.sound


def _mishaps(given: argparse.Namespace) -> bool:
    from tools.endurance import mishaps

    with tempfile.TemporaryDirectory() as folder:
        outcomes = mishaps.torment(Path(folder))
    for outcome in outcomes:
        print(outcome)
    return not any(outcome.faults for outcome in outcomes)


COMMANDS = {
    "kills": (
        "kill live surveys at random instants",
        [("--kills", 500, "how many")],
        _kills,
    ),
    "power": (
        "lose the power, and break the disk, at points of the write sequence",
        [("--cuts", 20_000, "how many power cuts; every step fails once besides")],
        _power,
    ),
    "mishaps": (
        "a full disk, no leave to write, a file moved or deleted, a clock set back",
        [],
        _mishaps,
    ),
}

if __name__ == "__main__":
    main()
