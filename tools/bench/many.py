"""The guide's chapter "toward very many", reckoned from measured figures.

`.venv/bin/python tools/bench/many.py --measure` measures anew (some minutes; `company.py`), keeps
the figures in `many.json` and writes the chapter's tables; without `--measure` it writes them from
the figures that are kept.
"""

import argparse
import json
import re
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
FIGURES, CHAPTER = HERE / "many.json", ROOT / "rig" / "guide" / "many.md"

CREWS = (30, 1_000, 100_000)
JOBS_A_YEAR = 220  # of a crew: one a working day
YEARS = 10
RODS, RATE_HZ, HOURS = 3, 20.0, 1.0  # of a crew, of a rod, of readings a job
NIGHT_H, WEEKEND_H = 10.0, 60.0
PATIENCE_S, DISK_GB = 10.0, 4_000.0

Figures = dict[str, float]


@dataclass(frozen=True)
class Need:
    """What so many crews need of each part."""

    jobs_a_year: float
    jobs: float
    messages_a_s: float
    broker_cores: float
    shelf_gb: float
    books_gb: float
    take_h_a_day: float
    question_s: float
    redo_h: float
    workers: float


def need(crews: float, told: Figures) -> Need:
    """Reckon what so many crews need, all in proportion to what was measured."""
    a_year = crews * JOBS_A_YEAR
    jobs, messages = a_year * YEARS, crews * RODS * RATE_HZ
    readings = RODS * RATE_HZ * 3600.0 * HOURS
    job_bytes = told["job_shelf_bytes"] + readings * told["reading_shelf_bytes"]
    redo_h = jobs * told["job_redo_ms"] / 3.6e6
    return Need(
        jobs_a_year=a_year,
        jobs=jobs,
        messages_a_s=messages,
        broker_cores=messages * told["reading_broker_ms"] / 1000.0,
        shelf_gb=jobs * job_bytes / 1e9,
        books_gb=jobs * told["job_books_bytes"] / 1e9,
        take_h_a_day=crews * told["job_take_ms"] / 3.6e6,
        question_s=jobs * slowest(told)[1] / told["question_rows"] / 1000.0,
        redo_h=redo_h,
        workers=redo_h / NIGHT_H,
    )


def slowest(told: Figures) -> tuple[str, float]:
    """Return the question that takes longest, and its milliseconds."""
    keys = [key for key in told if key.startswith("question_") and key.endswith("_ms")]
    key = max(keys, key=lambda one: told[one])
    return key.removeprefix("question_").removesuffix("_ms"), told[key]


def breaks(told: Figures) -> list[tuple[float, str]]:
    """Return from how many crews on one part of one machine is not enough, the first first."""
    one = need(1.0, told)
    return sorted(
        [
            (1.0 / one.broker_cores, "one broker for all crews at once: a whole core"),
            (DISK_GB / one.shelf_gb,
             f"the shelf of {YEARS} years: a disk of {_number(DISK_GB)} GB"),
            (DISK_GB / one.books_gb, f"the books of {YEARS} years: such a disk"),
            (24.0 / one.take_h_a_day, "taking: a core day and night"),
            (PATIENCE_S / one.question_s,
             f"the slowest question over {YEARS} years: {PATIENCE_S:.0f} s of one core"),
            (WEEKEND_H / one.redo_h,
             f"reckoning {YEARS} years anew: a core for a weekend of {WEEKEND_H:.0f} h"),
        ]
    )  # fmt: skip


def tables(told: Figures) -> Iterator[str]:
    """Yield the chapter's tables."""
    yield _measured(told)
    yield _needs(told)
    rows = [f"| {_number(crews)} | {what} |" for crews, what in breaks(told)]
    yield "\n".join(["| from crews | what is then used up |", "| --- | --- |", *rows])


def _measured(told: Figures) -> str:
    key, took = slowest(told)
    rows = [
        ("a reading", told["reading_bytes"], "on its way through the broker",
         told["reading_broker_ms"], "of the broker, encrypted"),
        ("a reading", told["reading_shelf_bytes"], "on the shelf, packed", None, ""),
        ("a job of 140 shots", told["job_shelf_bytes"], "on the shelf, readings aside",
         told["job_hand_in_ms"], "to hand in"),
        ("a job of 140 shots", told["job_books_bytes"], "in the books", told["job_take_ms"],
         "to take"),
        ("a job of 140 shots", None, "", told["job_redo_ms"], "to reckon anew"),
        (f"the slowest question (`{key}`), {_number(told['question_rows'])} jobs", None, "", took,
         f"; the process held {_number(told['asking_mb'])} MB at the most"),
    ]  # fmt: skip
    lines = ["| of | bytes | milliseconds of processor |", "| --- | --- | --- |"]
    for what, size, where, took_ms, doing in rows:
        bytes_told = "" if size is None else f"{_number(size)} {where}"
        time_told = "" if took_ms is None else f"{_number(took_ms)} {doing}".replace(" ;", ";")
        lines.append(f"| {what} | {bytes_told} | {time_told} |")
    return "\n".join(lines)


def _needs(told: Figures) -> str:
    every = [need(crews, told) for crews in CREWS]
    rows = [
        ("jobs a year", [_number(one.jobs_a_year) for one in every]),
        ("readings a second, all crews at once", [_number(one.messages_a_s) for one in every]),
        ("cores of brokers for them", [_number(one.broker_cores) for one in every]),
        (f"shelf of {YEARS} years, GB", [_number(one.shelf_gb) for one in every]),
        (f"books of {YEARS} years, GB", [_number(one.books_gb) for one in every]),
        ("taking a day's jobs, core-hours", [_number(one.take_h_a_day) for one in every]),
        (f"slowest question over {YEARS} years, core-seconds",
         [_number(one.question_s) for one in every]),
        (f"reckoning {YEARS} years anew, core-hours", [_number(one.redo_h) for one in every]),
        (f"workers for that in a night of {NIGHT_H:.0f} h",
         [_number(max(one.workers, 1.0)) for one in every]),
    ]  # fmt: skip
    lines = [f"| crews | {' | '.join(map(_number, CREWS))} |", "| --- | --- | --- | --- |"]
    return "\n".join([*lines, *(f"| {what} | {' | '.join(cells)} |" for what, cells in rows)])


def _number(value: float) -> str:
    """Write a number by two figures that count; more would promise more than was measured."""
    if value < 0.01:
        return "under 0.01"
    shown = float(f"{value:.2g}")
    return f"{shown:,.0f}".replace(",", " ") if shown >= 10 else f"{shown:g}"


def written(chapter: str, told: Figures) -> str:
    """Put the tables into a chapter, each in the place of the one that is there."""
    made = iter(tables(told))
    found = re.subn(r"(?:^\|.*\n)+", lambda _: next(made) + "\n", chapter, flags=re.M)
    return found[0]


def main() -> None:
    options = argparse.ArgumentParser(prog="tools/bench/many.py", description=__doc__)
    options.add_argument("--measure", action="store_true", help="measure anew first")
    if options.parse_args().measure:
        sys.path[:0] = [str(ROOT)]
        from tools.bench.company import measured

        rows, found = measured()
        for row in rows:
            print(f"{row['what']}: {row['value']} ({row['against']})")
        figures = {name: float(f"{value:.4g}") for name, value in found.items()}
        FIGURES.write_text(json.dumps(figures, indent=1) + "\n")
    CHAPTER.write_text(written(CHAPTER.read_text(), json.loads(FIGURES.read_text())))


if __name__ == "__main__":
    main()
