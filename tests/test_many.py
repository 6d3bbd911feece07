"""The guide's chapter "toward very many" is what its figures give, by proportion."""

import json
import re
from pathlib import Path

import pytest

from tools.bench import many

ROOT = Path(__file__).resolve().parents[1]
BENCH = ROOT / "tools" / "bench"


def rows(chapter: str) -> dict[str, list[str]]:
    cells = [[one.strip() for one in line.strip("|\n").split("|")]
             for line in chapter.splitlines() if line.startswith("| ")]  # fmt: skip
    return {name: rest for name, *rest in cells}


def test_the_chapter_is_what_the_kept_figures_give() -> None:
    told = json.loads((BENCH / "many.json").read_text())
    chapter = (ROOT / "rig" / "guide" / "many.md").read_text()
    assert many.written(chapter, told) == chapter
    assert told["question_rows"] == 1e6
    shown = rows(chapter)
    for crews, at in ((30, 0), (1_000, 1), (100_000, 2)):
        jobs = crews * 220 * 10
        wanted = {
            "books of 10 years, GB": jobs * told["job_books_bytes"] / 1e9,
            "reckoning 10 years anew, core-hours": jobs * told["job_redo_ms"] / 3.6e6,
            "cores of brokers for them": crews * 60 * told["reading_broker_ms"] / 1000,
        }
        for name, value in wanted.items():
            cell = float(shown[name][at].replace(" ", "").replace(" ", ""))
            assert cell == pytest.approx(value, rel=0.06), name
    first = [float(re.sub(r"\D", "", line.split("|")[1]))
             for line in chapter.split("what is then used up")[1].splitlines()
             if re.match(r"\| [\d ]+ \|", line)]  # fmt: skip
    assert len(first) == 6
    assert first == sorted(first)
