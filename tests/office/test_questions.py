"""Each named question tells what plain sqlite3 and the statistics module find in the files."""

import contextlib
import json
import math
import sqlite3
from collections import defaultdict
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from statistics import NormalDist, fmean, linear_regression, stdev
from typing import Any

import pytest

from rig.office.ask import questions
from tests.cli.conftest import Run
from tests.office.conftest import Company

Told = Mapping[str, Any]
DAY_S = 86400.0


@dataclass(frozen=True)
class File:
    """What plain sqlite3 reads from a job file."""

    crew: str
    product: str
    laser: str
    stated: float
    upper: float
    buy: float
    confidence: float
    used: float
    pace: float
    interval_s: float
    proofs: tuple[Told, ...]
    checks: tuple[tuple[str, float, Told], ...]
    residuals: tuple[float, ...]


def read(path: Path) -> File:
    with contextlib.closing(sqlite3.connect(path)) as plain:
        settings, waste, bag_l = plain.execute(
            "SELECT other, waste_share, bag_yield_l FROM job"
        ).fetchone()
        (result,) = plain.execute("SELECT result FROM plan").fetchone()
        events = defaultdict(list)
        for kind, data in plain.execute("SELECT kind, data FROM event ORDER BY id"):
            events[kind].append(json.loads(data))
        checks = plain.execute('SELECT kind, utc_s, result FROM "check" ORDER BY id').fetchall()
        residuals = plain.execute("SELECT residual_mm FROM marker WHERE residual_mm IS NOT NULL")
        other, plan, (done,) = json.loads(settings), json.loads(result), events["pour_done"]
        stated = plan["volume_l"]["mean"] * (1 + waste) / bag_l
        return File(
            crew=other["crew"],
            product=other["product"]["compound"]["name"],
            laser=other["laser_name"],
            stated=stated,
            upper=stated + plan["safety"]["stock_l"] / bag_l,
            buy=plan["bags"]["buy"],
            confidence=plan["confidence"],
            used=done["bags_used"],
            pace=done["interval_s"] / done["planned_interval_s"],
            interval_s=done["interval_s"],
            proofs=tuple(events["proof"]),
            checks=tuple((kind, at, json.loads(told)) for kind, at, told in checks),
            residuals=tuple(value for (value,) in residuals),
        )


def approx(value: float) -> Any:
    return pytest.approx(value, rel=1e-5, abs=1e-9)


def grouped(files: list[File], key: Callable[[File], Any]) -> list[tuple[Any, list[File]]]:
    found = defaultdict(list)
    for one in files:
        found[key(one)].append(one)
    return sorted(found.items())


def by_pair(files: list[File]) -> list[tuple[Any, list[File]]]:
    return grouped(files, lambda one: (one.crew, one.product))


def sd(values: list[float]) -> float | None:
    return stdev(values) if len(values) > 1 else None


def yields(files: list[File]) -> list[dict[str, Any]]:
    rows = []
    for (crew, product), some in by_pair(files):
        logs = [math.log(one.used / one.stated) for one in some]
        rows.append({
            "crew": crew, "product": product, "jobs": len(some),
            "used_over_stated": math.exp(fmean(logs)), "sd_log": sd(logs),
            "used_bags": math.fsum(one.used for one in some),
            "stated_bags": math.fsum(one.stated for one in some),
        })  # fmt: skip
    return rows


def short(files: list[File]) -> list[dict[str, Any]]:
    return [
        {
            "crew": crew, "product": product, "jobs": len(some),
            "short": sum(one.used > one.buy for one in some),
            "share": fmean(one.used > one.buy for one in some),
            "left_bags": fmean(max(one.buy - one.used, 0.0) for one in some),
        }
        for (crew, product), some in by_pair(files)
    ]  # fmt: skip


def markers(files: list[File]) -> list[dict[str, Any]]:
    rows = []
    for crew, some in grouped(files, lambda one: one.crew):
        values = [value for one in some for value in one.residuals]
        if values:
            rows.append({
                "crew": crew, "jobs": sum(bool(one.residuals) for one in some),
                "markers": len(values), "mean_mm": fmean(values), "sd_mm": sd(values),
                "worst_mm": max(map(abs, values)),
            })  # fmt: skip
    return rows


def flatness(files: list[File]) -> list[dict[str, Any]]:
    found = defaultdict(list)
    for one in files:
        for proof in one.proofs:
            found[proof["rule"], proof["kind"]].append(proof)
    return [
        {
            "rule": rule, "kind": kind, "jobs": len(some),
            "within": sum(one["verdict"] == "in" for one in some),
            "outside": sum(one["verdict"] == "out" for one in some),
            "unsure": sum(one["verdict"] == "unsure" for one in some),
            "share_in": fmean(one["share_in"] for one in some),
        }
        for (rule, kind), some in sorted(found.items())
    ]  # fmt: skip


def pace(files: list[File]) -> list[dict[str, Any]]:
    rows = []
    for crew, some in grouped(files, lambda one: one.crew):
        logs = [math.log(one.pace) for one in some]
        rows.append({
            "crew": crew, "jobs": len(some), "pours": len(some),
            "interval_s": fmean(one.interval_s for one in some),
            "over_planned": math.exp(fmean(logs)), "sd_log": sd(logs),
        })  # fmt: skip
    return rows


def laser(files: list[File]) -> list[dict[str, Any]]:
    rows = []
    for name, some in grouped(files, lambda one: one.laser):
        told = sorted(
            (at, result["error_mm_per_m"])
            for one in some
            for kind, at, result in one.checks
            if kind == "two-peg"
        )
        x, y = [at for at, _ in told], [error for _, error in told]
        slope, zero = linear_regression(x, y)
        left = math.fsum((b - zero - slope * a) ** 2 for a, b in told)
        spread = math.fsum((a - fmean(x)) ** 2 for a in x)
        stderr = math.sqrt(left / (len(x) - 2) / spread)
        due = x[-1] + 90 * DAY_S
        if abs(slope) > 2 * stderr and slope * y[-1] >= 0:
            due = min(due, x[-1] + (0.4 - abs(y[-1])) / abs(slope))
        month = 2629800.0
        rows.append({
            "laser": name, "kind": "two-peg", "checks": len(x), "last": y[-1],
            "limit_mm_per_m": 0.4, "drift": slope * month, "drift_stderr": stderr * month,
            "last_utc_s": x[-1], "due_utc_s": due, "next": True,
        })  # fmt: skip
    return rows


def coverage(files: list[File]) -> list[dict[str, Any]]:
    """Of crews; Wilson's interval by its own formula, with the exact quantile."""
    rows, z = [], NormalDist().inv_cdf(0.975)
    for crew, some in grouped(files, lambda one: one.crew):
        n, held = len(some), sum(one.used <= one.upper for one in some)
        share = held / n
        half = z * math.sqrt(share * (1 - share) / n + z * z / (4 * n * n))
        middle = share + z * z / (2 * n)
        low, high = ((middle + sign * half) / (1 + z * z / n) for sign in (-1, 1))
        rows.append({
            "by": "crew", "value": crew, "confidence": 0.9, "jobs": n, "held": held,
            "share": share, "low": low, "high": high,
        })  # fmt: skip
    return rows


ANSWERS = {
    "yield": yields, "short": short, "markers": markers, "flatness": flatness, "pace": pace,
    "laser": laser, "coverage": coverage,
}  # fmt: skip


@pytest.fixture(scope="module")
def files(settled: Company) -> list[File]:
    return [read(made.path) for made in settled.jobs]


def test_every_question_is_tried() -> None:
    assert set(ANSWERS) == set(questions())


@pytest.mark.parametrize("key", ANSWERS)
def test_a_question_is_what_the_files_say(
    run: Run, settled: Company, files: list[File], key: str
) -> None:
    told = run("office", "ask", key, "--office", settled.folder, "--json").json
    assert told["jobs"] == len(files)
    rows = [row for row in told["rows"] if row.get("by", "crew") == "crew"]
    wanted = ANSWERS[key](files)
    assert len(rows) == len(wanted)
    assert rows
    for row, want in zip(rows, wanted, strict=True):
        assert set(row) == set(questions()[key].columns)
        for name, value in want.items():
            same = value if value is None or isinstance(value, str) else approx(value)
            assert row[name] == same, name


def test_coverage_of_jobs_made_with_90_percent_is_within_binomial_error(
    run: Run, settled: Company
) -> None:
    told = run("office", "ask", "coverage", "--office", settled.folder, "--json").json
    (every,) = (row for row in told["rows"] if row["by"] == "all")
    n = every["jobs"]
    assert abs(every["held"] - 0.9 * n) <= 3.0 * math.sqrt(0.09 * n)
    assert {row["by"] for row in told["rows"]} == {"all", "crew", "product", "floor", "season"}


def test_only_the_jobs_that_were_asked_for_are_counted(
    run: Run, settled: Company, files: list[File]
) -> None:
    ask = ("office", "ask", "pace", "--office", settled.folder, "--json")
    mine = run(*ask, "--crew", "crew 1").json
    assert [row["crew"] for row in mine["rows"]] == ["crew 1"]
    assert mine["jobs"] == sum(one.crew == "crew 1" for one in files)
    assert run(*ask, "--since", "2030-01-01").json["jobs"] == 0
    assert run(*ask, "--crew", "'; DROP VIEW job; --").json["rows"] == []
    assert run(*ask, "--since", "soon").code == 2
    assert "crew 1" in run(*ask[:-1]).out


def test_a_question_of_ones_own_reads_the_books_and_nothing_else(
    run: Run, settled: Company
) -> None:
    def asked(sql: str) -> Any:
        Path("q.sql").write_text(sql)
        return run("office", "ask", "--sql", "q.sql", "--office", settled.folder, "--json")

    count = "SELECT count(*) AS n, any_value(shots[1].label) AS label FROM job"
    assert asked(count).json["rows"] == [{"n": 24, "label": "A1"}]
    assert asked("SELECT nothing FROM job").code == 2
    for sql in ("SELECT * FROM read_text('q.sql')", "COPY job TO 'out.csv'", "INSTALL httpfs"):
        told = asked(sql)
        assert (told.code, told.err.count("\n")) == (2, 1), sql
    assert not Path("out.csv").exists()
    assert run("office", "ask", "sheep", "--office", settled.folder).code == 2
